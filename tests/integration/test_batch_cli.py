"""A whole batch from the command line, from plan to stuck to rescue; and the cellar in one file."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from databases import KINDS, place_of
from mustwright.cli.main import run

SHEET = """
[must]
volume = "19 L"
[measured]
gravity = "1.110"
[shelf]
dap = {}
autolysed_yeast = {}
complex_blend = {}
"""


@pytest.fixture(params=KINDS)
def home(request, tmp_path, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TZ", "UTC")
    (tmp_path / "heather.toml").write_text(SHEET)
    (tmp_path / "home").mkdir()
    with place_of(request.param, tmp_path / "home") as place:
        if isinstance(place, str):
            monkeypatch.setenv("MUSTWRIGHT_DATABASE", place)
        yield tmp_path


def ago(hours: float) -> str:
    return (datetime.now(UTC) - timedelta(hours=hours)).isoformat()


def command(capsys, *words: str, code: int = 0) -> str:
    assert run([str(w) for w in words]) == code
    return capsys.readouterr().out


def test_from_plan_to_stuck_to_rescue_to_dry(home, capsys):
    sheet = home / "heather.toml"
    out = command(
        capsys, "batch", "start", sheet, "--protocol", "staged_for_strong_musts",
        "--pitched", ago(400),
    )  # fmt: skip
    assert out.startswith("heather: started by 'Four feeds by sugar used")
    command(capsys, "batch", "read", "heather", "1.107", "--temperature", "20 C", "--at", ago(380))
    assert "fed" not in command(capsys, "batch", "feed", "heather", "--at", ago(379))
    for hours, gravity in ((330, "1.080"), (260, "1.050"), (236, "1.050"), (212, "1.0505")):
        command(
            capsys, "batch", "read", "heather", gravity, "--ph", "3.5", "--temperature", "68 F",
            "--at", ago(hours),
        )  # fmt: skip
    watch = command(capsys, "batch", "watch", "heather")
    assert "Perhaps stopped short" in watch
    assert "Last read 9 days ago." in watch
    assert "Likely causes" in watch
    assert "Restart" in watch
    assert "the last reading is 9 days old" in command(capsys, "batch", "next", "heather")
    replan = command(capsys, "batch", "replan", "heather")
    assert "too old to tell whether the plan still fits" in replan
    assert run(["batch", "replan", "heather", "--adopt"]) == 2, "nothing to adopt by old readings"
    capsys.readouterr()
    command(capsys, "batch", "event", "heather", "restarted", "--at", ago(200))
    for hours, gravity in ((150, "1.020"), (100, "1.000"), (60, "0.995")):
        command(capsys, "batch", "read", "heather", gravity, "--at", ago(hours))
    shown = json.loads(command(capsys, "batch", "show", "heather", "--json"))
    assert shown["state"]["phase"] == shown["assessment"]["phase"] == "at its end"
    assert shown["next"]["kind"] == "read"
    command(capsys, "batch", "event", "heather", "bottled")
    assert "No batch is running" in command(capsys, "batch", "list")
    command(capsys, "batch", "undo", "heather")
    assert "heather" in command(capsys, "batch", "list")


@pytest.mark.parametrize(("profile", "grams", "most"), [("us", "65.2", "0.96"), ("eu", "114", "1")])
def test_a_feed_beyond_the_law_is_written_and_named_before_all_else(
    home, capsys, profile, grams, most
):
    sheet = home / "heather.toml"
    sheet.write_text(SHEET + f'[legal]\nprofile = "{profile}"\n')
    command(capsys, "batch", "start", sheet, "--pitched", ago(40))
    fed = ("batch", "feed", "heather", "--items", f"dap={grams} g")
    wrote = command(capsys, *fed).splitlines()
    assert wrote[0].startswith("! More ")
    assert f"allows {most} g/L" in wrote[0]
    assert any(line.startswith("Written (") for line in wrote)
    assert f"{grams} g" in command(capsys, "batch", "show", "heather")
    for words in (("next", "heather"), ("show", "heather"), ("list",)):
        lines = command(capsys, "batch", *words).splitlines()
        place = next(i for i, line in enumerate(lines) if "than the law allows" in line)
        assert place <= 2, words
    shown = json.loads(command(capsys, "batch", "show", "heather", "--json"))
    assert shown["beyond"][0]["rule"] == "over_limit_fed"
    told = json.loads(command(capsys, "batch", "next", "heather", "--json"))
    assert told["beyond"] == shown["beyond"]
    command(capsys, "batch", "undo", "heather")
    assert "than the law allows" not in command(capsys, "batch", "next", "heather")


def test_a_plan_the_ferment_outran_is_changed_and_adopted(home, capsys):
    started(home, capsys, 3)
    for hours, gravity in ((48, "1.107"), (24, "1.095"), (1, "1.083")):
        command(capsys, "batch", "read", "heather", gravity, "--temperature", "20 C",
                "--at", ago(hours))  # fmt: skip
    assert "Look over the changed plan" in command(capsys, "batch", "next", "heather")
    replan = command(capsys, "batch", "replan", "heather")
    assert "combined" in replan
    assert "before:" in replan
    command(capsys, "batch", "replan", "heather", "--adopt")
    assert "before:" not in command(capsys, "batch", "replan", "heather")
    assert command(capsys, "batch", "next", "heather").startswith("Feed ")


def test_a_reading_typed_with_a_wrong_year_is_said_not_to_count(home, capsys):
    command(capsys, "batch", "start", home / "heather.toml", "--pitched", ago(40))
    wrote = command(capsys, "batch", "read", "heather", "1.098", "--at", ago(8760))
    assert "days before the pitch, and does not count. Check the date." in wrote
    for word in ("show", "watch"):
        assert "A reading is dated long before" in command(capsys, "batch", word, "heather")


def test_files_out_and_in(home, capsys):
    command(capsys, "batch", "start", home / "heather.toml", "--pitched", ago(40))
    command(capsys, "batch", "read", "heather", "22 Bx", "--instrument", "refractometer")
    command(capsys, "batch", "note", "heather", "smells of heather")
    whole = home / "whole.json"
    whole.write_text(command(capsys, "batch", "export", "heather"))
    assert command(capsys, "batch", "import", whole).startswith("heather: already here")
    assert "heather-2" not in command(capsys, "batch", "list", "--json")
    table = home / "table.csv"
    table.write_text(command(capsys, "batch", "export", "heather", "--csv"))
    assert "3 there already" in command(capsys, "batch", "import", table, "--into", "heather")
    own = home / "own.csv"
    own.write_text(f"When,SG\n{ago(3)},1.090\n{ago(2)},9\n")
    pairs = ("--column", "at=When", "--column", "gravity=SG")
    looked = command(capsys, "batch", "import", own, "--into", "heather", *pairs, "--preview")
    assert "line 3" in looked
    command(capsys, "batch", "import", own, "--into", "heather", *pairs, code=2)
    assert command(capsys, "batch", "calendar", "heather").startswith("BEGIN:VCALENDAR")


def test_mistakes_are_corrected_and_refused_in_one_line(home, capsys):
    command(capsys, "batch", "start", home / "heather.toml", "--pitched", ago(40))
    data = json.loads(command(capsys, "batch", "read", "heather", "1.10", "--json"))
    entry = data["entry"]["id"]
    command(capsys, "batch", "correct", "heather", entry[:8], "--set", "gravity=1.095")
    command(capsys, "batch", "correct", "heather", entry, "--set", "temperature=66 F")
    shown = command(capsys, "batch", "show", "heather")
    assert "Read: 1.095, must 18.89 °C" in shown
    assert "[changed 2 times]" in shown
    command(capsys, "batch", "correct", "heather", entry, "--remove")
    assert "[removed]" in command(capsys, "batch", "show", "heather")
    command(capsys, "batch", "correct", "heather", entry, "--restore")
    for words in (
        ("read", "heather"),
        ("read", "nobody", "1.05"),
        ("read", "heather", "9"),
        ("event", "heather", "exploded"),
        ("feed", "heather", "--items", "gold=1 g"),
        ("correct", "heather", "zzz", "--set", "gravity=1.05"),
        ("correct", "heather", entry, "--set", "ph=99"),
        ("import", str(home / "missing.json")),
    ):
        assert run(["batch", *words, "--json"]) == 2, words
        captured = capsys.readouterr()
        assert captured.err.count("\n") == 1
        assert json.loads(captured.out)["error"]["message"]


def test_tokens_are_shown_once(home, capsys):
    command(capsys, "batch", "start", home / "heather.toml")
    made = json.loads(command(capsys, "batch", "token", "heather", "--label", "float", "--json"))
    assert len(made["token"]) >= 40
    listed = command(capsys, "batch", "token", "heather", "--list")
    assert "float" in listed
    assert made["token"] not in listed
    assert "ended" in command(capsys, "batch", "token", "heather", "--revoke", made["id"])


def test_backup_and_restore(home, capsys):
    command(capsys, "batch", "start", home / "heather.toml")
    copy = home / "copy.db"
    assert "1 batch" in command(capsys, "backup", copy)
    command(capsys, "batch", "note", "heather", "later")
    assert "before" in command(capsys, "restore", copy)
    assert "later" not in command(capsys, "batch", "show", "heather")
    copy.write_bytes(copy.read_bytes()[:9000])
    command(capsys, "restore", copy, code=2)
    command(capsys, "backup", copy, code=2)


def test_the_network_needs_a_passphrase(tmp_path):
    environment = os.environ | {"MUSTWRIGHT_HOME": str(tmp_path)}
    environment.pop("MUSTWRIGHT_PASSPHRASE", None)
    done = subprocess.run(
        [sys.executable, "-m", "mustwright", "serve", "--lan", "--port", "0"],
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "needs a passphrase" in done.stderr


def test_opened_to_the_network_it_shows_a_code_and_asks_at_the_door(tmp_path, monkeypatch):
    import urllib.request

    from serving import serving

    monkeypatch.setenv("MUSTWRIGHT_PASSPHRASE", "heather and gorse")
    with (
        serving(tmp_path, "--lan", "--port", "0", "--name", "cellar.example") as address,
        urllib.request.urlopen(f"{address}/") as answer,
    ):
        assert answer.url.startswith(f"{address}/login")
        assert b"Passphrase" in answer.read()


def test_a_forecast_is_worked_out_when_asked_for_and_kept(home, capsys):
    sheet = home / "heather.toml"
    command(capsys, "batch", "start", sheet, "--pitched", ago(60))
    command(capsys, "batch", "read", "heather", "1.100", "--temperature", "20 C", "--at", ago(20))
    plain = json.loads(command(capsys, "batch", "show", "heather", "--json"))["forecast"]
    assert plain["by"].startswith("usual pace")
    assert plain["model"] is None
    out = command(capsys, "batch", "show", "heather", "--forecast")
    assert "Forecast: fermentation model, fitted to 1 reading" in out
    assert "chance of stopping short" in out
    kept = json.loads(command(capsys, "batch", "show", "heather", "--json"))["forecast"]
    assert kept["by"] == "fermentation model, fitted to 1 reading"
    assert 0 <= kept["model"]["chance_of_sticking"] <= 1
    assert kept["model"]["hours_to_dry"]["p05"] < (kept["model"]["hours_to_dry"]["p50"] or 1e9)
    assert [f["key"] for f in kept["model"]["feeds"]]


def test_ph_read_with_a_strip_and_a_carbonate_bend_the_forecast_of_ph(home, capsys):
    command(capsys, "batch", "start", home / "heather.toml", "--pitched", ago(60))
    command(capsys, "batch", "read", "heather", "--ph", "3.9", "--at", ago(59.5))
    command(capsys, "batch", "read", "heather", "1.090", "--ph", "3.3", "--ph-by", "strip",
            "--at", ago(20))  # fmt: skip
    before = json.loads(command(capsys, "batch", "show", "heather", "--forecast", "--json"))
    ph = before["forecast"]["model"]["ph"]
    assert (ph["start_measured"], ph["readings"]) == (True, 1)
    command(capsys, "batch", "feed", "heather", "--items", "potassium_bicarbonate=6 g",
            "--at", ago(2))  # fmt: skip
    out = command(capsys, "batch", "show", "heather", "--forecast")
    assert "pH 3.3 by strip" in out
    assert "in nine of ten runs that fit the readings" in out
    after = json.loads(command(capsys, "batch", "show", "heather", "--json"))
    now = after["forecast"]["model"]["ph"]["now"]
    assert now["p50"] > ph["now"]["p50"] + 0.1


def started(home, capsys, days: float) -> None:
    command(
        capsys, "batch", "start", home / "heather.toml", "--protocol", "staged_for_strong_musts",
        "--pitched", ago(24 * days),
    )  # fmt: skip


def test_situations_once_contradictory_agree_on_the_command_line(home, capsys):
    started(home, capsys, 10)
    said = command(capsys, "batch", "next", "heather")
    assert said.startswith("Read gravity and temperature now: nothing was read in the 10 days")
    command(capsys, "batch", "read", "heather", "1.105", "--at", ago(24 * 9))
    assert "the last reading is 9 days old" in command(capsys, "batch", "next", "heather")
    assert "late" not in command(capsys, "batch", "list")
    for days, gravity in ((7, "1.075"), (5, "1.046"), (4, "1.040"), (3, "1.040"), (2, "1.040"),
                          (1, "1.040"), (0.1, "1.040")):  # fmt: skip
        command(capsys, "batch", "read", "heather", gravity, "--ph", "2.9", "--temperature", "20 C",
                "--at", ago(24 * days))  # fmt: skip
    shown = json.loads(command(capsys, "batch", "show", "heather", "--json"))
    of = shown["assessment"]
    assert of["phase"] == "stopped short"
    assert of["chance_stopped_short"] > 0.9
    assert of["chance_finished"] < 0.01
    assert of["sugar_left_g_l"]["p05"] < of["sugar_left_g_l"]["p50"] < of["sugar_left_g_l"]["p95"]
    assert of["knowledge_age_h"] == pytest.approx(2.4, abs=0.2)
    assert "Restart it first" in command(capsys, "batch", "replan", "heather")
    text = command(capsys, "batch", "show", "heather")
    assert "stopped short; gravity 1.040" in text
    assert "Dry about" not in text
    assert "stopped short 1.040" in command(capsys, "batch", "list")
    assert command(capsys, "batch", "next", "heather").startswith("Add ")
    command(capsys, "batch", "event", "heather", "restarted")
    assert "whether the restart has taken" in command(capsys, "batch", "next", "heather")
    ahead = (datetime.now(UTC) + timedelta(days=3)).isoformat()
    assert run(["batch", "read", "heather", "1.040", "--at", ahead]) == 2
    assert "needs a time that is not ahead" in capsys.readouterr().err


def test_a_batch_is_started_by_a_protocol_as_written(home, capsys):
    sheet = home / "heather.toml"
    alone = SHEET.replace("autolysed_yeast = {}\ncomplex_blend = {}\n", "")
    sheet.write_text(alone.replace("dap = {}", "dap = {label_max_g_l = 0.1}"))
    grams = []
    assert run(["batch", "start", str(sheet), "--as-written"]) == 2
    assert "needs --protocol" in capsys.readouterr().err
    by = ("--protocol", "everything_at_pitch")
    for words in (("--name", "fitted"), ("--name", "written", "--as-written")):
        out = command(capsys, "batch", "start", sheet, *by, *words, "--json")
        feeds = json.loads(out)["feeds"]
        grams.append(sum(d["grams"] for f in feeds for d in f["doses"] if d["nutrient"] == "dap"))
    assert grams[0] <= 0.1 * 19 + 1e-6 < grams[1]


def test_a_temperature_without_a_unit_is_read_in_the_degrees_of_the_batch(home, capsys):
    sheet = home / "gallon.toml"
    sheet.write_text(SHEET.replace("19 L", "5 US gal"))
    command(capsys, "batch", "start", sheet, "--pitched", ago(48))
    told = command(
        capsys, "batch", "read", "gallon", "1.100", "--sample", "60", "--temperature", "71",
        "--at", ago(24), "--json",
    )  # fmt: skip
    assert json.loads(told)["entry"]
    said = command(capsys, "batch", "show", "gallon")
    assert "Read: 1.100 at 60 °F, must 71 °F" in said
    command(capsys, "batch", "read", "gallon", "1.096", "--temperature", "20 C", "--at", ago(12))
    assert "Read: 1.096, must 68 °F" in command(capsys, "batch", "show", "gallon")
