"""Forecasts: bands in order, feeds that fall due, protocols that can be paired."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mustwright.errors import ImpossibleError, InputError
from mustwright.kinetics import observe
from mustwright.kinetics.bands import band
from mustwright.kinetics.forecast import Forecast, fermentations, forecast, sum_up
from mustwright.kinetics.inputs import (
    Conditions,
    MustAtPitch,
    NitrogenPulse,
    PulseTrigger,
    StrainTraits,
    VesselInRoom,
)
from mustwright.must.gravity import brix_from_gravity

BANDS = ("gravity", "brix", "sugar_g_l", "ethanol_g_l", "co2_g_l", "yan_mg_l", "temperature_c")


@pytest.fixture(scope="module")
def told(honey_must: MustAtPitch, thirds: tuple[NitrogenPulse, ...]) -> Forecast:
    return forecast(honey_must, thirds, Conditions(20.0), members=1000)


@pytest.mark.parametrize("name", BANDS)
def test_bands_are_ordered(told: Forecast, name: str) -> None:
    band = getattr(told, name)
    assert band.p50.shape == told.times_h.shape
    for low, high in ((band.p05, band.p25), (band.p25, band.p50), (band.p50, band.p75)):
        assert np.all(low <= high)
    assert np.all(band.p75 <= band.p95)


def test_forecast_starts_at_the_must(told: Forecast, honey_must: MustAtPitch) -> None:
    assert told.gravity.p50[0] == pytest.approx(honey_must.gravity, abs=0.0005)
    assert told.brix.p50[0] == pytest.approx(float(brix_from_gravity(honey_must.gravity)), abs=0.1)
    assert told.gravity.p50[-1] < 1.0  # dry mead reads below water


def test_co2_is_what_a_scale_would_show(
    honey_must: MustAtPitch, thirds: tuple[NitrogenPulse, ...]
) -> None:
    drawn = fermentations(honey_must, thirds, Conditions(20.0), members=400)
    told = sum_up(drawn)
    rows = np.searchsorted(drawn.run.times_h, drawn.times_h)
    bare = band(observe.released(drawn.run.co2_g_l[rows]))
    for name in ("p05", "p50", "p95"):
        low, shown = getattr(bare, name), getattr(told.co2_g_l, name)
        assert np.all(shown >= low - 1e-3)
        assert np.all(shown <= low * (1 + observe.CARRIED) + 1e-3)
    assert told.co2_g_l.p50[-1] > bare.p50[-1] + 0.5
    some = sum_up(fermentations(honey_must, thirds, Conditions(20.0), 400, at_h=np.array([96.0])))
    assert some.co2_g_l.p50[0] == pytest.approx(float(told.co2_g_l.p50[48]), abs=0.01)


def test_same_seed_same_answer(honey_must: MustAtPitch, thirds: tuple[NitrogenPulse, ...]) -> None:
    one, two = (forecast(honey_must, thirds, members=200, seed=9) for _ in range(2))
    assert np.array_equal(one.brix.p50, two.brix.p50)
    assert one.hours_to_dry == two.hours_to_dry
    other = forecast(honey_must, thirds, members=200, seed=10)
    assert other.hours_to_dry != one.hours_to_dry


def test_protocols_can_be_paired(
    honey_must: MustAtPitch, thirds: tuple[NitrogenPulse, ...]
) -> None:
    fed = forecast(honey_must, thirds, members=400)
    # amino nitrogen: ammonium sours the must as well, which some members mind more than hunger
    more = [replace(f, amino_n_mg_l=f.amino_n_mg_l + 10) for f in thirds]
    better = forecast(honey_must, more, members=400)
    both = np.isfinite(fed.dry_at_h) & np.isfinite(better.dry_at_h)
    gain = fed.dry_at_h[both] - better.dry_at_h[both]
    assert np.mean(gain > 0) > 0.99  # member by member, not only on average
    assert np.std(gain) < 0.3 * np.std(fed.dry_at_h[both])


@pytest.mark.parametrize(
    "make",
    [
        lambda: MustAtPitch.from_gravity(1.100, 19.0, amino_n_mg_l=150.0),
        lambda: MustAtPitch.from_brix(float(brix_from_gravity(1.100)), 19.0, amino_n_mg_l=150.0),
    ],
)
def test_units_do_not_matter(make: object) -> None:
    must = make()  # type: ignore[operator]
    direct = MustAtPitch(
        5.019, must.glucose_g_l, must.fructose_g_l, must.solids_g_l, 0.0, 150.0
    )  # volume only matters in a vessel
    one, two = forecast(must, members=64), forecast(direct, members=64)
    assert one.hours_to_dry.p50 == pytest.approx(two.hours_to_dry.p50, rel=1e-9)


def test_feed_times_follow_their_triggers(honey_must: MustAtPitch) -> None:
    feeds = [
        NitrogenPulse(PulseTrigger(end_of_lag=True), 40.0, 40.0),
        NitrogenPulse(PulseTrigger(gravity_drop=0.033), 40.0, 40.0),
        NitrogenPulse(PulseTrigger(sugar_left_fraction=2 / 3, at_h=500.0), 20.0, 20.0),
        NitrogenPulse(PulseTrigger(gravity_below=0.97), 20.0, 20.0),
        NitrogenPulse(PulseTrigger(at_h=400.0, skip_below_sugar_fraction=0.5), 20.0, 20.0),
        NitrogenPulse(PulseTrigger(at_h=1.0, not_before_h=30.0), 0.0, 10.0),
    ]
    out = forecast(honey_must, feeds, members=400).feeds
    assert out[0].expected_h.p05 < out[0].expected_h.p95 < out[1].expected_h.p50
    assert out[1].chance_never < 0.02
    assert out[2].expected_h.p95 <= 500.0
    assert out[3].chance_never == 1.0
    assert out[3].expected_h.p05 == np.inf
    assert out[4].chance_left_out > 0.9
    assert out[5].expected_h.p05 == 30.0


def test_chances_add_up(told: Forecast) -> None:
    assert 0 <= told.chance_of_sticking <= 1 - told.chance_of_dry <= 1
    assert told.chance_of_dry == np.mean(np.isfinite(told.dry_at_h))


def test_too_strong_a_must_never_dries() -> None:
    must = MustAtPitch.from_gravity(1.160, 19.0, amino_n_mg_l=250.0)
    told = forecast(must, conditions=Conditions(strain=StrainTraits(12.0)), members=200)
    assert told.hours_to_dry.p05 == np.inf
    # it was made to stop sweet: what ends where its yeast ends does not stick
    assert told.chance_of_sticking + told.chance_of_stopping_sweet > 0.9
    assert told.chance_of_stopping_sweet > 0.5
    assert told.residual_sugar_g_l.p05 > 50


def test_big_vessel_warms_more(honey_must: MustAtPitch, thirds: tuple[NitrogenPulse, ...]) -> None:
    small, big = (
        forecast(
            honey_must, thirds, Conditions(vessel=VesselInRoom(v, "plastic", 20.0)), members=100
        )
        for v in (5.0, 1000.0)
    )
    assert big.temperature_c.p50.max() > small.temperature_c.p50.max() + 2


def test_less_certain_nitrogen_widens(honey_must: MustAtPitch) -> None:
    known = replace(honey_must, amino_n_mg_l=120.0)
    vague = replace(known, amino_n_range_mg_l=(40.0, 240.0))
    one, two = (forecast(m, members=1000) for m in (known, vague))
    assert two.yan_mg_l.p95[0] - two.yan_mg_l.p05[0] > 3 * (
        one.yan_mg_l.p95[0] - one.yan_mg_l.p05[0]
    )
    assert two.hours_to_dry.p75 > one.hours_to_dry.p75
    assert two.hours_to_dry.p05 < one.hours_to_dry.p05


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: MustAtPitch(0.0, 100, 100), "must.volume_l"),
        (lambda: MustAtPitch(10, 100, 100, ph=7.5), "must.ph"),
        (lambda: MustAtPitch(10, 100, 100, medium="water"), "must.medium"),  # type: ignore[arg-type]
        (lambda: MustAtPitch(10, float("nan"), 100), "must.glucose_g_l"),
        (lambda: PulseTrigger(), "feed.trigger"),
        (lambda: Conditions(60.0), "conditions.temperature_c"),
        (lambda: Conditions(((5.0, 20.0), (1.0, 20.0))), "conditions.temperature_c"),
        (lambda: VesselInRoom(19.0, "paper"), "vessel.material"),
        (lambda: StrainTraits(40.0), "strain.alcohol_tolerance_pct_vol"),
        (lambda: forecast(MustAtPitch(10, 100, 100), members=1), "members"),
    ],
)
def test_bad_input_names_its_field(make: object, field: str) -> None:
    with pytest.raises(InputError) as caught:
        make()  # type: ignore[operator]
    assert caught.value.field == field


def test_too_much_sugar_is_impossible() -> None:
    with pytest.raises(ImpossibleError):
        MustAtPitch(10, 300, 300)
