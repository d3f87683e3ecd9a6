"""What must hold whatever is typed: balances close, round trips close, no limit is passed."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import assume, event, example, given, settings
from hypothesis import strategies as st

from cases import cases
from mustwright.errors import ImpossibleError, MustwrightError
from mustwright.finishing.acid import AcidAsk, acid_dose
from mustwright.finishing.blending import blend_lots
from mustwright.finishing.bottle_pressure import Bottle, air_bar, co2_bar
from mustwright.finishing.bottling import bottle
from mustwright.finishing.carbonate import CarbonateAsk, carbonate
from mustwright.finishing.gas import co2_g_l_from_pressure, pressure_bar_from_co2
from mustwright.finishing.label_facts import BottleAsk, Size
from mustwright.finishing.law import finishing_law
from mustwright.finishing.liquid import mead, mixed
from mustwright.finishing.lots import BlendTarget, Lot
from mustwright.finishing.movement import GravityReading, movement
from mustwright.finishing.priming import sugar_called
from mustwright.finishing.racking import RackAsk, rack
from mustwright.finishing.sorbate import SorbateAsk, sorbate_dose
from mustwright.finishing.sulfite import sulfite_dose
from mustwright.finishing.sulfite_amount import SulfiteAsk
from mustwright.finishing.sweeten import SweetenAsk, sweeten
from mustwright.must.ingredient import ingredient_called

pytestmark = pytest.mark.filterwarnings("ignore::mustwright.errors.ValidityWarning")


def possible(gravity: float, alcohol: float) -> None:
    """Leave out what is lighter than water with that alcohol."""
    try:
        mead(1.0, gravity, alcohol)
    except ImpossibleError:
        assume(False)


LAWS = st.sampled_from(["home", "us", "eu"])
VOLUME = st.floats(0.5, 500)
ALCOHOL = st.floats(0, 18)
GRAVITY = st.floats(0.995, 1.03)
SWEETENER = st.sampled_from(["honey", "cane_sugar", "apple_juice_concentrate", "maple_syrup"])


@given(VOLUME, GRAVITY, ALCOHOL, st.floats(0.002, 0.06), SWEETENER)
@cases(60)
def test_sweeten_then_measure(volume, gravity, alcohol, rise, kind):
    """The sweetened mead has the gravity asked for, all its ethanol, and its extract by gravity."""
    possible(gravity, alcohol)
    sweetener = ingredient_called(kind, "with")[0]
    ask = SweetenAsk(volume, gravity, alcohol, sweetener, to_gravity=gravity + rise)
    done = sweeten(ask, finishing_law("home"))
    assert done.new_gravity.value == pytest.approx(gravity + rise, abs=1e-8)
    before = mead(volume, gravity, alcohol)
    after = mead(done.new_volume_l.value, done.new_gravity.value, done.new_alcohol_pct.value)
    assert after.ethanol_g == pytest.approx(before.ethanol_g, rel=1e-9, abs=1e-6)
    added = 1000 * done.kg.value * (sweetener.dissolved + sweetener.water)
    assert after.mass_g == pytest.approx(before.mass_g + added, rel=1e-8)
    assert done.new_volume_l.value > volume


@given(VOLUME, st.floats(0, 80), st.floats(1, 100))
@cases(40)
def test_sweeten_to_grams(volume, there, more):
    """To grams per litre: sugar there and sugar added, over the new volume."""
    honey = ingredient_called("honey", "with")[0]
    ask = SweetenAsk(volume, 1.01, 11, honey, to_sugar_g_l=there + more, residual_sugar_g_l=there)
    done = sweeten(ask, finishing_law("home"))
    assert done.sugar_after_g_l.value == pytest.approx(there + more, rel=1e-8)


LOT = st.tuples(
    st.floats(1, 50), st.floats(0, 18), st.floats(0.997, 1.08), st.floats(2, 9), st.floats(0, 300)
)


@given(
    st.lists(LOT, min_size=2, max_size=6),
    st.floats(4, 16),
    st.floats(0.998, 1.05),
    st.floats(0.1, 1.0),
    LAWS,
    st.booleans(),
)
@example(  # two blends are as near
    [(1.0, 0.0, 1.0, 2.0, 0.0), (1.0, 15.0, 1.0703125, 2.0, 0.0), (22.0, 0.0, 1.0625, 2.0, 0.0)],
    12.0, 1.03125, 0.75, "home", False,
)  # fmt: skip
@example(  # the same, with all of two lots in it
    [(44.0, 1.625, 1.0, 2.0, 20.0), (1.0, 17.6875, 1.0, 2.0, 0.0), (43.0, 0.0, 1.046875, 2.0, 1.5)],
    13.0, 1.0078125, 0.90625, "us", False,
)  # fmt: skip
@example(  # at the very edge of what can be met
    [(1.0, 4.0, 1.0, 2.0, 0.0), (1.0, 7.0, 1.0, 2.0, 0.0)], 4.0, 1.0, 0.5, "home", False,
)  # fmt: skip
@cases(50)
def test_blending_conserves(rows, alcohol, gravity, share, law, cheapest):
    """Mass and ethanol of the parts are those of the blend, within what there is of each."""
    for _, a, g, _, _ in rows:
        possible(g, a)
    lots = [
        Lot(f"lot {i}", v, a, g, acidity_g_l=t, so2_mg_l=s, price_per_l=1.0 + i)
        for i, (v, a, g, t, s) in enumerate(rows)
    ]
    volume = share * sum(lot.available_l for lot in lots)
    targets = [
        BlendTarget("alcohol", alcohol, alcohol + 0.5),
        BlendTarget("gravity", gravity, gravity),
    ]
    try:
        done = blend_lots(lots, targets, finishing_law(law), volume_l=volume, cheapest=cheapest)
    except ImpossibleError as refused:
        event(refused.field)
        return
    limit = finishing_law(law).highest("total_so2")
    if limit is not None:
        assert done.total_so2_mg_l.value <= 1000 * limit.high
    poured = [
        mead(part.litres.value, lot.gravity, lot.alcohol_pct)
        for part, lot in zip(done.parts, lots, strict=True)
        if part.litres.value > 1e-6
    ]
    blend = mead(done.volume_l.value, done.gravity.value, done.alcohol_pct.value)
    assert blend.mass_g == pytest.approx(mixed(poured).mass_g, rel=1e-5)
    assert blend.ethanol_g == pytest.approx(mixed(poured).ethanol_g, rel=1e-5, abs=1e-3)
    for part, lot in zip(done.parts, lots, strict=True):
        assert -1e-9 <= part.litres.value <= lot.available_l + 1e-6
    assert done.volume_l.value == pytest.approx(volume, rel=2e-3)
    if done.feasible or "within a hydrometer's reading" in done.words:
        assert alcohol - 0.003 <= done.alcohol_pct.value <= alcohol + 0.503
        assert done.gravity.value == pytest.approx(gravity, abs=3e-5)
    else:
        assert "nearest" in done.words


@given(
    st.lists(LOT, min_size=2, max_size=5),
    st.lists(st.floats(0.05, 1.0), min_size=5, max_size=5),
)
@cases(40)
def test_a_blend_that_exists_is_found(rows, shares):
    """Targets taken from a mixture that can be poured are met."""
    for _, a, g, _, _ in rows:
        possible(g, a)
    lots = [Lot(f"lot {i}", v, a, g) for i, (v, a, g, _, _) in enumerate(rows)]
    litres = [lot.available_l * share for lot, share in zip(lots, shares, strict=False)]
    mixture = mixed(
        mead(x, lot.gravity, lot.alcohol_pct) for x, lot in zip(litres, lots, strict=True)
    )
    alcohol, gravity = mixture.alcohol_pct, mixture.gravity
    targets = [BlendTarget("alcohol", alcohol, alcohol), BlendTarget("gravity", gravity, gravity)]
    done = blend_lots(lots, targets, finishing_law("home"), volume_l=mixture.volume_l)
    assert done.feasible, done.words


@given(
    VOLUME,
    st.floats(2.7, 4.4),
    st.floats(0, 20),
    st.floats(0, 40),
    st.floats(0.1, 2),
    st.floats(0, 80),
    st.floats(0, 150),
    st.floats(0, 80),
    st.sampled_from([0.01, 0.1, 1.0]),
    st.sampled_from([None, 0.44, 0.55]),
    LAWS,
)
@cases(150)
def test_sulfite_stays_legal(
    volume, ph, alcohol, temperature, molecular, free, bound, binding, scale, tablet, law
):
    ask = SulfiteAsk(
        volume,
        ph,
        alcohol,
        temperature,
        molecular,
        free_mg_l=free,
        total_mg_l=free + bound,
        binding_pct=binding,
        scale_g=scale,
        tablet_g=tablet,
    )
    profile = finishing_law(law)
    try:
        dose = sulfite_dose(ask, profile)
    except ImpossibleError:
        return
    limit = profile.highest("total_so2")
    if limit is not None:
        assert dose.total_after_mg_l.value <= 1000 * limit.high + 1e-6
    needed = max(0.0, molecular / dose.molecular_fraction.value - free)
    added = dose.metabisulfite_g.value * 0.57630 * 1000 / volume
    assert added * (1 - binding / 100) == pytest.approx(needed, rel=1e-3, abs=1e-6)


@given(
    VOLUME,
    st.floats(2.7, 4.2),
    st.floats(0, 20),
    st.floats(0, 40),
    st.floats(-5, 40),
    st.floats(0, 30),
    st.floats(0.2, 1.5),
)
@cases(150, deadline=None)
def test_no_dose_falls_when_the_keeping_temperature_falls(
    volume, ph, alcohol, now, kept, colder, molecular
):
    """Nor does a warm day lessen it: never less than for 20 C."""

    def dose(keeping, temperature=now):
        ask = SulfiteAsk(
            volume, ph, alcohol, temperature, molecular, scale_g=1e-4, keeping_c=keeping
        )
        return sulfite_dose(ask, finishing_law("home"))

    warm, cold = dose(kept), dose(max(kept - colder, -5.0))
    assert cold.metabisulfite_g.value >= warm.metabisulfite_g.value - 1e-9
    assert cold.weigh_g.value >= warm.weigh_g.value - 1e-9
    assert warm.metabisulfite_g.value >= dose(20.0).metabisulfite_g.value - 1e-9
    assert warm.metabisulfite_g.value == dose(kept, 40.0).metabisulfite_g.value
    assert cold.molecular_kept_mg_l.value >= molecular * (1 - 1e-3) - 1e-4 / volume * 1000


@given(VOLUME, st.floats(0, 18), st.floats(2.7, 4.4), st.sampled_from([0.1, 1.0, 5.0]), LAWS)
def test_sorbate_stays_legal(volume, alcohol, ph, scale, law):
    profile = finishing_law(law)
    dose = sorbate_dose(SorbateAsk(volume, alcohol, ph, 0.8, scale_g=scale), profile)
    cap = profile.highest("sorbic_acid")
    if cap is not None:
        assert dose.sorbic_acid_mg_l.value <= 1000 * cap.high + 1e-6


@given(
    VOLUME,
    st.sampled_from(["tartaric", "citric", "malic", "potassium_bicarbonate", "calcium_carbonate"]),
    st.floats(3, 12),
    st.floats(3, 12),
    LAWS,
)
@cases(150)
def test_acid_stays_legal(volume, substance, acidity, wanted, law):
    """Neither the dose nor any glass of its trial passes what the profile leaves."""
    profile = finishing_law(law)
    ask = AcidAsk(volume, substance, acidity, wanted)
    try:
        dose = acid_dose(ask, profile)
    except MustwrightError:
        return
    doses = [dose.weigh_g.value / volume] + [g.dose_g_l.value for g in dose.trial.glasses]
    doses += [g.batch_g.value / volume for g in dose.trial.glasses]
    most = max(doses)
    if substance == "citric":
        cap = profile.highest("citric_added", "citric_total")
        assert cap is None or most <= cap.high + 1e-6
    if substance.endswith("carbonate"):
        factor = {"potassium_bicarbonate": 100.114, "calcium_carbonate": 50.043}[substance]
        floor = profile.lowest("acid_floor")
        assert floor is None or (acidity - most / factor * 75.043 >= min(floor.low, acidity) - 1e-4)
    change = abs(dose.acidity_change_g_l.value)
    limit = profile.highest("acid_fall" if substance.endswith("carbonate") else "acid_rise")
    assert limit is None or change <= limit.high + 1e-6
    ceiling = profile.highest("acid_ceiling")
    assert ceiling is None or dose.acidity_after_g_l.value <= max(ceiling.high, acidity) + 1e-6


@given(
    VOLUME,
    st.floats(0, 30),
    st.floats(0.2, 6),
    st.one_of(st.none(), ALCOHOL),
    st.floats(0, 80),
    st.sampled_from(["wine", "beer", "swing_top", "sparkling", "pet", "keg"]),
    st.sampled_from(["sucrose", "dextrose"]),
)
@cases(150)
def test_no_priming_past_the_container(volume, warm, volumes, alcohol, sugar, container, prime):
    """What is recommended stays under the working pressure at 30 C, at its high end."""
    ask = CarbonateAsk(
        volume,
        [warm],
        co2_volumes=volumes,
        alcohol_pct=alcohol,
        sugar_g_l=sugar,
        sugar=sugar_called(prime),
        container=container,
    )
    try:
        done = carbonate(ask, finishing_law("eu"))
    except ImpossibleError:
        return
    assert done.pressure_bar_30c.high <= done.containers[0].working_bar.value
    assert done.target_co2_volumes.value <= done.containers[0].most_volumes.value + 1e-9
    made = done.sugar_g.value / volume * {"sucrose": 1.05263, "dextrose": 0.90909}[prime] * 0.48857
    left = done.residual_co2_volumes.value * 1.9768
    assert made + left == pytest.approx(done.target_co2_g_l.value, rel=1e-6)
    if "the plan is moved to" not in done.recorded.notes[0]:  # out from between two classes
        assert done.target_co2_volumes.value == pytest.approx(volumes, rel=1e-6)


@given(
    st.floats(0, 30),
    st.floats(0.9, 8),
    st.one_of(st.none(), ALCOHOL),
    st.floats(0, 80),
    st.booleans(),
)
@cases(150, deadline=None)
def test_the_pressure_judged_is_never_below_the_pressure_shown(
    warm, volumes, alcohol, sugar, in_keg
):
    ask = CarbonateAsk(
        19,
        [warm],
        co2_volumes=volumes,
        alcohol_pct=alcohol,
        sugar_g_l=sugar,
        sugar=None if in_keg else sugar_called("sucrose"),
        keg_c=4.0 if in_keg else None,
    )
    try:
        done = carbonate(ask, finishing_law("home"))
    except ImpossibleError:
        return
    judged = done.pressure_bar_30c.high
    shown = [done.pressure_bar_20c, done.pressure_bar_30c, done.keg_bar]
    assert all(judged >= (f.high if f.high is not None else f.value) for f in shown if f)
    assert done.pressure_bar_30c.low <= done.pressure_bar_30c.value <= judged
    assert all(c.bears == (judged <= c.working_bar.value) for c in done.containers)
    for one in done.containers:
        within_most = done.target_co2_volumes.value <= one.most_volumes.value
        assert in_keg or one.bears == within_most or one.most_volumes.value > 8


@given(st.floats(0, 20), ALCOHOL, st.floats(0, 80), st.floats(0.001, 0.2), st.floats(-2, 40))
@settings(deadline=None)
def test_gas_and_air_of_a_closed_bottle_are_all_there(co2, alcohol, sugar, share, fill):
    """What is dissolved and what is in the headspace make up the whole; room lessens pressure."""
    bottle = Bottle(share, fill, True)
    pressure = co2_bar(co2, 30, alcohol, sugar, bottle)
    assume(pressure < 15)
    dissolved = co2_g_l_from_pressure(pressure, 30, alcohol, sugar)
    above = share * pressure * 44.009 / (0.0831446 * 303.15)
    assert dissolved + above == pytest.approx(co2, rel=1e-6, abs=1e-6)
    assert pressure <= pressure_bar_from_co2(co2, 30, alcohol, sugar) + 1e-9
    assert 0 < air_bar(30, bottle) < air_bar(30, Bottle(share, fill, False))


@given(st.floats(0.1, 12), st.floats(-2, 40), ALCOHOL, st.floats(0, 200))
def test_gas_and_pressure_are_inverse(bar, temperature, alcohol, sugar):
    held = co2_g_l_from_pressure(bar, temperature, alcohol, sugar)
    assume(held <= 20)
    assert pressure_bar_from_co2(held, temperature, alcohol, sugar) == pytest.approx(bar, rel=1e-9)


@given(st.floats(5, 500), st.floats(0.05, 2), st.floats(0.05, 2))
def test_bottling_accounts_for_every_drop(volume, first, second):
    assume(abs(first - second) > 1e-3)
    ask = BottleAsk(volume, [Size(first), Size(second)], date(2026, 3, 1))
    done = bottle(ask, finishing_law("home"))
    filled = sum(b.filled_l.value for b in done.bottles)
    drips = 0.003 * done.bottle_count.value
    assert filled + drips + done.left_l.value == pytest.approx(done.usable_l.value, abs=1e-9)
    assert done.left_l.value <= min(first, second) + 0.003 + 1e-9


@given(st.floats(5, 200), st.floats(0, 15), st.sampled_from(["water", "mead"]))
@settings(deadline=None)
def test_topping_up_conserves_ethanol(volume, alcohol, what):
    possible(1.005, alcohol)
    ask = RackAsk(
        volume,
        1.005,
        alcohol,
        vessel_l=volume * 1.05,
        top_up=what,
        top_gravity=1.002,
        top_alcohol_pct=10.0,
    )
    done = rack(ask)
    brought = done.top_up_l.value * (0 if what == "water" else 10)
    assert done.alcohol_after_pct.value * done.volume_after_l.value == pytest.approx(
        done.racked_l.value * alcohol + brought, rel=1e-9, abs=1e-9
    )


@given(st.floats(0.98, 1.05), st.floats(-0.002, 0.002), st.integers(2, 8))
def test_an_error_of_all_readings_does_not_matter(level, shift, count):
    """The level is free: a hydrometer that reads high throughout says the same of movement."""
    first = [GravityReading(3.0 * i, level - 0.0001 * i) for i in range(count)]
    second = [GravityReading(r.day, r.gravity + shift) for r in first]
    sigma = 0.0006
    assert movement(first, sigma).chance == pytest.approx(movement(second, sigma).chance, rel=1e-6)
