"""Which plans may be recommended at all, and which of equals trade practice prefers.

What a plan will do is for a forecast to say. Before that, and whatever it says, a plan that falls
short, or was not made for this must, is not recommended while another one is neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from mustwright.figure import TYPED
from mustwright.must.gravity_text import gravity_span, gravity_text
from mustwright.nutrition.feeding_plan import FeedingPlan, Setting
from mustwright.nutrition.protocols import Protocol
from mustwright.nutrition.triggers import THIRD
from mustwright.nutrition.usual_labels import FAR_BEYOND, doublings_beyond, times_usual_labels
from mustwright.texts import join, say, say_n

FRUIT_FORMS = ("fruit", "dried fruit", "juice", "concentrate")
BY_FERMENT = ("onset", "after_onset", "sugar_used", "gravity_drop", "first_of")
SHORT_MG_L = 5.0  # of the demand: less is within what a scale and a label leave open [mg N/L]
STAGED_ABOVE = 1.100  # gravity above which feeds come in two or more parts (common practice)
DAY_H = 24.0


@dataclass(frozen=True)
class ProtocolVerdict:
    """What speaks for a protocol's plan and what against it.

    Parameters
    ----------
    reasons, against : tuple of str
        In order of weight.
    faults : tuple of int
        Falls short; all at once in a strong must; not made for this must; ammonium late, or last
        where the shelf has amino nitrogen; far more of a kind than its usual labels allow, one for
        each doubling; most of its nitrogen of kinds it does not call for.
        A plan with an earlier fault is not recommended while one without it exists.
    practice : tuple of float
        What trade practice prefers among plans that do the same, the least first: as many feeds as
        the gravity wants, then few feeds, as its author wrote it, feeds that follow the ferment,
        low cost, few visits in vain.
    """

    reasons: tuple[str, ...]
    against: tuple[str, ...]
    faults: tuple[int, ...]
    practice: tuple[float, ...]


def judge(plan: FeedingPlan, protocol: Protocol, setting: Setting, fruit: bool) -> ProtocolVerdict:
    """What speaks for one protocol's plan on a must, and what against it.

    Parameters
    ----------
    plan : FeedingPlan
    protocol : Protocol
        The one the plan follows.
    setting : Setting
    fruit : bool
        Whether fruit or juice is a real part of the must.

    Returns
    -------
    ProtocolVerdict
    """
    beyond = doublings_beyond(max(times_usual_labels(setting, plan.feeds).values(), default=0.0))
    marks = {
        "covers": not falls_short(plan),
        "staged": _staged(plan, setting),
        "gravity": _made_for_gravity(protocol, setting),
        "fruit": protocol.suits_fruit in (None, fruit),
        "ammonium": not ammonium_late(plan),
        "label": not beyond,
        "author": not (plan.gave_way or plan.breaches or plan.missing),
        "law": True,
        "early": plan.nitrogen.added_mg_l.value <= 0 or plan.nitrogen.early_share.value >= 0.5,
        "follows": _follows(protocol) or _within_a_day(plan),
        "feeds": _given(plan) >= feeds_wanted(setting) or not (_given(plan) or falls_short(plan)),
    }
    words = _words(plan, protocol, setting)
    return ProtocolVerdict(
        tuple(words[name][0] for name in words if marks[name] and words[name][0]),
        tuple(words[name][1] for name in words if not marks[name] and words[name][1]),
        (
            not marks["covers"],
            not marks["staged"],
            not (marks["gravity"] and marks["fruit"]),
            _past_third(plan) or (not marks["ammonium"] and _has_amino(setting)),
            beyond,
            _in_name_only(plan, protocol, setting),
        ),
        (
            float(not marks["feeds"]),
            float(_given(plan)),
            float(len(plan.gave_way)),
            float(not marks["follows"]),
            plan.cost.value if plan.cost else 0.0,
            float(len(plan.feeds)),
        ),
    )


def candidates(verdicts: Sequence[ProtocolVerdict]) -> list[int]:
    """Which plans may be recommended: those with the least faults, the gravest counted first."""
    least = min(verdict.faults for verdict in verdicts)
    return [i for i, verdict in enumerate(verdicts) if verdict.faults == least]


def by_practice(among: Sequence[int], verdicts: Sequence[ProtocolVerdict]) -> int:
    """The one of some plans that trade practice prefers; of equals the first."""
    return min(among, key=lambda i: (verdicts[i].practice, i))


def best(verdicts: Sequence[ProtocolVerdict]) -> int:
    """The plan to recommend where no forecast is at hand."""
    return by_practice(candidates(verdicts), verdicts)


def falls_short(plan: FeedingPlan) -> bool:
    """Whether the must stays short of the nitrogen its yeast wants."""
    return plan.nitrogen.short_mg_l.value > SHORT_MG_L


def ammonium_late(plan: FeedingPlan) -> bool:
    """Whether ammonium goes in last of several feeds, or past a third of the sugar."""
    given = [feed for feed in plan.feeds if feed.items]
    return _past_third(plan) or (len(given) > 1 and given[-1].amino_mg_l.value <= 0)


def _has_amino(setting: Setting) -> bool:
    """Whether the shelf could end on anything but ammonium."""
    return any(jar.per_gram("amino_n") > 0 for jar in setting.jars)


def _past_third(plan: FeedingPlan) -> bool:
    """Whether some ammonium goes in past a third of the sugar."""
    return any(f.ammonium_mg_l.value > 0 and f.sugar_used > THIRD + 1e-3 for f in plan.feeds)


def _in_name_only(plan: FeedingPlan, protocol: Protocol, setting: Setting) -> bool:
    """Whether over half of the nitrogen is of kinds that the protocol's feeds do not call for."""
    called = {rule.name: rule.nutrients for rule in protocol.feeds}
    names = {jar.id: {jar.id, jar.class_id, jar.group} for jar in setting.jars}
    given = other = 0.0
    for feed in plan.feeds:
        kinds = called.get(feed.name, ("any",))
        for item in feed.items:
            given += item.nitrogen_mg_l.value
            if "any" not in kinds and not names.get(item.nutrient, set()) & set(kinds):
                other += item.nitrogen_mg_l.value
    return other > 0.5 * given


