"""Does the plan still fit, and if not, what would: feeds folded, moved, cut or dropped by rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mustwright import data
from mustwright.batch.allowed_additions import allowed_jars, ceilings_left
from mustwright.batch.assessment import (
    AT_END,
    BOTTLED,
    ENDED,
    FINISHED,
    NOT_PITCHED,
    STOPPED,
    Assessment,
    assess,
)
from mustwright.batch.clock import NOW
from mustwright.batch.outlook import BatchOutlook
from mustwright.batch.plan import BatchPlan, Dose, PlannedFeed, once_each
from mustwright.batch.plan_deviation import (
    given_and_planned,
    lagging,
    moves,
    off_amounts,
    off_temperature,
    outran,
    overtaken,
    passed,
    planned_used,
)
from mustwright.batch.progress import CLOSED, FINISHING, LAG, FeedState, Progress
from mustwright.batch.withdrawn_feeds import WITHDRAWN, ammonium_too_late, withdrawn_words
from mustwright.nutrition.dosing_problem import DosingProblem, FeedAsk
from mustwright.nutrition.programme import solve
from mustwright.nutrition.rounding import round_to_scale
from mustwright.nutrition.triggers import Trigger, read_trigger
from mustwright.texts import join, literal, say

KEPT, MOVED, FOLDED, CHANGED, DROPPED, WAITS = (
    "kept",
    "moved",
    "folded",
    "changed",
    "dropped",
    "waits",
)
NOTHING_TO_PLAN = (NOT_PITCHED, AT_END, STOPPED, FINISHED, BOTTLED, ENDED)
COMBINED = "combined with"  # how the words of a feed begin, in English, that goes in with another
CHANGE_WORDS = {
    KEPT: say("stays", context="a feed"),
    MOVED: say("moves", context="a feed"),
    FOLDED: say("is combined with another feed"),
    CHANGED: say("changes", context="a feed"),
    DROPPED: say("is left out", context="a feed"),
    WAITS: say("waits", context="a feed"),
}
LONGEST_H = 1000.0  # the longest a clock trigger can wait


@dataclass(frozen=True)
class FeedChange:
    """One open feed before and after, with what happens to it and why."""

    key: str
    name: str
    what: str
    before: PlannedFeed
    after: PlannedFeed
    why: str

    @property
    def words(self) -> str:
        """What happens to it, as a maker says it."""
        takes_more = self.what == FOLDED and not self.after.dropped
        return say("is combined with later feeds") if takes_more else CHANGE_WORDS[self.what]


@dataclass(frozen=True)
class Proposal:
    """A plan that fits what was read; nothing changes until it is adopted.

    Parameters
    ----------
    reasons : tuple of str
        What no longer fits, one sentence each.
    because : str
        The first of them in a few words, as a part of a sentence.
    short_mg_l : float
        Nitrogen of the open feeds that rules or limits keep back [mg N/L].
    """

    reasons: tuple[str, ...]
    because: str
    changes: tuple[FeedChange, ...]
    plan: BatchPlan
    short_mg_l: float
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class _Group:
    """Open feeds that become one."""

    feeds: tuple[PlannedFeed, ...]
    trigger: Trigger
    used: float
    why: str = ""
    what: str = KEPT

    @property
    def lead(self) -> PlannedFeed:
        return self.feeds[0]


def propose(
    now: Progress, outlook: BatchOutlook, assessed: Assessment | None = None
) -> Proposal | None:
    """A new plan for the open feeds, or None while the plan in force fits.

    Parameters
    ----------
    now : Progress
        A feed that is withdrawn because its ammonium comes too late is open to be replaced.
    assessed : Assessment or None
        None assesses it here.
    """
    of = assessed or assess(now, (), outlook)
    if now.hours is None or of.phase in NOTHING_TO_PLAN or of.is_stale:
        return None
    open_feeds = [s.feed for s in now.feeds if s.state == "ahead" or _replaceable(now, of, s)]
    if not open_feeds:
        return None
    reasons = [*outran(now, open_feeds), *lagging(now, open_feeds)]
    reasons += [*off_temperature(now, open_feeds, outlook), *off_amounts(now)]
    if not reasons:
        return None
    groups = _groups(now, open_feeds, outlook)
    feeds, short = _doses(now, groups, outlook)
    changes = tuple(_change(before, feeds[before.key], groups) for before in open_feeds)
    if all(c.what == KEPT for c in changes):
        return None
    plan = replace(
        now.plan,
        number=now.plan.number + 1,
        feeds=tuple(feeds.get(f.key, f) for f in now.plan.feeds),
    )
    sentences = tuple(reason.sentence for reason in reasons)
    return Proposal(sentences, reasons[0].short, changes, plan, short, _cautions(changes))


def _replaceable(now: Progress, of: Assessment, state: FeedState) -> bool:
    """Whether a withdrawn feed may come back without its ammonium."""
    late = bool(ammonium_too_late(now, of, state.feed))
    return state.state == WITHDRAWN and late and now.sugar_used <= now.plan.last_moment


def no_proposal_words(now: Progress, of: Assessment) -> str:
    """Why there is nothing to re-plan: not every plan without a proposal fits."""
    if of.is_over or now.phase in (CLOSED, FINISHING):
        return say("Nothing is left to feed, so there is nothing to re-plan.")
    if of.is_stale:
        return say(
            "Read gravity first: the last reading is too old to tell whether the plan still fits."
        )
    if of.phase == STOPPED:
        return say(
            "Restart it first: the ferment has stopped short. Nothing is fed until it works again."
        )
    if of.may_have_stopped:
        return say("Read gravity again first: fermentation may have stopped.")
    withdrawn = withdrawn_words(now)
    if withdrawn:
        left = any(s.state == "ahead" for s in now.feeds)
        return (
            join(" ", (withdrawn, say("The rest of the plan stays as it is.")))
            if left
            else withdrawn
        )
    return say("The plan still fits what was read.")


# What would fit --------------------------------------------------------------------------------


def _groups(now: Progress, feeds: Sequence[PlannedFeed], outlook: BatchOutlook) -> list[_Group]:
    """Open feeds in the order they fall due; those already passed become one, now."""
    late = tuple(f for f in feeds if passed(now, f) or overtaken(now, f, outlook))
    groups = []
    if late:
        why = say("its moment has passed") if len(late) == 1 else say("their moments have passed")
        what = MOVED if len(late) == 1 else FOLDED
        groups.append(_Group(late, _clock(now), now.sugar_used, why, what))
    for feed in feeds:
        if feed in late:
            continue
        if now.phase == LAG and feed.rule.kind == "after_pitch":
            why = say("yeast that is not working yet takes up nothing")
            due = (now.hours or 0) >= feed.rule.amount - 1
            if due:
                trigger = read_trigger("onset", feed.key)
                groups.append(_Group((feed,), trigger, 0.0, why, WAITS))
                continue
        if feed.rule.kind == "after_pitch" and moves(now, feed, outlook):
            trigger = read_trigger({"sugar_used": round(feed.sugar_used, 3)}, feed.key)
            why = say("the clock no longer fits the pace, so this feed goes by the sugar used")
            groups.append(_Group((feed,), trigger, feed.sugar_used, why, MOVED))
            continue
        group = _Group((feed,), feed.rule, planned_used(now, feed))
        if moves(now, feed, outlook):
            why = say("same trigger, expected at another time")
            group = replace(group, why=why, what=MOVED)
        groups.append(group)
    return groups


def _clock(now: Progress) -> Trigger:
    hours = min(max(now.hours or 0.0, 0.0), LONGEST_H)
    return read_trigger({"after_pitch": f"{hours:.1f} h"}, "now")


def _doses(
    now: Progress, groups: Sequence[_Group], outlook: BatchOutlook
) -> tuple[dict[str, PlannedFeed], float]:
    """Grams for each group, folded feeds emptied; and the nitrogen kept back."""
    plan = now.plan
    end = plan.last_moment
    scale = _scale(now, groups)
    live, late = _within_end(groups, max(end, 0.0), now.sugar_used)
    why = say("more than {end:.0%} of the sugar is gone by then", end=end)
    feeds = {f.key: replace(f, doses=(), dropped=why) for g in late for f in g.feeds}
    grams, short = _grams(now, live, scale)
    for group, row in zip(live, grams, strict=True):
        feeds.update(_as_feeds(now, group, row, outlook))
    dropped = sum(f.nitrogen_mg_l for g in late for f in g.feeds)
    return feeds, short + dropped


def _within_end(
    groups: Sequence[_Group], end: float, used: float
) -> tuple[list[_Group], list[_Group]]:
    """Groups to give, those past the end folded into the one before; and those left out."""
    if used > end + 1e-9:
        return [], list(groups)
    live: list[_Group] = []
    late = []
    for group in groups:
        if group.used <= end + 1e-9:
            live.append(group)
        elif live:
            why = say(
                "'{feed}' would come after {end:.0%} of the sugar",
                feed=literal(group.lead.name),
                end=end,
            )
            live[-1] = replace(
                live[-1], feeds=(*live[-1].feeds, *group.feeds), what=FOLDED, why=why
            )
        else:
            late.append(group)
    return live, late


def _scale(now: Progress, groups: Sequence[_Group]) -> float:
    """Factor on the open feeds so that the whole plan's nitrogen comes out as planned."""
    if not off_amounts(now):
        return 1.0
    given, planned = given_and_planned(now)
    rest = sum(f.nitrogen_mg_l for g in groups for f in g.feeds)
    return min(max((rest + planned - given) / rest, 0.0), 2.0) if rest > 0 else 1.0


