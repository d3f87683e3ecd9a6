"""What must hold of the vessel however a batch is finished: masses close, lines come back."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import cache

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from batches import PITCHED, STRONG, Log, plan
from cases import cases
from mustwright.batch.entries import Correction, Event, Removal, Restoration, what_data
from mustwright.batch.finishing_record import Added, Poured, StepDone
from mustwright.batch.log import standing
from mustwright.batch.vessel import PER_LITRE, VesselContents, vessel
from mustwright.finishing.liquid import Liquid, mead, of_ingredient
from mustwright.must.ingredient import ingredient_called

HONEY, _ = ingredient_called("clover honey", "with")
LANE = STRONG.replace("1.120", "1.098")
DRY_H = 24 * 30
# Masses go to mg/L and back at each step: rounding of doubles, some 1e-16 each, over some steps.
ROUNDING = 1e-12
# A mixture's extract is solved for from gravity to 1e-10 g/L, in tens of g/L.
SOLVED = 1e-9


def dry_log() -> Log:
    log = Log(plan(LANE))
    for hours, gravity in ((24, 1.09), (240, 1.03), (480, 1.0), (DRY_H, 0.994)):
        log.read(hours, gravity, ph=3.5, temperature_c=20.0)
    log.add(DRY_H, StepDone("stable", measured={"residual_sugar_g_l": 1.0, "acidity_g_l": 5.0}))
    return log


def held(log: Log) -> VesselContents:
    stands = log.stands()
    return vessel(far(), stands)


@cache
def far():
    """The progress of the dry batch long after; steps are no part of what it is asked for here."""
    return dry_log().at(24 * 200)


def grams(v: VesselContents) -> dict[str, float]:
    return {
        name: (getattr(v, fact) or 0.0) * v.volume_l / scale
        for fact, (name, scale) in PER_LITRE.items()
    }


# Steps -----------------------------------------------------------------------------------------

litres = st.floats(0.01, 6.0)
few = st.floats(0.05, 20.0)


def sulfite(g: float) -> StepDone:
    one = Added(
        "potassium_metabisulfite", "Salt", g, {"total_so2": 0.576 * g, "potassium": 0.35 * g}
    )
    return StepDone("sulfite", (one,), after={"molecular_so2_mg_l": 0.8})


def sorbate(g: float) -> StepDone:
    one = Added("potassium_sorbate", "Salt", g, {"sorbic_acid": 0.746 * g, "potassium": 0.26 * g})
    return StepDone("sorbate", (one,))


def sweeten(g: float) -> StepDone:
    liquid = of_ingredient(HONEY, g / 100)
    poured = Poured(liquid.mass_g, liquid.extract_g, liquid.ethanol_g)
    one = Added("clover_honey", "Honey", 10 * g, {"sugar": 7.9 * g}, poured)
    return StepDone("sweeten", (one,), protected=True)


def poured(amount: float, alcohol: float, gravity: float) -> Added:
    liquid = mead(amount, gravity, alcohol)
    brings = {"total_so2": 0.04 * amount, "sugar": 12.0 * amount, "acidity": 5.5 * amount}
    made = Poured(liquid.mass_g, liquid.extract_g, liquid.ethanol_g)
    return Added("old", "Old lot", liquid.mass_g, brings, made, amount)


def blend(lost: float, amount: float, alcohol: float) -> StepDone:
    one = poured(amount, alcohol, 1.005)
    return StepDone("blend", (one,), lost_l=lost, words={"stabilised": ""})


losing = st.one_of(
    st.builds(lambda v: StepDone("rack", lost_l=v), litres),
    st.builds(lambda v: StepDone("drawn", lost_l=v, words={"into": "far"}), litres),
    st.builds(lambda v: Event("sampled", litres=v), st.floats(0.01, 0.5)),
    st.builds(lambda v: Event("racked", litres=v), st.floats(0.5, 18.0)),
    st.builds(lambda v: StepDone("bottle", lost_l=v), litres),
)
salting = st.one_of(st.builds(sulfite, few), st.builds(sorbate, few))
pouring = st.one_of(
    st.builds(sweeten, st.floats(5, 150)),
    st.builds(blend, st.floats(0, 5), litres, st.floats(5, 16)),
    st.builds(
        lambda lost, amount: StepDone("rack", (poured(amount, 12.0, 1.0),), lost_l=lost),
        litres,
        litres,
    ),
)
anything = st.lists(st.one_of(losing, salting, pouring), min_size=1, max_size=6)


def logged(steps) -> Log:
    log = dry_log()
    for i, step in enumerate(steps, 1):
        log.add(DRY_H + 24 * i, step)
    return log


def along(steps):
    """The vessel before and after each step."""
    log = dry_log()
    before = held(log)
    for i, step in enumerate(steps, 1):
        log.add(DRY_H + 24 * i, step)
        after = held(log)
        yield step, before, after
        before = after


# Balances --------------------------------------------------------------------------------------


@cases(40)
@given(anything)
def test_the_volume_is_never_negative_and_grows_only_by_what_goes_in(steps):
    for step, before, after in along(steps):
        brought = [one for one in getattr(step, "added", ()) if one.liquid is not None]
        room = sum(poured_volume(one.liquid) for one in brought)
        assert after.volume_l >= 0
        limit = before.volume_l if isinstance(step, Event) else max(
            before.volume_l - step.lost_l, 0.0
        )  # fmt: skip
        if isinstance(step, Event) and step.what == "racked" and step.litres > before.volume_l:
            continue  # the maker measured the vessel: that is what holds
        # Sugar dissolved in mead takes up to a hundredth more room than in its own honey.
        assert after.volume_l <= limit + room * (1 + 0.01) + SOLVED


def poured_volume(liquid: Poured) -> float:
    return Liquid(liquid.mass_g, liquid.extract_g, liquid.ethanol_g).volume_l


@cases(40)
@given(anything)
def test_masses_close_at_every_step(steps):
    """What leaves takes its share along, what goes in adds up."""
    for step, before, after in along(steps):
        if isinstance(step, Event):
            gone = step.litres if step.what == "sampled" else before.volume_l - step.litres
            brought = {}
        else:
            gone = step.lost_l
            names = {name for one in step.added for name in one.brings_g}
            brought = {n: sum(one.brings_g.get(n, 0.0) for one in step.added) for n in names}
        stays = 1 - min(max(gone, 0.0), before.volume_l) / max(before.volume_l, 1e-12)
        had, has = grams(before), grams(after)
        for name in ("total_so2", "sorbic_acid", "potassium", "sugar", "acidity"):
            expected = had[name] * stays + brought.get(name, 0.0)
            if min(before.volume_l, after.volume_l) < 1e-6:
                continue  # an empty vessel holds nothing per litre
            assert has[name] == pytest.approx(expected, rel=ROUNDING * 10, abs=1e-9), name


@cases(40)
@given(anything)
def test_what_is_mixed_in_adds_up_by_mass_and_ethanol(steps):
    for step, before, after in along(steps):
        if isinstance(step, Event) or not step.mixes or after.doubts:
            continue
        left = before.volume_l - step.lost_l
        if left < 0.01 or max(before.gravity, after.gravity) > 1.2:
            continue  # honey on a dreg is no mead any more, and a gravity does not tell what it is
        parts = [mead(left, before.gravity, before.alcohol_pct)]
        parts += [one.liquid for one in step.added]
        now = mead(after.volume_l, after.gravity, after.alcohol_pct)
        for name in ("mass_g", "extract_g", "ethanol_g"):
            expected = sum(getattr(part, name) for part in parts)
            assert getattr(now, name) == pytest.approx(expected, rel=SOLVED, abs=1e-6), name


@cases(40)
@given(anything, st.floats(0.2, 4.0))
def test_drawing_in_two_goes_is_drawing_once(steps, amount):
    once = held(logged([*steps, StepDone("drawn", lost_l=amount)]))
    twice = held(
        logged(
            [*steps, StepDone("drawn", lost_l=amount / 4), StepDone("drawn", lost_l=0.75 * amount)]
        )
    )
    assert twice.volume_l == pytest.approx(once.volume_l, abs=1e-9)
    for name, value in grams(once).items():
        assert grams(twice)[name] == pytest.approx(value, rel=1e-9, abs=1e-9)
    assert (twice.gravity, twice.alcohol_pct) == (once.gravity, once.alcohol_pct)


# A reading after --------------------------------------------------------------------------------


@cases(40)
@given(st.floats(20, 200), st.floats(0.0, 0.04))  # a reading is 0.95 or more
def test_what_ferments_afterwards_takes_sugar_and_gives_alcohol(honey, fall):
    log = logged([sweeten(honey)])
    before = held(log)
    log.read(DRY_H + 240, round(before.gravity - fall, 4))
    after = vessel(log.at(24 * 200), log.stands())
    assert after.volume_l == pytest.approx(before.volume_l)
    assert 0 <= after.residual_sugar_g_l <= before.residual_sugar_g_l * (1 + ROUNDING)
    assert after.alcohol_pct >= before.alcohol_pct - 1e-9


# The log ----------------------------------------------------------------------------------------


@cases(40)
@given(anything, st.randoms(use_true_random=False))
def test_lines_of_one_moment_count_in_the_order_they_were_written(steps, random):
    log = dry_log()
    for step in steps:
        log.add(DRY_H + 24, step)
    one_after_another = logged(steps)
    stands = list(log.stands())
    random.shuffle(stands)
    assert plain(vessel(far(), stands)) == plain(held(one_after_another))


def plain(v: VesselContents) -> VesselContents:
    """Without words, which name days."""
    return replace(v, how={}, doubts=(), added=tuple((PITCHED, one) for _, one in v.added))


@cases(40)
@given(anything, st.data())
def test_a_line_taken_out_is_as_if_never_written_and_comes_back_whole(steps, data):
    whole = logged(steps)
    which = data.draw(st.integers(0, len(steps) - 1))
    without = dry_log()
    for i, step in enumerate(steps):
        if i != which:
            without.add(DRY_H + 24 * (i + 1), step)
    before = held(whole)
    target = whole.entries[-len(steps) + which].id
    whole.add(DRY_H + 24 * 30, Removal(target))
    assert held(whole) == held(without)
    whole.add(DRY_H + 24 * 31, Restoration(target))
    assert held(whole) == before


@cases(40)
@given(anything, st.data())
def test_a_corrected_line_is_as_if_written_so_at_first(steps, data):
    whole = logged(steps)
    done = [i for i, step in enumerate(steps) if isinstance(step, StepDone)]
    assume(done)
    which = data.draw(st.sampled_from(done))
    right = data.draw(st.one_of(salting, pouring))
    old = whole.entries[-len(steps) + which]
    at = old.at + timedelta(hours=1)
    change = Correction(old.id, old.at, at, what_data(old.what), what_data(right))
    whole.add(DRY_H + 24 * 30, change)
    written = dry_log()
    for i, step in enumerate(steps):
        hours = DRY_H + 24 * (i + 1)
        written.add(hours + (i == which), right if i == which else step)
    assert held(whole) == held(written)


def test_standing_keeps_the_order_of_the_log():
    """The same moment, written the other way round, is another vessel."""
    first = dry_log()
    first.add(DRY_H + 1, sulfite(1.0))
    first.add(DRY_H + 1, StepDone("drawn", lost_l=9.5))
    second = dry_log()
    second.add(DRY_H + 1, StepDone("drawn", lost_l=9.5))
    second.add(DRY_H + 1, sulfite(1.0))
    assert standing(first.entries) == first.stands()
    assert held(second).total_so2_mg_l == pytest.approx(2 * held(first).total_so2_mg_l)
