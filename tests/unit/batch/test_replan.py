"""A plan that no longer fits is changed within rules and limits, and it is said why."""

from __future__ import annotations

from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches import STRONG, Log, plan
from cases import cases
from mustwright.batch.alerts import watch
from mustwright.batch.allowed_additions import broken
from mustwright.batch.entries import FeedGiven, Given, PlanAdopted
from mustwright.batch.next_step import next_step
from mustwright.batch.outlook import PaceOutlook
from mustwright.batch.replan import DROPPED, FOLDED, KEPT, MOVED, WAITS, propose
from mustwright.nutrition.protocols import built_in_protocols


def proposal(log: Log, hours: float):
    state = log.at(hours)
    return propose(state, PaceOutlook(state))


def sentence(log: Log, hours: float) -> str:
    state = log.at(hours)
    outlook = PaceOutlook(state)
    found = watch(state, log.stands())
    return next_step(state, outlook, found, UTC, propose(state, outlook)).sentence


def give(log: Log, hours: float, key: str, factor: float = 1.0) -> None:
    feed = plan().feed(key)
    items = tuple(Given(d.nutrient, d.grams * factor) for d in feed.doses)
    log.add(hours, FeedGiven(items, key))


def test_while_it_fits_nothing_is_proposed():
    log = Log()
    assert proposal(log, 10) is None
    log.read(18, 1.117)
    give(log, 18, "f1")
    assert proposal(log, 19) is None


def test_feeds_it_outran_are_folded_and_lose_their_ammonium():
    log = Log()
    log.read(20, 1.116)
    give(log, 20, "f1")
    log.read(72, 1.081)  # past a quarter of the sugar, where this protocol ends ammonium
    found = proposal(log, 73)
    by_key = {c.key: c for c in found.changes}
    assert by_key["f2"].what == FOLDED
    assert by_key["f3"].after.dropped.startswith("combined with")
    assert "%" in found.reasons[0]
    jars = {jar.id: jar for jar in found.plan.jars}
    for change in found.changes:
        for dose in change.after.doses:
            assert jars[dose.nutrient].mg_g.get("ammonium_n", 0) == 0
    assert found.plan.number == 2
    assert sentence(log, 73).startswith("Look over the changed plan")


def test_past_the_end_everything_is_dropped_and_said():
    log = Log()
    log.read(120, 1.055)
    found = proposal(log, 121)
    assert {c.what for c in found.changes} == {DROPPED}
    assert any("nothing more is fed" in r for r in found.reasons)
    assert found.plan.live_feeds == ()


def test_a_clock_does_not_feed_yeast_that_does_not_work():
    log = Log(plan(STRONG, "label_rate_days_1_2_3"))
    log.read(23, 1.120)
    found = proposal(log, 25)
    assert found.changes[0].what == WAITS
    assert found.changes[0].after.rule.kind == "onset"
    assert "No sign of work" in found.reasons[0]


def test_what_was_given_over_is_taken_off_the_rest():
    log = Log()
    log.read(20, 1.116)
    give(log, 20, "f1", 1.9)
    found = proposal(log, 21)
    before = sum(c.before.nitrogen_mg_l for c in found.changes)
    after = sum(c.after.nitrogen_mg_l for c in found.changes)
    assert after < before
    assert "more was given" in " ".join(found.reasons)


def test_warmer_moves_the_expected_hours():
    log = Log(plan(STRONG, "thirds_on_days_0_2_4"))
    log.read(20, 1.116, temperature_c=28)
    log.read(44, 1.095, temperature_c=28)
    found = proposal(log, 45)
    assert any("28 °C" in r for r in found.reasons)
    assert any(c.what in (MOVED, FOLDED) for c in found.changes)


def test_a_protocols_own_late_feed_is_kept():
    late = plan(STRONG, "thirds_on_days_0_2_4")
    assert late.last_moment >= max(f.sugar_used for f in late.live_feeds)


@cases(60)
@given(
    st.sampled_from(sorted(built_in_protocols())),
    st.floats(1, 200),
    st.floats(0, 0.11),
    st.dictionaries(
        st.sampled_from(["dap", "autolysed_yeast", "complex_blend"]), st.floats(0, 40), max_size=3
    ),
    st.sampled_from([12.0, 20.0, 30.0]),
)
def test_no_proposal_breaks_a_limit_or_a_rule(protocol, hours, fall, given_g, temperature_c):
    of = plan(STRONG, protocol)
    log = Log(of)
    log.read(hours, 1.120 - fall, temperature_c=temperature_c, sample_c=20)
    items = tuple(Given(n, g) for n, g in given_g.items())
    if items:
        log.add(hours, FeedGiven(items))
    found = proposal(log, hours + 1)
    if found is None:
        return
    given = log.at(hours + 1).given_g
    already = {m.key for m in broken(found.plan, given, ())}
    after = [c.after for c in found.changes]
    assert {m.key for m in broken(found.plan, given, after)} <= already
    for change in found.changes:
        used = max(log.at(hours + 1).sugar_used, change.after.sugar_used)
        until = of.conditions.ammonium_until_sugar_used
        for dose in change.after.doses if change.what != KEPT else ():
            assert dose.grams > 0
            jar = found.plan.jar(dose.nutrient)
            if until is not None and used > until + 0.01:
                assert jar.mg_g.get("ammonium_n", 0.0) == 0.0


@pytest.mark.parametrize("protocol", ["staged_for_strong_musts", "label_rate_days_1_2_3"])
@pytest.mark.parametrize(
    "read",
    [
        ((20, 1.105, 24.0), (40, 1.085, 26.0), (59, 1.065, 27.0)),
        ((24, 1.119, 12.0), (59, 1.117, 12.0)),
        ((20, 1.100, 22.0), (59, 1.040, 22.0)),
    ],
)
def test_what_was_just_adopted_is_not_proposed_again(protocol, read):
    log = Log(plan(STRONG, protocol))
    for hours, gravity, warm in read:
        log.read(hours, gravity, temperature_c=warm)
    first = propose(log.at(60), log.outlook(60))
    assert first is not None
    log.add(60, PlanAdopted(first.plan, first.reasons))
    for hours in (60.01, 61.5):
        assert propose(log.at(hours), log.outlook(hours)) is None