def _grams(
    now: Progress, groups: Sequence[_Group], scale: float
) -> tuple[list[Mapping[str, float]], float]:
    """As planned where rules and limits allow it; else the best blend that they do."""
    if not groups:
        return [], 0.0
    plan = now.plan
    jars = tuple(jar.nutrient() for jar in plan.jars)
    asks, as_planned = [], np.zeros((len(groups), len(jars)))
    kept = True
    for i, group in enumerate(groups):
        words = list(dict.fromkeys(w for f in group.feeds for w in f.allowed))
        alcohol = max(now.alcohol_pct, group.used * plan.must.potential_alcohol_pct)
        last = i == len(groups) - 1
        allowed = allowed_jars(plan, group.used, alcohol, words, last=last)
        wanted = scale * sum(f.nitrogen_mg_l for f in group.feeds)
        share = max(f.ammonium_share_max for f in group.feeds)
        asks.append(FeedAsk(wanted, tuple(allowed), share))
        for dose in (d for f in group.feeds for d in f.doses):
            j = next((k for k, jar in enumerate(jars) if jar.id == dose.nutrient), None)
            kept = kept and j is not None and j in allowed
            if j is not None:
                as_planned[i, j] += scale * dose.grams
    left = ceilings_left(plan, now.given_g)
    volume = plan.must.volume_l
    binding = [c for c in left if not c.advises]
    within = all(
        as_planned.sum(axis=0) @ np.array(c.weights) / volume <= c.most * (1 + 1e-9)
        for c in binding
    )
    if not (kept and within):
        solution = solve(DosingProblem(jars, tuple(asks), left, plan.ammonium_share_max, {}))
        as_planned = solution.grams_l * volume
    grams = round_to_scale(as_planned, plan.scale_g, binding, volume)
    nitrogen = np.array([jar.nitrogen_mg_g for jar in jars])
    asked = sum(ask.nitrogen_mg_l for ask in asks)
    short = max(asked - float((grams @ nitrogen).sum()) / volume, 0.0)
    rows = [{jar.id: float(g) for jar, g in zip(jars, row, strict=True) if g > 0} for row in grams]
    return rows, short  # type: ignore[return-value]


