"""The forecast command as others call it: its fields, its seed, its errors."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from serving import COMMAND

EXAMPLE = str(Path(__file__).resolve().parents[2] / "examples" / "measured_must.toml")
QUANTILES = ["p05", "p25", "p50", "p75", "p95"]
COURSES = ("gravity", "brix", "sugar_g_l", "ethanol_g_l", "co2_g_l", "yan_mg_l", "temperature_c")
SUMS = ("hours_to_dry", "residual_sugar_g_l", "residual_yan_mg_l")


def forecast(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, "forecast", *arguments], capture_output=True, text=True, timeout=120
    )


def answer(*arguments: str) -> dict:
    shown = forecast(EXAMPLE, "--members", "64", *arguments, "--json")
    assert shown.returncode == 0, shown.stderr
    return json.loads(shown.stdout)


@pytest.fixture(scope="module")
def told():
    return answer("--at", "16,64,112", "--protocol", "halves_at_onset_and_third")


def rising(values):
    known = [v for v in values if v is not None]
    return known == sorted(known) and None not in values[: len(known)]


def test_every_course_has_five_quantiles_at_the_times_asked_for(told):
    assert told["times_h"] == [16, 64, 112]
    for name in COURSES:
        assert list(told[name]) == QUANTILES
        assert all(len(values) == 3 for values in told[name].values())
        for k in range(3):
            assert rising([told[name][q][k] for q in QUANTILES]), name
    assert told["gravity"]["p50"] == sorted(told["gravity"]["p50"], reverse=True)
    assert told["ethanol_g_l"]["p50"] == sorted(told["ethanol_g_l"]["p50"])


def test_sums_chances_and_feeds(told):
    for name in SUMS:
        assert list(told[name]) == QUANTILES
        assert rising(list(told[name].values())), name
    assert 0 <= told["chance_of_sticking"] <= 1
    assert len(told["feeds"]) == 2
    for feed in told["feeds"]:
        assert list(feed["expected_h"]) == QUANTILES
        assert rising(list(feed["expected_h"].values()))


def test_none_feeds_nothing_and_is_no_quicker():
    """On a honey must: one of unknown make may have been fed by others, as cellars do."""
    honey = str(Path(EXAMPLE).with_name("traditional_1100.toml"))
    at = ("--members", "64", "--at", "16,64,112", "--json")
    fed, bare = (
        json.loads(forecast(honey, *at, "--protocol", name).stdout)
        for name in ("halves_at_onset_and_third", "none")
    )
    assert bare["feeds"] == []
    assert bare["protocol"] == "none"
    assert bare["sugar_g_l"]["p50"][2] >= fed["sugar_g_l"]["p50"][2]


def test_the_same_seed_gives_the_same_answer(told):
    asked = ("--at", "16,64,112", "--protocol", "halves_at_onset_and_third")
    assert answer(*asked, "--seed", "1") == told
    assert answer(*asked, "--seed", "2")["gravity"] != told["gravity"]


def test_without_times_it_looks_six_weeks_ahead():
    told = answer()
    assert told["times_h"][0] == 0
    assert told["times_h"][-1] == 1008
    assert len(told["gravity"]["p50"]) == len(told["times_h"])


def test_ph_is_a_band_with_its_trough_its_note_and_its_odds(told):
    """The measured example carries a pH; the acid make-up stands in, and that is said."""
    assert list(told["ph"]) == [*QUANTILES, "below_2_9"]
    for k in range(3):
        values = [told["ph"][q][k] for q in QUANTILES]
        assert values == sorted(values)
        assert min(values) >= 2.9
        assert 0 <= told["ph"]["below_2_9"][k] <= 1
    trough = told["ph_trough"]
    assert list(trough["band"]) == list(trough["expected_h"]) == QUANTILES
    assert {"chance_below_floor", "below_2_9", "risk", "floor"} <= set(trough)
    assert "measured before the yeast" in told["ph_note"]
    beside = told["sticking_by_acid"]
    assert list(beside["odds_factor"]) == list(beside["chance_of_sticking"])
    assert beside["odds_factor"]["p05"] >= 1
    assert "ph" not in answer("--at", "16,64,112", "--no-ph")


def test_readings_bend_it(tmp_path, told):
    slow = tmp_path / "slow.csv"
    start = told["gravity"]["p95"][0]
    slow.write_text(f"t_h,gravity\n16,{start:.4f}\n64,{start - 0.004:.4f}\n")
    bent = answer("--at", "16,64,112", "--protocol", "halves_at_onset_and_third",
                  "--readings", str(slow))  # fmt: skip
    assert bent["gravity"]["p50"][2] > told["gravity"]["p50"][2]
    assert set(bent["readings"]) >= {"explained", "odd_reading", "message"}


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        (["--at", "soon"], "--at"),
        (["--at", "-5"], "at"),
        (["--members", "3"], "members"),
        (["--seed", "-1"], "seed"),
        (["--protocol", "nonesuch"], "protocol"),
        (["--readings", "nonesuch.csv"], "--readings"),
    ],
)
def test_bad_input_is_one_line_and_a_json_error(arguments, field):
    shown = forecast(EXAMPLE, *arguments, "--json")
    assert shown.returncode == 2
    assert len(shown.stderr.strip().splitlines()) == 1
    assert json.loads(shown.stdout)["error"]["field"] == field


def test_a_bad_reading_is_named_by_line_and_column(tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("t_h,gravity\n0,1.1\n24,wet\n")
    shown = forecast(EXAMPLE, "--readings", str(bad), "--json")
    assert shown.returncode == 2
    assert json.loads(shown.stdout)["error"]["field"] == "readings line 3 gravity"


def test_a_must_without_sugar_is_refused(tmp_path):
    water = tmp_path / "water.toml"
    water.write_text(
        '[must]\nvolume = "5 L"\n[[must.ingredient]]\nkind = "water"\namount = "5 L"\n'
    )
    shown = forecast(str(water), "--json")
    assert shown.returncode == 2
    assert json.loads(shown.stdout)["error"]["field"] == "must.gravity"
