"""What an up-front feed costs, and many plans in one call."""

from __future__ import annotations

import numpy as np
import pytest

from mustwright.kinetics import members, simulate
from mustwright.kinetics.conditions import Conditions, VesselInRoom
from mustwright.kinetics.ensemble import START
from mustwright.kinetics.feeds import NitrogenPulse, PulseTrigger
from mustwright.kinetics.forecast import forecast, forecast_plans
from mustwright.kinetics.inputs import MustAtPitch
from mustwright.kinetics.parameters import population

MUST = MustAtPitch.from_gravity(1.100, 19.0, amino_n_mg_l=18.0, ammonium_n_mg_l=7.0)
UP_FRONT = (NitrogenPulse(PulseTrigger(at_h=0.0), 110.0, 110.0),)
THIRDS = tuple(NitrogenPulse(PulseTrigger(at_h=t), 37.0, 37.0) for t in (0.0, 48.0, 96.0))
LATE = (NitrogenPulse(PulseTrigger(sugar_left_fraction=0.3), 110.0, 110.0),)
COUNT = 500


def test_up_front_foams_warms_and_sours_more() -> None:
    vessel = Conditions(vessel=VesselInRoom(19.0, "insulated", 20.0, 20.0))
    all_at_once, thirds = forecast_plans(MUST, (UP_FRONT, THIRDS), vessel, COUNT)
    assert all_at_once.peak_gas_l_h.p50 > 1.1 * thirds.peak_gas_l_h.p50
    assert all_at_once.peak_temperature_c.p50 > thirds.peak_temperature_c.p50 + 0.3
    early = int(np.searchsorted(thirds.times_h, 72.0))
    assert all_at_once.ph.p50[early] < thirds.ph.p50[early]


def test_peak_gas_is_the_steepest_fall_of_sugar() -> None:
    found = forecast(MUST, THIRDS, members=64, at_h=np.arange(0.0, 300.0, 0.5))
    steepest = np.max(np.diff(found.co2_g_l.p50) / 0.5) * 19.0 / 1.829
    assert found.peak_gas_l_h.p05 < steepest < found.peak_gas_l_h.p95


def test_late_nitrogen_is_left_or_taken_up_after_growth() -> None:
    hungry = MustAtPitch.from_gravity(1.090, 19.0, amino_n_mg_l=50.0, ammonium_n_mg_l=20.0)
    early, late = forecast_plans(hungry, (UP_FRONT, LATE), Conditions(20.0), COUNT)
    assert early.nitrogen.share_while_growing.p50 > 0.8
    assert late.nitrogen.share_while_growing.p25 < early.nitrogen.share_while_growing.p25 - 0.1
    left = late.nitrogen.unused_amino_mg_l.p95 + late.nitrogen.unused_ammonium_mg_l.p95
    assert left > 0
    assert late.residual_yan_mg_l.p50 == pytest.approx(
        late.nitrogen.unused_amino_mg_l.p50 + late.nitrogen.unused_ammonium_mg_l.p50, abs=40.0
    )


def test_one_call_of_many_plans_is_the_same_as_each_alone() -> None:
    plans = (UP_FRONT, (), THIRDS, LATE)
    together = forecast_plans(MUST, plans, Conditions(20.0), 100)
    for plan, found in zip(plans, together, strict=True):
        alone = forecast(MUST, plan, Conditions(20.0), 100)
        assert np.array_equal(found.dry_at_h, alone.dry_at_h)
        assert np.array_equal(found.sugar_g_l.p50, alone.sugar_g_l.p50)
        assert len(found.feeds) == len(plan)
        assert [f.expected_h.p50 for f in found.feeds] == [f.expected_h.p50 for f in alone.feeds]


def test_nitrogen_closes_for_every_member() -> None:
    built = members.build(MUST, Conditions(20.0), members.draw(64, 2), population("honey"))
    run = simulate.run(built, Conditions(20.0), THIRDS, np.arange(0.0, 400.0, 4.0), MUST.gravity)
    had = built.start[START.index("ammonium_n")] + built.start[START.index("amino_n")]
    left = run.yan_mg_l[-1] / 1000
    # single precision of the kept values
    assert run.taken_n_g_l[-1] + left == pytest.approx(had + 3 * 0.074, abs=1e-5)
    assert np.all(np.diff(run.taken_n_g_l, axis=0) >= -1e-6)
