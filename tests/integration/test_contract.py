"""The contract of the commands, from outside: every example, every key, every error in one line."""

from __future__ import annotations

import io
import json
import math
import re
import subprocess
import time
from contextlib import redirect_stdout
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from cases import is_brief
from musts import EXAMPLES, SHEETS
from mustwright import data
from mustwright.cli.main import run
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.planning.field_words import note_in_words
from serving import COMMAND

OWN_PROTOCOL = EXAMPLES / "own_protocol.toml"
NAMES = [path.stem for path in SHEETS]
NITROGEN = ("demand_mg_l", "credit_mg_l", "added_mg_l", "added_ammonium_mg_l", "added_amino_mg_l")

# What a figure's source may begin with: a document of the bibliography, or one of these marks.
# The list is closed: a new mark is a decision, made here and in `mustwright.figure`.
MARKS = (
    "arithmetic",
    "assumed",
    "common practice, no source",
    "from memory",
    "kinetic model",
    "linear programme over the shelf",
    "the protocol",
    "typed by the maker",
)
# Numbers of the JSON that stand for themselves: the ends of a range (given with the figure they
# belong to), what the maker or the protocol typed, and the pH that was measured.
# A line along time (acid.ph) is not taken apart point by point: its lowest, acid.trough, is.
# Minutes and turns of a pitching step stand in its sentence, and so do the moments of a salt; the
# floor it is dosed for is a published claim (data/acids.toml).
NO_FIGURE = re.compile(
    r"(^|\.)pitch\.steps\[\d+\]\.(wait_min|times)$|(^|\.)salt\.(floor|parts\[\d+\]\.(sugar_used|after_feeds))$|(^|\.)(ranges|trigger_rule)(\.|\[|$)|(^|\.)(group|nothing_after_sugar_used)$|(^|\.)must\.(temperature_c|ph)$|(^|\.)acid\.ph\."
)


def mustwright(*arguments: str, stdin: str | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *arguments], capture_output=True, text=True, timeout=300, input=stdin
    )


@cache
def answer(command: str, name: str, *more: str) -> dict[str, Any]:
    """What a command prints as JSON for an example; nothing may stand on stderr but notes.

    A process of its own, but for runs without forecast, which are many: those stay in this one.
    Outside CI so do those with a forecast, but for the first example.
    """
    typed = [command, str(EXAMPLES / f"{name}.toml"), "--json", *more]
    if (more and "--forecast" not in more) or (is_brief() and name != NAMES[0]):
        with redirect_stdout(io.StringIO()) as shown:
            assert run(typed) == 0
        return dict(json.loads(shown.getvalue()))
    done = mustwright(*typed)
    assert done.returncode == 0, done.stderr
    assert "Warning" not in done.stderr
    found = json.loads(done.stdout)
    assert isinstance(found, dict)
    return found


def is_amount(value: object) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and math.isfinite(value) and value >= 0  # type: ignore[arg-type]


def check_must_and_pitch(found: dict[str, Any]) -> None:
    must, pitch = found["must"], found["pitch"]
    for key in ("volume_l", "gravity", "brix", "sugar_g_l", "potential_alcohol_pct"):
        assert is_amount(must[key]), key
    for line in must["ingredients"]:
        assert isinstance(line["kind"], str)
        assert is_amount(line["kg"])
        assert is_amount(line["litres"])
    for key in ("yeast_g", "rehydration_nutrient_g", "water_ml"):
        assert is_amount(pitch[key]), key
    assert pitch["yeast_g"] > 0
    assert pitch["steps"]


def check_feeding(found: dict[str, Any]) -> None:
    nitrogen = found["nitrogen"]
    assert all(is_amount(nitrogen[key]) for key in NITROGEN)
    kinds = nitrogen["added_ammonium_mg_l"] + nitrogen["added_amino_mg_l"]
    assert kinds == pytest.approx(nitrogen["added_mg_l"], abs=1e-6)
    fed = sum(feed["nitrogen_mg_l"] for feed in found["feeds"])
    assert fed == pytest.approx(nitrogen["added_mg_l"], abs=1e-6)
    for feed in found["feeds"]:
        assert isinstance(feed["trigger"], str)
        assert is_amount(feed["expected_h"])
        for item in feed["items"]:
            assert isinstance(item["nutrient"], str)
            assert is_amount(item["grams"])
            assert item["grams"] > 0
    assert all(isinstance(text, str) for text in found["warnings"])


def test_there_are_examples_enough():
    assert len(NAMES) >= 6


# Plan, compare, convert ----------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_plan_of_every_example(name):
    found = answer("plan", name)
    check_must_and_pitch(found)
    check_feeding(found)
    assert found["protocol"] in built_in_protocols()


