"""A command speaks the language asked for, of the person, or of the cellar; JSON stays English."""

from __future__ import annotations

import json

import pytest
from tests.pseudo import PSEUDO

from catalogue import wordings
from mustwright.cli import main as cli
from mustwright.cli import speech
from mustwright.cli.usage_words import usage_words
from mustwright.compose import Compose
from mustwright.errors import InputError
from mustwright.languages import language_called, speaking
from mustwright.services.language import choose_language, chosen_language
from mustwright.texts import literal, said
from mustwright.units import volume_l

pytestmark = pytest.mark.usefixtures("home")

SHEET = """
[must]
volume = "19 L"
gravity = "1.100"
temperature = "20 C"
[yeast]
kind = "low_demand_neutral"
"""


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path))
    monkeypatch.delenv("MUSTWRIGHT_LANGUAGE", raising=False)
    return tmp_path


def ran(capsys, *typed):
    code = cli.run(list(typed))
    out, err = capsys.readouterr()
    return code, out, err


def keep(home, code):
    compose = Compose(home)
    try:
        choose_language(compose.ledger, code)
        assert chosen_language(compose.ledger) == code
    finally:
        compose.close()


def test_english_where_nothing_tells(capsys):
    assert "Usage: mustwright" in ran(capsys, "--help")[1]


def test_the_cellar_then_the_person_then_what_is_asked(home, capsys, monkeypatch):
    keep(home, "de")
    assert "Aufruf: mustwright" in ran(capsys, "--help")[1]
    monkeypatch.setenv("MUSTWRIGHT_LANGUAGE", "en")
    assert "Usage: mustwright" in ran(capsys, "--help")[1]
    code, _, err = ran(capsys, "batch", "show", "none", "--language", "de")
    assert (code, err) == (2, "mustwright: hier nicht vorhanden: Charge 'none'\n")
    code, _, err = ran(capsys, "batch", "show", "none", "--language=en")
    assert (code, err) == (2, "mustwright: no batch named 'none' is kept here\n")


def test_a_wrong_variable_is_refused_and_a_wrong_option_too(capsys, monkeypatch):
    code, _, err = ran(capsys, "batch", "list", "--language", "xx")
    assert code == 2
    assert "'xx' is not one of 'en', 'de'." in err
    monkeypatch.setenv("MUSTWRIGHT_LANGUAGE", "xx")
    code, _, err = ran(capsys, "version")
    assert (code, err) == (2, "mustwright: MUSTWRIGHT_LANGUAGE: needs one of en, de, got 'xx'\n")


