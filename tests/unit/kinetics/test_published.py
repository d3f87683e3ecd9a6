"""Published fermentations: outcomes of the reference data, each with its source.

What the documents support is order and direction. Several constants were set by hand with these
outcomes in view (docs/kinetics.md), so this guards the behaviour; it is no held-out evidence.
"""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mustwright.kinetics import members, observe, simulate
from mustwright.kinetics.ensemble import KEPT
from mustwright.kinetics.forecast import Forecast, forecast
from mustwright.kinetics.inputs import (
    Conditions,
    MustAtPitch,
    NitrogenPulse,
    PulseTrigger,
    StrainTraits,
)
from mustwright.kinetics.parameters import EFFECTS, population

FOLDER = Path(__file__).parents[2] / "reference" / "values" / "fermentations"
CASES: dict[str, dict[str, Any]] = tomllib.loads(
    (FOLDER / "published_behaviour.toml").read_text(encoding="utf-8")
)
COUNT = 1000


def honey(brix: float, yan_mg_l: float = 25.0) -> MustAtPitch:
    return MustAtPitch.from_brix(
        brix, 19.0, amino_n_mg_l=0.7 * yan_mg_l, ammonium_n_mg_l=0.3 * yan_mg_l
    )


def at(hours: float, ammonium: float = 0.0, amino: float = 0.0) -> NitrogenPulse:
    return NitrogenPulse(PulseTrigger(at_h=hours), ammonium, amino)


def typical_run(
    must: MustAtPitch, conditions: Conditions, feeds: tuple[NitrogenPulse, ...] = ()
) -> Any:
    z = np.zeros((len(EFFECTS), 32))
    built = members.build(must, conditions, z, population(must.medium))
    hours = np.arange(0.0, conditions.horizon_h, 2.0)
    return simulate.run(built, conditions, feeds, hours, must.gravity)


def test_every_case_has_a_source() -> None:
    assert len(CASES) >= 10
    for name, case in CASES.items():
        assert case["source"], name
        assert case["outcome"], name


def test_no_nitrogen_fails_and_late_recovers_partly() -> None:
    case = CASES["no_nitrogen_fails"]
    must = honey(case["brix"], case["honey_yan_mg_l"])
    conditions = Conditions(25.0, horizon_h=24.0 * case["days"])
    start, late = at(0, case["at_start_mg_l"]), at(24 * 14, case["on_day_14_mg_l"])
    told = [
        forecast(must, feeds, conditions, COUNT) for feeds in ((), (late,), (start,), (start, late))
    ]
    dry = [f.chance_of_dry for f in told]
    left = [f.residual_sugar_g_l.p50 for f in told]
    made = [f.ethanol_g_l.p50[-1] for f in told]
    assert dry[0] < 0.05
    assert left[0] > 40
    assert left[0] > left[1] + 10 > left[2]
    assert left[1] > 10  # recovers, but not all
    # both most: not told from start alone once most members are dry, so by the mean
    mean = [float(f.residual_by_member_g_l.mean()) for f in told]
    assert mean[0] > mean[1] > mean[2] > mean[3]
    assert made[0] < made[1] < made[2] <= made[3]


def test_ammonium_shortens_but_does_not_guarantee() -> None:
    case = CASES["ammonium_shortens"]
    conditions = Conditions(case["temperature_c"])
    bare = forecast(honey(23.8), (), conditions, COUNT)
    fed = forecast(honey(23.8), (at(0, case["yan_mg_l"] - 25),), conditions, COUNT)
    assert fed.hours_to_dry.p05 < 24 * case["days"] < fed.hours_to_dry.p95
    assert fed.hours_to_dry.p50 < 0.5 * bare.hours_to_dry.p50
    assert fed.chance_of_dry < 1.0


