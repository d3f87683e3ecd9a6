"""Which protocol suits this must best, and why: points for what can be said before fermenting.

The weights are a judgement (assumed), kept in one table so that they can be argued with. They say
nothing about rates; a forecast does that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from mustwright.figure import ASSUMED, Figure
from mustwright.nutrition.feeding_plan import FeedingPlan, Setting
from mustwright.nutrition.protocols import RATE_BASIS, Protocol

WEIGHTS = {
    "covers demand": 40.0,
    "made from the shelf": 30.0,
    "within every limit": 15.0,
    "made for this gravity": 20.0,
    "made for fruit or for none": 8.0,
    "early enough": 10.0,
    "follows the ferment": 6.0,
    "minerals and vitamins": 6.0,
    "number of feeds": 10.0,
}
UNFIT = 0.5  # factor for a protocol far from the gravities it was made for
FRUIT_FORMS = ("fruit", "dried fruit", "juice", "concentrate")
BY_FERMENT = ("onset", "after_onset", "sugar_used", "gravity_drop", "first_of")


@dataclass(frozen=True)
class ProtocolVerdict:
    """How well a protocol suits, 0 to 100, and the reasons in order of weight."""

    points: float
    reasons: tuple[str, ...]
    against: tuple[str, ...]
    marks: Mapping[str, float] = field(default_factory=dict)

    @property
    def figure(self) -> Figure:
        """The points with the marks (0 to 1) and weights they come from."""
        return Figure(
            self.points,
            "of 100",
            "100 x sum of weight x mark / sum of weights, halved at a gravity it was not made for",
            f"{ASSUMED}: the weights are a judgement",
            {
                name: f"mark {mark:.2f}, weight {WEIGHTS[name]:g}"
                for name, mark in self.marks.items()
            },
        )


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
        "covers demand": _covers(plan),
        "made from the shelf": 0.0 if plan.missing else 1.0,
        "within every limit": _as_written(plan),
        "made for this gravity": _gravity(protocol, setting),
        "made for fruit or for none": _fruit(protocol, fruit),
        "early enough": _early(plan),
        "follows the ferment": _follows(protocol),
        "minerals and vitamins": _minerals(plan),
        "number of feeds": _feeds(len(plan.feeds), _feeds_wanted(setting)),
    }
    points = sum(WEIGHTS[name] * mark for name, mark in marks.items()) / sum(WEIGHTS.values())
    if marks["made for this gravity"] <= 0:
        points *= UNFIT
    words = _words(plan, protocol, setting)
    good = tuple(words[n][0] for n in WEIGHTS if marks[n] >= 0.8 and words[n][0])
    bad = tuple(words[n][1] for n in WEIGHTS if marks[n] < 0.5 and words[n][1])
    return ProtocolVerdict(round(100 * points, 1), good, bad, marks)


def best(verdicts: Sequence[ProtocolVerdict]) -> int:
    """Index of the one that suits best; of equals the first."""
    return max(range(len(verdicts)), key=lambda i: (verdicts[i].points, -i))


def _covers(plan: FeedingPlan) -> float:
    demand = plan.nitrogen.demand_mg_l.value
    ratio = plan.nitrogen.total_mg_l.value / demand if demand > 0 else 1.0
    if ratio < 1:
        return max(0.0, 1 - 2 * (1 - ratio))
    needed = plan.nitrogen.added_mg_l.value > 0
    return 1.0 if ratio < 1.2 or not needed else max(0.0, 1 - (ratio - 1.2))


def _as_written(plan: FeedingPlan) -> float:
    """One when the protocol is met in full; less as limits cut more of what it asks for."""
    if not plan.breaches:
        return 1.0
    return max(0.0, 1 - 4 * plan.cut_share)


def _feeds(count: int, wanted: int) -> float:
    """Fewer feeds than the gravity wants weigh more than one too many."""
    if count < wanted:
        return max(0.0, 1 - 0.5 * (wanted - count))
    return 1 / (1 + 0.25 * (count - wanted))


def _gravity(protocol: Protocol, setting: Setting) -> float:
    low, high = protocol.suits_gravity
    gravity = setting.must.gravity.value
    outside = max(low - gravity, gravity - high, 0.0)
    return max(0.0, 1 - outside / 0.02)


def _fruit(protocol: Protocol, fruit: bool) -> float:
    if protocol.suits_fruit is None:
        return 0.6
    return 1.0 if protocol.suits_fruit == fruit else 0.0


def _early(plan: FeedingPlan) -> float:
    if plan.nitrogen.added_mg_l.value <= 0:
        return 1.0
    return min(plan.nitrogen.early_share.value / 0.5, 1.0)


def _follows(protocol: Protocol) -> float:
    followed = sum(feed.trigger.kind in BY_FERMENT for feed in protocol.feeds)
    return followed / len(protocol.feeds)


def _minerals(plan: FeedingPlan) -> float:
    rows = plan.balance[1:]
    filled = [1 - row.short_mg_l.value / row.need_mg_l.value for row in rows]
    return sum(filled) / len(filled) if filled else 1.0


def _within_words(plan: FeedingPlan, setting: Setting) -> str:
    """What a plan within its limits may be praised for: less where a product is not listed."""
    used = set(plan.products)
    unlisted = [
        jar.name
        for jar in setting.shelf.nutrients
        for standing in [setting.profile.standing_of(jar)]
        if jar.id in used and standing is not None and not standing.listed
    ]
    if not unlisted:
        return f"stays within the figures of {setting.profile.name} and of every label"
    return (
        f"stays within the figures of law and label, but {', '.join(unlisted)} "
        f"{'is' if len(unlisted) == 1 else 'are'} not listed by {setting.profile.name}"
    )


def _feeds_wanted(setting: Setting) -> int:
    """Feeds usual for the gravity: one for weak musts, two, three above 1.100 (common practice)."""
    gravity = setting.must.gravity.value
    return 1 if gravity < 1.060 else 2 if gravity < 1.100 else 3


def _words(plan: FeedingPlan, protocol: Protocol, setting: Setting) -> dict[str, tuple[str, str]]:
    nitrogen = plan.nitrogen
    low, high = protocol.suits_gravity
    gravity = setting.must.gravity.value
    total, demand = nitrogen.total_mg_l.value, nitrogen.demand_mg_l.value
    over = "over" if total > demand else "short of"
    stated = "its stated rates do" if protocol.basis == RATE_BASIS else "it can"
    return {
        "covers demand": (
            f"brings the must to {total:.0f} of {demand:.0f} mg N/L wanted",
            f"{abs(total - demand):.0f} mg N/L {over} the {demand:.0f} wanted: {stated} no better",
        ),
        "made from the shelf": ("", "; ".join(plan.missing)),
        "within every limit": (
            _within_words(plan, setting),
            "as written it breaks: " + "; ".join(b.words for b in plan.breaches),
        ),
        "made for this gravity": (
            f"made for gravities like {gravity:.3f}",
            f"made for gravities {low:.3f} to {high:.3f}, not {gravity:.3f}",
        ),
        "made for fruit or for none": (
            "made for musts with fruit" if protocol.suits_fruit else "",
            "made for musts with fruit or juice",
        ),
        "early enough": (
            "most of it comes while cells still multiply",
            f"only {100 * nitrogen.early_share.value:.0f} % comes before a third of the sugar is "
            "gone",
        ),
        "follows the ferment": (
            "its feeds follow the gravity, so a fast ferment does not outrun them",
            "its feeds follow the clock: a fast ferment outruns them",
        ),
        "minerals and vitamins": ("also fills minerals and vitamins", ""),
        "number of feeds": (
            "as many feeds as a must of this gravity wants",
            f"{len(plan.feeds)} feed{'s' if len(plan.feeds) != 1 else ''} where "
            f"{_feeds_wanted(setting)} {'are' if _feeds_wanted(setting) > 1 else 'is'} usual",
        ),
    }