def feeds_wanted(setting: Setting) -> int:
    """Feeds usual for the gravity: one for weak musts, two, three above 1.100 (common practice)."""
    gravity = setting.must.gravity.value
    return 1 if gravity < 1.060 else 2 if gravity < STAGED_ABOVE else 3


def _given(plan: FeedingPlan) -> int:
    return sum(bool(feed.items) for feed in plan.feeds)


def _staged(plan: FeedingPlan, setting: Setting) -> bool:
    """Two feeds or more in a strong must, unless there is nothing to feed."""
    strong = setting.must.gravity.value > STAGED_ABOVE
    return not strong or _given(plan) >= 2 or plan.nitrogen.added_mg_l.value <= 0


def _made_for_gravity(protocol: Protocol, setting: Setting) -> bool:
    low, high = protocol.suits_gravity
    return bool(low - 5e-4 <= setting.must.gravity.value <= high + 5e-4)


def _follows(protocol: Protocol) -> bool:
    followed = sum(feed.trigger.kind in BY_FERMENT for feed in protocol.feeds)
    return followed >= len(protocol.feeds) / 2


def _within_a_day(plan: FeedingPlan) -> bool:
    """Whether all of it goes in so early that no ferment outruns it."""
    return all(feed.expected_h.value <= DAY_H for feed in plan.feeds if feed.items)