def test_by_products_and_leftovers() -> None:
    case = CASES["response_surface_best"]
    must = MustAtPitch.from_gravity(1.080, 10.0, amino_n_mg_l=150.0)
    for warm in (20.0, case["temperature_c"], 30.0):
        told = forecast(must, (), Conditions(warm), COUNT)
        # "no stuck run": none but the share that any forecast holds for what is not modelled
        assert told.chance_of_sticking - told.chance_not_modelled < 0.05
    run = typical_run(must, Conditions(case["temperature_c"]))
    made = run.kept[KEPT.index("ethanol"), :, 0]
    k = int(np.argmax(made > 0.93 * case["ethanol_pct_vol"] * 7.89))
    glucose, fructose = run.kept[0, k, 0], run.kept[1, k, 0]
    assert fructose > glucose  # as measured: 2.5 over 1.8
    glycerol = 0.028 / 0.481 * made[-1]
    # Glycerol of mead lies above that of the synthetic must the yield comes from: within half.
    assert glycerol == pytest.approx(case["glycerol_g_l"], rel=0.5)


def test_full_nutrition_two_weeks() -> None:
    case = CASES["full_nutrition_two_weeks"]
    must = honey(21.5)
    told = forecast(must, (at(0, 120, 60),), Conditions(20.0), COUNT)
    assert told.ethanol_g_l.p50[-1] / 7.892 == pytest.approx(case["ethanol_pct_vol"], abs=1.5)
    assert told.hours_to_dry.p05 < 24 * case["days"]
    assert told.hours_to_dry.p75 < 24 * case["days"]


def test_low_gravity_quick() -> None:
    case = CASES["low_gravity_quick"]
    told = forecast(honey(case["brix"], 150.0), (), Conditions(case["temperature_c"]), COUNT)
    assert told.hours_to_dry.p75 < 24 * case["days"]


def test_no_nutrient_stays_weak() -> None:
    case = CASES["no_nutrient_weak"]
    told = forecast(honey(24.0, 15.0), (), Conditions(22.0, horizon_h=504.0), COUNT)
    made = told.ethanol_g_l.p50[-1] / 7.892
    assert 4.0 < made < case["ethanol_pct_vol_best"] + 1.5
    assert told.chance_of_dry < 0.1


@pytest.mark.parametrize("yan_mg_l", [150.0, 300.0, 450.0])
def test_280_g_l_tends_to_stick(yan_mg_l: float) -> None:
    case = CASES["very_high_sugar_sticks"]
    half = case["sugar_g_l"] / 2
    must = MustAtPitch(1.0, half, half, 8.0, 0.4 * yan_mg_l, 0.6 * yan_mg_l, medium="clear_juice")
    wine = Conditions(24.0, strain=StrainTraits(case["tolerance_pct_vol"]))
    told = forecast(must, (), wine, COUNT)
    assert told.chance_of_dry < 0.35
    assert told.residual_sugar_g_l.p50 > 5
    tolerant = forecast(must, (), Conditions(24.0, strain=StrainTraits(18.0)), COUNT)
    assert tolerant.chance_of_dry > told.chance_of_dry + 0.4  # "strain-dependent"


def test_staged_well_fed_takes_a_week_or_so() -> None:
    case = CASES["staged_well_fed"]
    told: list[Forecast] = []
    for gravity, each in zip(case["gravity"], (33.0, 37.0), strict=True):
        must = MustAtPitch.from_gravity(gravity, 19.0, amino_n_mg_l=18.0, ammonium_n_mg_l=7.0)
        feeds = tuple(at(t, each, each) for t in (0.0, 48.0, 96.0))
        told.append(forecast(must, feeds, Conditions(case["temperature_c"]), COUNT))
    low, high = (24 * d for d in case["days"])
    # dry to 2 g/L is later than the end of primary: one day allowed
    assert low <= told[0].hours_to_dry.p50 <= high + 24
    for f in told:
        assert f.hours_to_dry.p05 < high
        assert f.hours_to_dry.p75 > low


