"""Which plans may be recommended at all, and which of equals trade practice prefers.

What a plan will do is for a forecast to say. Before that, and whatever it says, a plan that falls
short, or was not made for this must, is not recommended while another one is neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mustwright.figure import TYPED
from mustwright.nutrition.bounds import BROKEN, amount_g_l
from mustwright.nutrition.ceilings import ceilings
from mustwright.nutrition.feeding_plan import FeedingPlan, Setting
from mustwright.nutrition.protocols import Protocol
from mustwright.nutrition.triggers import THIRD

FRUIT_FORMS = ("fruit", "dried fruit", "juice", "concentrate")
BY_FERMENT = ("onset", "after_onset", "sugar_used", "gravity_drop", "first_of")
SHORT_MG_L = 5.0  # of the demand: less is within what a scale and a label leave open [mg N/L]
STAGED_ABOVE = 1.100  # gravity above which feeds come in two or more parts (common practice)
FAR_BEYOND = 2.0  # times the most that usual labels of a kind allow (a judgement, assumed)


@dataclass(frozen=True)
class ProtocolVerdict:
    """What speaks for a protocol's plan and what against it.

    Parameters
    ----------
    reasons, against : tuple of str
        In order of weight.
    faults : tuple of bool
        Falls short; all at once in a strong must; not made for this must; ammonium last or late;
        far more of a kind than its usual labels allow.
        A plan with an earlier fault is not recommended while one without it exists.
    practice : tuple of float
        What trade practice prefers among plans that do the same, the least first: as many feeds as
        the gravity wants, then few feeds, as its author wrote it, low cost.
    """

    reasons: tuple[str, ...]
    against: tuple[str, ...]
    faults: tuple[bool, ...]
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
    marks = {
        "covers": not falls_short(plan),
        "staged": _staged(plan, setting),
        "gravity": _made_for_gravity(protocol, setting),
        "fruit": protocol.suits_fruit in (None, fruit),
        "ammonium": not ammonium_late(plan),
        "label": not far_beyond_labels(plan, setting),
        "author": not plan.gave_way,
        "law": True,
        "early": plan.nitrogen.added_mg_l.value <= 0 or plan.nitrogen.early_share.value >= 0.5,
        "follows": _follows(protocol),
        "feeds": _given(plan) >= feeds_wanted(setting) or not _given(plan),
    }
    words = _words(plan, protocol, setting)
    return ProtocolVerdict(
        tuple(words[name][0] for name in words if marks[name] and words[name][0]),
        tuple(words[name][1] for name in words if not marks[name] and words[name][1]),
        (
            not marks["covers"],
            not marks["staged"],
            not (marks["gravity"] and marks["fruit"]),
            not marks["ammonium"],
            not marks["label"],
        ),
        (
            float(not marks["feeds"]),
            float(_given(plan)),
            float(len(plan.gave_way)),
            plan.cost.value if plan.cost else 0.0,
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
    late = any(f.ammonium_mg_l.value > 0 and f.sugar_used > THIRD + 1e-3 for f in given)
    return late or (len(given) > 1 and given[-1].amino_mg_l.value <= 0)


def far_beyond_labels(plan: FeedingPlan, setting: Setting) -> bool:
    """Whether it takes over twice what any usual label of a kind allows, where none was typed."""
    litres = setting.must.volume_l.value
    given: dict[str, float] = {}
    for item in (item for feed in plan.feeds for item in feed.items):
        given[item.nutrient] = given.get(item.nutrient, 0.0) + item.grams.value
    amounts = np.array([[given.get(jar.id, 0.0) / litres for jar in setting.jars]])
    return any(
        amount_g_l(one, amounts) > FAR_BEYOND * (one.high or one.most) * BROKEN
        for one in ceilings(setting)
        if one.advises and one.most > 0 and one.key.startswith("label:")
    )


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


def _within_words(plan: FeedingPlan, setting: Setting) -> str:
    """What a plan may be praised for by law and label: less where a product is not listed."""
    jars = [jar for jar in setting.shelf.nutrients if jar.id in plan.products]
    typed = any(j.label_max_g_l is not None and j.label_max_g_l.source == TYPED for j in jars)
    advised = setting.labels_advise or setting.follow_author
    held = [f"the figures of {setting.profile.name}"] if setting.profile.limits else []
    held += ["every label you typed"] if typed and not advised else []
    words = f"stays within {' and '.join(held)}" if held else ""
    standings = [(jar.name, setting.profile.standing_of(jar)) for jar in jars]
    unlisted = [name for name, one in standings if one is not None and not one.listed]
    if not unlisted or not words:
        return words
    are = "is" if len(unlisted) == 1 else "are"
    return f"{words}, but {', '.join(unlisted)} {are} not listed by it"


def _words(plan: FeedingPlan, protocol: Protocol, setting: Setting) -> dict[str, tuple[str, str]]:
    """For each mark what to say for it and against it; nothing where nothing need be said."""
    nitrogen = plan.nitrogen
    low, high = protocol.suits_gravity
    gravity = setting.must.gravity.value
    total, demand = nitrogen.total_mg_l.value, nitrogen.demand_mg_l.value
    given, wanted = _given(plan), feeds_wanted(setting)
    usual = f"{wanted} {'are' if wanted > 1 else 'is'} usual at this gravity"
    return {
        "covers": (
            f"brings the must to {total:.0f} of the {demand:.0f} mg N/L the yeast needs",
            f"leaves the must {demand - total:.0f} mg N/L short of the {demand:.0f} needed",
        ),
        "staged": ("", f"gives everything at once in a must above {STAGED_ABOVE:.3f}"),
        "gravity": (
            f"made for gravities like {gravity:.3f}",
            f"made for gravities {low:.3f} to {high:.3f}, not {gravity:.3f}",
        ),
        "fruit": (
            "made for musts with fruit" if protocol.suits_fruit else "",
            "made for musts with fruit or juice"
            if protocol.suits_fruit
            else "made for musts without fruit",
        ),
        "ammonium": ("", "gives ammonium late, when yeast no longer takes it up"),
        "label": (
            "",
            f"takes more than {FAR_BEYOND:g} times what any usual label of its kind allows",
        ),
        "law": (_within_words(plan, setting), ""),
        "author": ("can be given as its author wrote it", " ".join(plan.gave_way).rstrip(".")),
        "early": (
            "most of it comes while cells still multiply",
            f"only {100 * nitrogen.early_share.value:.0f} % comes before a third of the sugar is "
            "gone",
        ),
        "follows": (
            "its feeds follow the gravity, so they come in time even in a fast ferment",
            "its feeds follow the clock, so in a fast ferment they come too late",
        ),
        "feeds": ("", f"{given} feed{'s' if given != 1 else ''} where {usual}"),
    }