def _within_words(plan: FeedingPlan, setting: Setting) -> str:
    """What a plan may be praised for by law and label: less where a product is not listed."""
    jars = [jar for jar in setting.shelf.nutrients if jar.id in plan.products]
    typed = any(j.label_max_g_l is not None and j.label_max_g_l.source == TYPED for j in jars)
    advised = setting.labels_advise or setting.follow_author
    by_label = typed and not advised
    words: str = ""
    if setting.profile.limits and by_label:
        words = say(
            "stays within the figures of {profile} and every label you typed",
            profile=setting.profile.name,
        )
    elif setting.profile.limits:
        words = say("stays within the figures of {profile}", profile=setting.profile.name)
    elif by_label:
        words = say("stays within every label you typed")
    standings = [(jar.name, setting.profile.standing_of(jar)) for jar in jars]
    unlisted = [name for name, one in standings if one is not None and not one.listed]
    if not unlisted or not words:
        return words
    return say_n(
        "{words}, but {unlisted} is not listed by it",
        "{words}, but {unlisted} are not listed by it",
        len(unlisted),
        words=words,
        unlisted=join(", ", unlisted),
    )


def _words(plan: FeedingPlan, protocol: Protocol, setting: Setting) -> dict[str, tuple[str, str]]:
    """For each mark what to say for it and against it; nothing where nothing need be said."""
    nitrogen = plan.nitrogen
    low, high = protocol.suits_gravity
    gravity = setting.must.gravity.value
    total, demand = nitrogen.total_mg_l.value, nitrogen.demand_mg_l.value
    given, wanted = _given(plan), feeds_wanted(setting)
    usual = say_n("{count} is usual at this gravity", "{count} are usual at this gravity", wanted)
    if not given:
        own = nitrogen.credit_mg_l.value
        return {
            "covers": (
                say(
                    "the must brings {own:.0f} of the {demand:.0f} mg N/L the yeast "
                    "needs by itself",
                    own=own,
                    demand=demand,
                ),
                say(
                    "leaves the must {short:.0f} mg N/L short of the {demand:.0f} needed",
                    short=demand - total,
                    demand=demand,
                ),
            )
        }
    return {
        "covers": (
            say(
                "brings the must to {total:.0f} of the {demand:.0f} mg N/L the yeast needs",
                total=total,
                demand=demand,
            ),
            say(
                "leaves the must {short:.0f} mg N/L short of the {demand:.0f} needed",
                short=demand - total,
                demand=demand,
            ),
        ),
        "staged": (
            "",
            say(
                "gives everything at once in a must above {gravity}",
                gravity=gravity_text(STAGED_ABOVE),
            ),
        ),
        "gravity": (
            say("made for gravities like {gravity}", gravity=gravity_text(gravity)),
            say(
                "made for gravities {span}, not {gravity}",
                span=gravity_span(low, high),
                gravity=gravity_text(gravity),
            ),
        ),
        "fruit": (
            say("made for musts with fruit") if protocol.suits_fruit else "",
            say("made for musts with fruit or juice")
            if protocol.suits_fruit
            else say("made for musts without fruit"),
        ),
        "ammonium": (
            "",
            say("gives ammonium late, when yeast takes up little of it")
            if _past_third(plan)
            else say("its last feed is ammonium alone, where an organic nutrient is usual"),
        ),
        "label": (
            "",
            say(
                "takes more than {times:g} times what any usual label of its kind allows",
                times=FAR_BEYOND,
            ),
        ),
        "law": (_within_words(plan, setting), ""),
        "author": (
            say("can be given as its author wrote it"),
            join(" ", plan.gave_way).rstrip("."),
        ),
        "early": (
            say("most of it comes while cells still multiply"),
            say(
                "only {percent:.0f} % comes before a third of the sugar is gone",
                percent=100 * nitrogen.early_share.value,
            ),
        ),
        "follows": (
            say("its feeds follow the gravity, so they come in time even in a fast ferment")
            if _follows(protocol)
            else "",
            say("its feeds follow the clock, so in a fast ferment they may come too late"),
        ),
        "feeds": (
            "",
            say_n("{count} feed where {usual}", "{count} feeds where {usual}", given, usual=usual),
        ),
    }
