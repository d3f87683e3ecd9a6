"""The pH of a forecast: bands, troughs, readings, and what is refused."""

from __future__ import annotations

import itertools
import json

import numpy as np
import pytest

from mustwright.planning.acidity.protocol_risk import acid_of_comparison, acid_of_plan
from mustwright.planning.acidity.report import acidity
from mustwright.planning.acidity.request import AcidityRequest
from mustwright.planning.forecast import forecast, forecast_data
from mustwright.planning.plan import compare, plan
from mustwright.planning.plan_forecast import foresee_comparison
from mustwright.planning.plan_json import comparison_data, plan_data

MEMBERS = 400
PROTOCOL = "halves_at_onset_and_third"
QUANTILES = ("p05", "p25", "p50", "p75", "p95")
PH = "[measured]\nph = 3.8\n"
MEASURED = """
[must]
volume = "10 L"
temperature = "21 C"
[measured]
brix = "23 Bx"
yan_mg_l = 140
[yeast]
kind = "low-demand neutral"
"""

pytestmark = pytest.mark.usefixtures("forecasts")


def told(text: str, protocol: str = PROTOCOL, members: int = MEMBERS, **more):
    return forecast_data(forecast(text, protocol, members=members, **more))


def test_bands_stand_at_the_forecasts_times_and_are_cut_off(sheet):
    data = told(sheet + PH)
    json.dumps(data, allow_nan=False)
    band = data["ph"]
    assert len(band["below_2_9"]) == len(data["times_h"])
    columns = np.array([band[q] for q in QUANTILES])
    assert columns.shape == (5, len(data["times_h"]))
    assert columns.min() >= 2.9
    assert (np.diff(columns, axis=0) >= 0).all()
    trough = data["ph_trough"]
    assert trough["floor"] == 3.2
    assert 0 <= trough["below_2_9"] <= trough["chance_below_floor"] <= 1
    assert trough["expected_h"]["p05"] <= trough["expected_h"]["p95"]
    assert trough["interpolation_error"] < 0.1
    assert "3.8 measured" in data["ph_note"]


def test_a_recipe_gives_a_wide_band_and_says_so(sheet):
    wide, narrow = told(sheet), told(sheet + PH)
    width = [d["ph"]["p95"][0] - d["ph"]["p05"][0] for d in (wide, narrow)]
    assert width[0] > 0.6 > 0.25 > width[1]
    assert "not measured" in wide["ph_note"]


def test_no_other_band_depends_on_it(sheet):
    with_it, without = told(sheet), told(sheet, with_ph=False)
    assert "ph" not in without
    for name in without:
        assert with_it[name] == without[name], name


def test_same_seed_same_ph(sheet):
    assert told(sheet)["ph"] == told(sheet)["ph"]
    assert told(sheet, seed=2)["ph"] != told(sheet)["ph"]


def test_nothing_known_nothing_said():
    data = told(MEASURED, "none")
    assert data["ph"] is data["ph_trough"] is data["sticking_by_acid"] is None
    assert data["ph_note"].startswith("No pH")
    known = told(MEASURED.replace("yan_mg_l", "ph = 3.5\nyan_mg_l"), "none")
    assert known["ph"] is not None
    assert "are assumed" in known["ph_note"]


def test_a_reading_of_ph_bends_the_band_from_then_on(sheet):
    prior = told(sheet)
    k = prior["times_h"].index(48)
    high = prior["ph"]["p75"][k]
    bent = told(sheet, readings=f"t_h,ph\n48,{high}\n")
    assert bent["ph"]["p95"][k] - bent["ph"]["p05"][k] < 0.35
    assert bent["ph"]["p50"][k] == pytest.approx(high, abs=0.06)
    assert bent["ph_trough"]["chance_below_floor"] < prior["ph_trough"]["chance_below_floor"]
    assert bent["ph_trough"]["effective_members"] >= 39
    assert "1 later pH reading" in bent["ph_note"]


