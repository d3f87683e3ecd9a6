"""Which class of gas does a plan stay in: never between two classes of the profile."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from mustwright.finishing.law import FinishingLaw
from mustwright.texts import say

INSIDE_BAR = 0.01  # a hundredth of a bar inside a class, so that rounding does not leave it


@dataclass(frozen=True)
class GasClass:
    """A class of the profile by its gauge pressure at 20 °C [bar]."""

    name: str
    low_bar: float
    high_bar: float
    source: str


def gas_classes(law: FinishingLaw) -> tuple[GasClass, ...]:
    """The classes of a profile by pressure, rising; none unless it has all of them."""
    still, sparkling = law.highest("still_overpressure"), law.lowest("sparkling")
    low, high = law.lowest("semi_sparkling_low"), law.highest("semi_sparkling_high")
    if not (still and sparkling and low and high):
        return ()
    return (
        GasClass(say("still", context="gas"), 0.0, (still.high or 0.0) - INSIDE_BAR, still.source),
        GasClass(
            say("semi-sparkling", context="gas"), low.low or 0.0, high.high or 0.0, low.source
        ),
        GasClass(
            say("sparkling", context="gas"), sparkling.low or 0.0, float("inf"), sparkling.source
        ),
    )


def kept_within(law: FinishingLaw, gauge_bar: float, upwards: bool) -> tuple[float, str] | None:
    """Where a pressure between two classes is moved to, with the words for it.

    Parameters
    ----------
    law : FinishingLaw
    gauge_bar : float
        At 20 °C, above the air [bar].
    upwards : bool
        Whether the maker named the livelier class; otherwise the nearest is taken.

    Returns
    -------
    tuple of (float, str) or None
        Gauge pressure inside a class [bar] and what to say; None if it is in one already, or
        the profile has no classes by pressure.
    """
    classes = gas_classes(law)
    for below, above in pairwise(classes):
        end = below.high_bar + (INSIDE_BAR if below.name == "still" else 0.0)
        if not end <= gauge_bar < above.low_bar or (gauge_bar == end and below.name != "still"):
            continue
        is_up = upwards or above.low_bar - gauge_bar < gauge_bar - end
        to, bar = (above, above.low_bar + INSIDE_BAR) if is_up else (below, end - INSIDE_BAR)
        other = below if is_up else above
        return bar, (
            say(
                "{asked:.2f} bar at 20 C lies between {below} and {above} ({law}, {source}), so "
                "the plan is moved to {bar:.2f} bar: {to}, {why}. For {other}, ask for {range}.",
                asked=gauge_bar,
                below=below.name,
                above=above.name,
                law=law.name,
                source=above.source,
                bar=bar,
                to=to.name,
                why=say("as meant") if upwards else say("the nearest"),
                other=other.name,
                range=_range(other),
            )
        )
    return None


def _range(one: GasClass) -> str:
    if one.name == "still":
        return say("less than {bar:g} bar", bar=one.high_bar + INSIDE_BAR)
    if one.high_bar == float("inf"):
        return say("{bar:g} bar or more", bar=one.low_bar)
    return say("{low:g} to {high:g} bar", low=one.low_bar, high=one.high_bar)