@pytest.mark.parametrize("name", NAMES)
def test_compare_of_every_example(name):
    found = answer("compare", name)
    plans = found["protocols"]
    assert {one["protocol"] for one in plans} >= set(built_in_protocols())
    for one in plans:
        check_must_and_pitch(one)
        check_feeding(one)
        assert one["cost"] is None or is_amount(one["cost"])
        assert isinstance(one["feasible"], bool)
        for breach in one["breaches"]:
            assert breach["asked_g_l"] > breach["allowed_g_l"]
            assert breach["words"]
    assert found["suits_best"] == answer("plan", name)["protocol"]


@pytest.mark.parametrize("name", ["traditional_1100", "raspberry_in_primary"])
def test_every_built_in_protocol_by_name(name, capsys):
    compared = answer("compare", name, "--no-forecast")["protocols"]
    by_id = {one["protocol"]: one for one in compared}
    path = str(EXAMPLES / f"{name}.toml")
    for identity in built_in_protocols():
        assert run(["plan", path, "--protocol", identity, "--no-forecast", "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        check_feeding(found)
        assert found["protocol"] == identity
        assert found["feeds"] == by_id[identity]["feeds"]


@pytest.mark.parametrize("name", NAMES)
def test_a_protocol_file(name):
    found = answer("plan", name, "--protocol", str(OWN_PROTOCOL))
    assert found["protocol"] == "my_three_by_sugar"
    check_feeding(found)


def test_a_sheet_from_standard_input():
    text = (EXAMPLES / "traditional_1100.toml").read_text(encoding="utf-8")
    done = mustwright("plan", "-", "--json", "--no-forecast", stdin=text)
    assert done.returncode == 0
    check_must_and_pitch(json.loads(done.stdout))


def test_what_the_everyday_batch_comes_to():
    """19 L at 1.100 of clover honey (17.7 % water): about 6.03 kg by hand, see test_blend."""
    found = answer("plan", "traditional_1100")
    kg = {line["kind"]: line["kg"] for line in found["must"]["ingredients"]}
    assert kg["clover honey"] == pytest.approx(6.03, abs=0.01)
    assert found["must"]["gravity"] == pytest.approx(1.1, abs=1e-6)
    assert found["nitrogen"]["demand_mg_l"] == pytest.approx(0.75 * 261.1, abs=0.5)
    assert found["pitch"]["yeast_g"] == pytest.approx(0.25 * 19)
    assert found["pitch"]["rehydration_nutrient_g"] == pytest.approx(1.25 * 0.25 * 19)


@pytest.mark.parametrize(
    ("typed", "to", "value", "tolerance"),
    [
        ("24 Bx", "SG", 1.101, 1e-3),
        ("1.100", "Brix", 23.77, 0.01),
        ("5 US gal", "L", 18.927, 1e-3),
        ("15 lb 4 oz", "kg", 6.917, 1e-3),
        ("68 F", "C", 20, 1e-9),
    ],
)
def test_convert(typed, to, value, tolerance):
    done = mustwright("convert", typed, "--to", to, "--json")
    found = json.loads(done.stdout)
    assert found["value"] == pytest.approx(value, abs=tolerance)
    assert found["unit"] == to


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("command", ["plan", "compare"])
def test_text_says_nothing_odd(name, command, capsys):
    assert run([command, str(EXAMPLES / f"{name}.toml"), "--no-forecast"]) == 0
    shown = capsys.readouterr().out
    for odd in ("None", "nan", "inf ", "Figure(", "e-0", "e+0", "about 0 h", "[]"):
        assert odd not in shown, odd
    assert not re.search(r"\d\.\d{5,}", shown)
    assert "erupt" in shown or command == "compare"


# The working ---------------------------------------------------------------------------------


def numbers(found: object, place: str = "") -> list[str]:
    """The place of every number in an answer."""
    if isinstance(found, bool) or found is None or isinstance(found, str):
        return []
    if isinstance(found, dict):
        inside = place + "." if place else ""
        return [p for k, v in found.items() for p in numbers(v, inside + k)]
    if isinstance(found, list):
        return [p for i, v in enumerate(found) for p in numbers(v, f"{place}[{i}]")]
    return [place]


def at(found: object, place: str) -> object:
    """What stands at a place such as ``feeds[0].items[1].grams``."""
    for part in re.findall(r"[^.\[\]]+", place):
        found = found[int(part)] if isinstance(found, list) else found[part]  # type: ignore[index]
    return found


def sources(figure: dict[str, Any]) -> list[str]:
    """The source of a working and of all it was made from."""
    inside = [made for made in figure.get("inputs", {}).values() if isinstance(made, dict)]
    return [figure["source"], *(s for made in inside for s in sources(made))]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("command", "more"),
    [("plan", ("--forecast",)), ("plan", ()), ("compare", ())],
)
def test_every_number_has_its_working(name, command, more):
    found = answer(command, name, "--explain", *more)
    working = found["working"]
    shown = {key: value for key, value in found.items() if key != "working"}
    without = [p for p in numbers(shown) if not NO_FIGURE.search(p) and p not in working]
    assert without == []
    for place, figure in working.items():
        value = at(shown, place)
        assert value == figure["value"] or (value is None and figure["value"] is None), place
        assert isinstance(figure["formula"], str)
        assert figure["formula"], place
        assert figure.get("see", "must") in working or "see" not in figure
        if "low" in figure and "high" in figure and None not in (figure["low"], figure["high"]):
            assert figure["low"] <= figure["high"], place


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("command", "more"),
    [("plan", ("--forecast",)), ("plan", ()), ("compare", ())],
)
def test_every_source_is_a_document_or_a_mark(name, command, more):
    keys = tuple(data.load("bibliography"))
    found = answer(command, name, "--explain", *more)["working"].values()
    given = {source for figure in found for source in sources(figure)}
    strangers = [s for s in given if not s.startswith((*keys, *MARKS))]
    assert strangers == []
    documents = {re.split(r"[ ,:;]", s)[0] for s in given if not s.startswith(MARKS)}
    assert documents <= set(keys)