def test_a_ph_read_at_pitch_counts_as_the_musts(sheet):
    """The kinetic members go by the sheet's pH alone, so the paths may differ by a hair."""
    many = 4 * MEMBERS  # the ends of a band rest on one member in twenty
    at_pitch = told(sheet, readings="t_h,ph\n0,3.8\n", members=many)
    in_sheet = told(sheet + PH, members=many)
    assert at_pitch["ph_note"] == in_sheet["ph_note"]
    for q in QUANTILES:
        np.testing.assert_allclose(at_pitch["ph"][q], in_sheet["ph"][q], atol=0.05)
    assert at_pitch["ph"]["p50"][0] == in_sheet["ph"]["p50"][0]


def test_an_odd_reading_is_named_and_left_out(sheet):
    text = sheet + PH
    odd = told(text, readings="t_h,ph\n72,6.9\n")
    assert "6.9 at 72 h is above" in odd["ph_note"]
    assert odd["ph"] == told(text)["ph"]


def test_gravity_and_ph_read_together(sheet):
    data = told(sheet + PH, readings="t_h,gravity,ph\n48,1.075,3.4\n")
    assert data["readings"]["explained"]
    assert "Fitted to 1 later pH reading too." in data["ph_note"]


def test_odds_are_within_the_one_chance_of_sticking(sheet):
    data = told(sheet)
    within = data["sticking_by_acid"]
    assert set(within["chance_of_sticking"].values()) == {round(data["chance_of_sticking"], 4)}
    assert within["odds_factor"]["p50"] >= 1
    assert "assumed" in within["note"]
    sour = sheet + "[measured]\nph = 2.7\n"
    unsalted, plain = told(sour, "none"), told(sheet, "none")
    odds = [d["sticking_by_acid"]["odds_factor"]["p50"] for d in (unsalted, plain, told(sour))]
    assert odds[0] > odds[1]
    assert odds[0] > odds[2]  # the plan carries a salt
    assert unsalted["chance_of_sticking"] > plain["chance_of_sticking"]


def test_plan_and_comparison_name_the_risk(sheet):
    risk = plan_data(acid_of_plan(plan(sheet + PH, PROTOCOL), 120), explain=True)
    acid = risk["acid"]
    assert acid["risk"] in ("low", "middle", "high")
    assert acid["trough"]["p05"] >= 2.9
    assert acid["potassium_ratio"] > 0
    assert "acid.chance_below_floor" in risk["working"]
    result = compare(sheet + PH, ["everything_at_pitch", PROTOCOL])
    rows = comparison_data(acid_of_comparison(foresee_comparison(result, 64), 120))["protocols"]
    assert [row["acid"]["floor"] for row in rows] == [3.2, 3.2]
    for ph in (row["acid"]["ph"] for row in rows):
        assert {len(line) for line in ph.values()} == {len(ph["times_h"])}
        assert ph["times_h"][0] == 0
        for low, high in itertools.pairwise(("p05", "p25", "p50", "p75", "p95")):
            assert all(a <= b for a, b in zip(ph[low], ph[high], strict=True))
        assert min(ph["p50"]) < ph["p50"][0]
    unknown = plan_data(acid_of_plan(plan(MEASURED, PROTOCOL), 120))
    assert unknown["acid"] is None


@pytest.mark.parametrize(
    ("fact", "highest"), [("", 5.4), ("hardness_dh = 7", 4.8), ("alkalinity_mg_l = 100", 4.8)]
)
def test_forecast_and_acidity_share_one_prior(sheet, fact, highest):
    """An ordinary water about 3.6 to 4.7, to 5.2 where its hardness is unknown."""
    text = sheet.replace('amount = "fill"', f'amount = "fill"\n{fact}')
    ahead = told(text)
    here = acidity(text, AcidityRequest(members=MEMBERS), PROTOCOL)
    band = here.start.band
    assert ahead["ph"]["p05"][0] == pytest.approx(band.p05.value, abs=0.12)  # 400 draws
    assert ahead["ph"]["p95"][0] == pytest.approx(band.p95.value, abs=0.25)
    assert 3.55 < ahead["ph"]["p05"][0] < 3.9
    assert 4.4 < ahead["ph"]["p95"][0] < highest
    assert any("hard the water is" in note for note in here.warnings) == (not fact)