def test_json_and_its_errors_stay_english(capsys, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_LANGUAGE", "de")
    code, out, err = ran(capsys, "batch", "show", "none", "--json")
    assert code == 2
    assert json.loads(out)["error"]["message"] == "no batch named 'none' is kept here"
    assert err == "mustwright: hier nicht vorhanden: Charge 'none'\n"
    code, out, _ = ran(capsys, "glossary", "YAN", "--json")
    assert code == 0
    assert json.loads(out)["glossary"][0]["says"].startswith("Nitrogen that yeast can use")


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (["plan", "--sideways"], "Diese Option gibt es nicht: '--sideways'."),
        (["nonsense"], "Diesen Befehl gibt es nicht: 'nonsense'."),
        (["plan"], "Es fehlt das Argument 'FILE'."),
        (["tasting", "plan", "--tasters", "9"], "Es fehlt die Option '--test'. Zur Wahl stehen: "),
        (["tasting", "order", "--products", "x"], "Ungültiger Wert für '--products': 'x' ist "),
        (["plan", "a", "b"], "Unerwartetes weiteres Argument (b)"),
        (["plan", "a", "--aim"], "Die Option '--aim' braucht einen Wert."),
        (["serve", "--port", "-1"], "liegt nicht im Bereich 0<=x<=65535."),
    ],
)
def test_what_is_wrong_with_a_line_is_said_in_the_language(typed, says, capsys, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_LANGUAGE", "de")
    code, out, err = ran(capsys, *typed)
    assert (code, out) == (2, "")
    assert says in err


def test_usage_words_are_the_same_in_english():
    for words in (
        "No such option '--x'. Did you mean '--y'?",
        "Missing option '--test'. Choose from: a, b",
        "Invalid value for '--port': 70000 is not in the range 0<=x<=65535.",
        "Option '--x' requires 2 arguments.",
        "something else",
    ):
        assert usage_words(words) == words


def groups(command, path):
    """Every command below one, with the words that call it."""
    yield path
    if hasattr(command, "list_commands"):
        for name in command.list_commands(None):
            yield from groups(command.get_command(None, name), [*path, name])


# The words of finishing steps stand in the bench.
EVERY = [" ".join(path) for path in groups(cli.root, []) if path[:1] != ["finish"]]


@pytest.fixture(scope="module")
def catalogue():
    """Every wording that the code says."""
    return {wording.one for wording in wordings()}


@pytest.mark.parametrize("path", EVERY)
def test_the_help_of_every_command_is_looked_up_and_in_the_catalogue(
    path, catalogue, capsys, monkeypatch
):
    asked: list[str] = []

    def noted(wording):
        asked.append(wording)
        return literal(wording)

    monkeypatch.setattr(speech, "literal", noted)
    with speaking(PSEUDO):
        assert cli._run([*path.split(), "--help"]) == 0
    assert capsys.readouterr().out.startswith("⟦Usage:⟧ mustwright")
    assert "Show this message and exit." in asked
    assert [one for one in asked if one not in catalogue and "⟦" not in one] == []


def test_numbers_typed_with_a_decimal_comma(capsys, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_LANGUAGE", "de")
    assert ran(capsys, "convert", "1,100", "--to", "SG")[:2] == (0, "1,1000 SG\n")
    assert ran(capsys, "convert", "1.100", "--to", "SG")[:2] == (0, "1,1000 SG\n")
    monkeypatch.setenv("MUSTWRIGHT_LANGUAGE", "en")
    code, _, err = ran(capsys, "convert", "1,100", "--to", "SG")
    assert code == 2
    assert "without a thousands comma" in err


def test_what_is_kept_reads_alike_in_any_language(home, capsys, monkeypatch):
    file = home / "amber.toml"
    file.write_text(SHEET.replace("1.100", "1,100"), encoding="utf-8")
    monkeypatch.setenv("MUSTWRIGHT_LANGUAGE", "de")
    assert ran(capsys, "batch", "start", str(file), "--pitched", "now")[0] == 0
    code, out, _ = ran(capsys, "batch", "read", "amber", "1,090", "--ph", "3,62")
    assert code == 0
    assert out.startswith("Eingetragen (")
    monkeypatch.setenv("MUSTWRIGHT_LANGUAGE", "en")
    code, out, _ = ran(capsys, "batch", "export", "amber", "--csv")
    assert code == 0
    assert "1.09" in out
    assert "3.62" in out
    compose = Compose(home)
    try:
        log = compose.ledger.log("amber")
        assert 'gravity = "1.100"' in log[0].what.plan.sheet
    finally:
        compose.close()


def test_an_error_is_a_text():
    with pytest.raises(InputError) as caught:
        volume_l("-3 L", "volume")
    german = said(caught.value.text, language_called("de"))
    assert german.startswith("volume: braucht ein Volumen über null")


def test_what_is_kept_beside_a_batch_is_said_in_the_language_too(home, capsys):
    file = home / "amber.toml"
    file.write_text(SHEET, encoding="utf-8")
    assert ran(capsys, "batch", "start", str(file), "--pitched", "now")[0] == 0
    shown = []
    for _ in range(2):  # the second time from what was kept
        with speaking(language_called("de")):
            assert cli._run(["batch", "list"]) == 0
        shown.append(capsys.readouterr().out)
    assert shown[0] == shown[1]
    assert "amber (" in shown[1]
    assert " eben" in shown[1] or " zugeben" in shown[1] or " messen" in shown[1]
    assert not {"Feed", "Read", "Add"} & set(shown[1].split())


def test_acidity_says_its_risk_and_its_units_in_german(capsys, tmp_path):
    sheet = tmp_path / "must.toml"
    sheet.write_text(SHEET)
    _, out, _ = ran(capsys, "acidity", str(sheet), "--members", "60", "--language", "de")
    assert "meq/L je pH" in out
    assert "Gefahr eines pH-Sturzes" in out
    assert "per pH" not in out
    for risk in ("low", "middle", "high"):
        assert f"pH-Sturzes {risk}" not in out