@pytest.mark.parametrize("name", NAMES)
def test_the_working_of_an_own_protocol(name, capsys):
    typed = ["plan", str(EXAMPLES / f"{name}.toml"), "--protocol", str(OWN_PROTOCOL)]
    assert run([*typed, "--no-forecast", "--json", "--explain"]) == 0
    working = json.loads(capsys.readouterr().out)["working"]
    keys = tuple(data.load("bibliography"))
    given = {source for figure in working.values() for source in sources(figure)}
    assert [s for s in given if not s.startswith((*keys, *MARKS))] == []


def test_working_is_small_enough_to_read():
    """Shared parts are unfolded once: a comparison was 128 MB before they were."""
    for command, most in (("plan", 500_000), ("compare", 4_000_000)):
        found = answer(command, "traditional_1140", "--explain", "--no-forecast")
        assert len(json.dumps(found)) < most


def test_explain_as_text_names_a_source_for_every_figure(capsys):
    path = str(EXAMPLES / "traditional_1100.toml")
    assert run(["plan", path, "--no-forecast", "--explain"]) == 0
    lines = capsys.readouterr().out.split("\nWorking\n")[1].splitlines()
    figures = [i for i, line in enumerate(lines) if re.match(r"  \w\S* = ", line)]
    assert len(figures) > 50
    for i in figures:
        assert "how: " in lines[i + 1]
        assert "source: " in lines[i + 2]
        assert len(lines[i + 2].split("source: ")[1]) > 3


# Errors --------------------------------------------------------------------------------------

MUST = '[must]\nvolume = "19 L"\ngravity = "1.100"\n'
HONEY = '[[must.ingredient]]\nkind = "honey"\namount = "solve"\n'
BAD = {
    "both": (MUST + 'brix = "24 Bx"\n' + HONEY, "must.brix", "gravity and brix"),
    "impossible": (
        '[must]\nvolume = "19 L"\ngravity = "1.120"\n[[must.ingredient]]\nkind = "honey"\n'
        'amount = "4 kg"\n[[must.ingredient]]\nkind = "water"\namount = "fill"\n',
        "must.gravity",
        "4 kg of honey cannot reach it in 19 L: highest is about 1.067",
    ),
    "stranger": (
        MUST + '[[must.ingredient]]\nkind = "rasberry"\namount = "solve"\n',
        "must.ingredient[0].kind",
        "raspberry",
    ),
    "unit": ('[must]\nvolume = "19 furlongs"\n', "must.volume", "furlongs"),
    "nothing": ('[must]\nvolume = "19 L"\n', "must.ingredient", "needs"),
    "typo": (MUST + 'gravitiy = "1.1"\n' + HONEY, "must.gravitiy", "known:"),
    "shelf": (MUST + HONEY + '[shelf]\ndap = "lots"\n', "shelf.dap", "lots"),
    "law": (MUST + HONEY + '[legal]\nprofile = "mars"\n', "legal.profile", "eu, home, us"),
    "yeast": (MUST + HONEY + '[yeast]\nkind = "moon"\n', "yeast.kind", "Low-demand neutral"),
    "broken": ("[must\n", "sheet", "TOML"),
    "empty": ("", "must.ingredient", "needs"),
}