def _as_feeds(
    now: Progress, group: _Group, grams: Mapping[str, float], outlook: BatchOutlook
) -> dict[str, PlannedFeed]:
    plan = now.plan
    doses = []
    nitrogen = 0.0
    for nutrient, mass in grams.items():
        jar = plan.jar(nutrient)
        assert jar is not None
        doses.append(Dose(nutrient, jar.name, mass))
        nitrogen += mass * jar.nitrogen_mg_g / plan.must.volume_l
    span = outlook.due(group.trigger)
    soon = group.what in (MOVED, FOLDED) and group.trigger.kind == "after_pitch"
    jars = [jar for d in doses if (jar := plan.jar(d.nutrient)) is not None]
    caution = once_each(jar.caution for jar in jars)
    lead = replace(
        group.lead,
        trigger={"when": group.trigger.as_data()},
        words=NOW if soon else group.trigger.words(plan.must.brix, plan.must.fermentable_share),
        expected_h=span.expected_h,
        low_h=span.low_h,
        high_h=span.high_h,
        sugar_used=group.used,
        doses=tuple(doses),
        nitrogen_mg_l=nitrogen,
        allowed=tuple(dict.fromkeys(w for f in group.feeds for w in f.allowed)),
        caution=caution,
        dropped="" if doses else say("rules and limits allow nothing more"),
    )
    found = {lead.key: lead}
    combined = say("combined with '{feed}'", feed=literal(lead.name))
    for feed in group.feeds[1:]:
        found[feed.key] = replace(feed, doses=(), dropped=combined)
    return found


def _change(before: PlannedFeed, after: PlannedFeed, groups: Sequence[_Group]) -> FeedChange:
    group = next(g for g in groups if before in g.feeds)
    what, why = group.what, group.why
    if after.dropped:
        what = FOLDED if after.dropped.startswith(COMBINED) else DROPPED
        why = after.dropped
    elif what in (KEPT, MOVED) and not _same_doses(before, after):
        what = CHANGED
        amounts = say("amounts are set by what was given and what rules and limits still allow")
        why = join("; ", (why, amounts)) if why else amounts
    return FeedChange(before.key, before.name, what, before, after, why)


def _same_doses(before: PlannedFeed, after: PlannedFeed) -> bool:
    first, second = ({d.nutrient: d.grams for d in f.doses} for f in (before, after))
    return first.keys() == second.keys() and all(abs(first[k] - second[k]) < 1e-6 for k in first)


def _cautions(changes: Sequence[FeedChange]) -> tuple[str, ...]:
    cautions = data.load("cautions")
    said = []
    if any(c.what == FOLDED and c.after.doses for c in changes):
        said.append(
            say(
                "Give a large feed in two halves a few hours apart: all at once makes heat and "
                "foam. Leave headspace."
            )
        )
    if any(c.after.doses for c in changes):
        said.append(cautions["powder_in_gassy_must"]["text"])
    if any(c.what == DROPPED for c in changes):
        said.append(cautions["ammonium_late"]["text"])
    return tuple(said)
