"""What keeps yeast from eating the sweetness: what protects a mead, and what counts as proof."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.errors import ImpossibleError, InputError
from mustwright.texts import say

STABILISED_BY = ("sulfite+sorbate", "pasteurised", "sterile-filtered", "alcohol", "no")

PROVEN_DAYS = 28.0

PROVEN_SUGAR_G_L = 5.0


@dataclass(frozen=True)
class Protection:
    """Why yeast will not eat the sweetness.

    Parameters
    ----------
    by : str or None
        One of `STABILISED_BY`; None when nothing was said, which gives amounts but no go-ahead.
    tolerance_high_pct : float or None
        The most alcohol the yeast is known to reach [% vol]; for ``alcohol``.
    days_still : float or None
        Days the gravity has stood with sugar left; for ``alcohol``.
    sugar_left_g_l : float or None
        Fermentable sugar it has left uneaten [g/L]; for ``alcohol``.
    """

    by: str | None = None
    tolerance_high_pct: float | None = None
    days_still: float | None = None
    sugar_left_g_l: float | None = None


def is_protected(protection: Protection, alcohol_pct: float) -> bool:
    """Whether the mead may be sweetened now; raises if what was typed does not prove it.

    Raises
    ------
    InputError, ImpossibleError
    """
    if protection.by is None:
        return False
    if protection.by not in STABILISED_BY:
        known = say("needs one of {known}", known=", ".join(STABILISED_BY))
        raise InputError("stabilised", known, protection.by)
    if protection.by == "no":
        raise ImpossibleError(
            "stabilised",
            say(
                "needs sulfite and sorbate, pasteurising or sterile filtering first, or alcohol "
                "that the yeast has been shown not to pass: it would eat the sweetness and burst "
                "bottles"
            ),
            "no",
        )
    if protection.by == "alcohol":
        _prove(protection, alcohol_pct)
    return True


def _prove(protection: Protection, alcohol_pct: float) -> None:
    """Alcohol alone protects if the yeast stopped at its limit with sugar still there."""
    high, days, left = (
        protection.tolerance_high_pct,
        protection.days_still,
        protection.sugar_left_g_l,
    )
    if high is None or alcohol_pct < high:
        got = say("none typed") if high is None else say("{high:g} % vol", high=high)
        raise ImpossibleError(
            "tolerance",
            say(
                "needs the highest alcohol this yeast reaches, and not above the {alcohol:g} % "
                "vol of the mead",
                alcohol=alcohol_pct,
            ),
            got,
        )
    if days is None or days < PROVEN_DAYS:
        shown = say(
            "needs at least {days:g} days of standing still as proof",
            days=PROVEN_DAYS,
        )
        raise ImpossibleError("days_still", shown, days)
    if left is None or left < PROVEN_SUGAR_G_L:
        shown = say(
            "needs at least {sugar:g} g/L of fermentable sugar left uneaten as proof: a yeast "
            "that ran out of sugar has not shown its limit",
            sugar=PROVEN_SUGAR_G_L,
        )
        raise ImpossibleError("residual_sugar", shown, left)