def test_temperature_from_sluggish_to_stuck() -> None:
    half = CASES["temperature_range"]["sugar_g_l"] / 2
    # a grape-like must by its source: with the buffer of grape, ammonium hardly sours it
    must = MustAtPitch(1.0, half, half, 8.0, 80.0, 120.0, buffer_meq_l_ph=45.0)
    cold, usual, hot = (forecast(must, (), Conditions(t), COUNT) for t in (11.0, 22.0, 35.0))
    assert cold.hours_to_dry.p50 > 2 * usual.hours_to_dry.p50
    assert hot.chance_of_sticking > 0.6
    assert usual.chance_of_sticking - usual.chance_not_modelled < 0.2
    assert hot.residual_sugar_g_l.p50 > 10 > usual.residual_sugar_g_l.p50


def test_rate_rises_with_yan() -> None:
    hours = [
        forecast(
            # grape musts by their source: the buffer of grape, where ammonium hardly sours
            MustAtPitch(1.0, 110.0, 110.0, 8.0, 0.4 * yan, 0.6 * yan, buffer_meq_l_ph=45.0),
            (),
            Conditions(20.0),
            COUNT,
        ).hours_to_dry.p50
        for yan in (70.0, 140.0, 210.0, 280.0)
    ]
    assert np.all(np.diff(hours) < 0)
    gain = -np.diff(hours)
    assert gain[0] > 3 * gain[1] > 3 * gain[2]  # levels off: biomass follows N up to about 300 mg/L


def test_late_nitrogen_speeds_without_adding_cells() -> None:
    case = CASES["late_nitrogen"]
    must = MustAtPitch(1.0, 110.0, 110.0, 8.0, 30.0, 60.0)
    late = NitrogenPulse(PulseTrigger(sugar_left_fraction=0.6), 60.0, 0.0)
    bare = typical_run(must, Conditions(24.0))
    fed = typical_run(must, Conditions(24.0), (late,))
    k = int(np.searchsorted(fed.times_h, fed.fed_at_h[0, 0])) + 5  # half a day on

    def speed(run: Any) -> float:
        return float(run.sugar_g_l[k, 0] - run.sugar_g_l[k + 4, 0])

    assert case["speeds"][0] < speed(fed) / speed(bare) < case["speeds"][1]
    cells = [run.kept[KEPT.index("total"), -1, 0] for run in (bare, fed)]
    early = typical_run(must, Conditions(24.0), (at(0, 60.0),)).kept[KEPT.index("total"), -1, 0]
    assert cells[1] / cells[0] < 1.15
    assert early - cells[0] > 2.5 * (cells[1] - cells[0])  # the same nitrogen early grows cells


def test_synthetic_course() -> None:
    case = CASES["synthetic_course"]
    with (FOLDER / "synthetic_must_co2_mean.csv").open(encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    final = float(rows[-1]["co2_g_l"])
    must = MustAtPitch(0.3, 100.0, 100.0, 8.0, 148.0, 250.0, ph=3.3, medium="clear_juice")
    run = typical_run(must, Conditions(20.0, pitch_g_l=0.025 / 0.6, horizon_h=300.0))
    made = run.co2_g_l[:, 0].astype(float)
    left = observe.released(made)
    for share, key in ((0.1, "t10_h"), (0.5, "t50_h"), (0.9, "t90_h"), (0.95, "t95_h")):
        hours = float(np.interp(share * final, left, run.times_h))
        assert hours == pytest.approx(case[key], rel=0.04), key  # fitted to this course
    rate = np.gradient(left, run.times_h)
    assert rate.max() == pytest.approx(case["peak_g_l_h"], rel=0.10)
    assert run.times_h[rate.argmax()] == pytest.approx(case["peak_at_h"], abs=4.0)


def test_red_musts_take_about_four_days() -> None:
    must = MustAtPitch.from_brix(
        24.0, 200.0, ammonium_n_mg_l=100.0, amino_n_mg_l=150.0, medium="grape_with_skins"
    )
    told = forecast(must, (), Conditions(27.0), COUNT)
    # Reiter2021: at -0.5 to -1.3 Brix by 88 to 132 h
    assert 70 < told.hours_to_dry.p50 < 120
    assert told.brix.p50[-1] == pytest.approx(-1.0, abs=0.4)