def refused(capsys, *typed: str) -> tuple[dict[str, Any], str]:
    """The error object and the one line on stderr; exit code 2."""
    assert run([*typed, "--json"]) == 2
    shown = capsys.readouterr()
    assert shown.err.count("\n") == 1
    assert shown.err.startswith("mustwright: ")
    found = json.loads(shown.out)
    assert list(found) == ["error"]
    assert " ".join(found["error"]["message"].split()) in shown.err
    return found["error"], shown.err


@pytest.mark.parametrize("name", sorted(BAD))
@pytest.mark.parametrize("command", ["plan", "compare"])
def test_a_sheet_that_cannot_be_used(name, command, tmp_path, capsys):
    text, field, words = BAD[name]
    path = tmp_path / "must.toml"
    path.write_text(text, encoding="utf-8")
    error, line = refused(capsys, command, str(path))
    assert error["field"] == field
    assert note_in_words(f"{field}: ") in line
    assert words in line
    assert ", got " in line


def test_the_same_from_outside(tmp_path):
    path = tmp_path / "must.toml"
    path.write_text(BAD["impossible"][0], encoding="utf-8")
    for with_json in ([], ["--json"]):
        done = mustwright("plan", str(path), *with_json)
        assert done.returncode == 2
        assert done.stderr.count("\n") == 1
        assert BAD["impossible"][2] in done.stderr
        if with_json:
            assert json.loads(done.stdout)["error"]["got"] == "1.120"
        else:
            assert done.stdout == ""


def folder(tmp_path: Path) -> Path:
    return tmp_path


def missing(tmp_path: Path) -> Path:
    return tmp_path / "none.toml"


def binary(tmp_path: Path) -> Path:
    path = tmp_path / "must.toml"
    path.write_bytes(bytes(range(256)) * 4)
    return path


def huge(tmp_path: Path) -> Path:
    path = tmp_path / "must.toml"
    path.write_text("# much\n" * 200_000, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (folder, "file that can be read"),
        (missing, "No such file"),
        (binary, "UTF-8 text"),
        (huge, "at most 1 MB"),
    ],
)
@pytest.mark.parametrize("command", ["plan", "compare"])
def test_a_file_that_cannot_be_read(make, words, command, tmp_path, capsys):
    error, line = refused(capsys, command, str(make(tmp_path)))
    assert error["field"] == "FILE"
    assert words in line


@pytest.mark.parametrize("command", ["plan", "compare"])
@pytest.mark.parametrize(
    ("protocol", "words"),
    [
        ("by_moon", "halves_at_onset_and_third"),
        ("none.toml", "No such file"),
        ("", "halves_at_onset_and_third"),
    ],
)
def test_an_unknown_protocol(command, protocol, words, capsys):
    path = str(EXAMPLES / "traditional_1100.toml")
    _, line = refused(capsys, command, path, "--protocol", protocol)
    assert words in line


def test_a_wrong_protocol_file_names_its_field(tmp_path, capsys):
    path = tmp_path / "mine.toml"
    path.write_text(OWN_PROTOCOL.read_text(encoding="utf-8").replace('"onset"', '"moonrise"'))
    sheet = str(EXAMPLES / "traditional_1100.toml")
    error, _ = refused(capsys, "plan", sheet, "--protocol", str(path))
    assert error["field"] == "feed[0].when"


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (("convert", "5 L", "--to", "kg"), "needs"),
        (("convert", "much", "--to", "L"), "quantity"),
        (("convert", "5 L", "--to", "furlong"), "furlong"),
        (("plan",), "FILE"),
        (("plan", "a", "b"), "argument"),
    ],
)
def test_other_wrong_words(typed, words, capsys):
    _, line = refused(capsys, *typed)
    assert words in line


# Speed, for the record -----------------------------------------------------------------------


@pytest.mark.parametrize("command", ["plan", "compare"])
def test_cold_start_is_measured(command, record_property, capsys):
    """How long a whole process takes; machines differ, so it is printed and not judged."""
    began = time.perf_counter()
    done = mustwright(command, str(EXAMPLES / "traditional_1100.toml"), "--no-forecast")
    seconds = time.perf_counter() - began
    assert done.returncode == 0
    record_property(f"{command}_cold_start_s", round(seconds, 2))
    with capsys.disabled():
        print(f"\n{command} without forecast, cold: {seconds:.2f} s")


@pytest.mark.parametrize("command", ["plan", "compare"])
def test_the_forecast_comes_when_asked_for(command):
    asked = answer(command, "traditional_1100", "--forecast")
    plain = answer(command, "traditional_1100", "--no-forecast")
    for found, present in ((asked, True), (plain, False)):
        for one in found.get("protocols", [found]):
            assert (one["outcome"] is not None) is present
    first = asked.get("protocols", [asked])[0]["outcome"]
    assert first["days_to_dry"] > 2
    assert 0 <= first["chance_of_sticking"] <= 1
