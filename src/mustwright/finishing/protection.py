"""What keeps yeast from eating the sweetness: what protects a mead, and what counts as proof."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.errors import ImpossibleError, InputError

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
        known = f"needs one of {', '.join(STABILISED_BY)}"
        raise InputError("stabilised", known, protection.by)
    if protection.by == "no":
        raise ImpossibleError(
            "stabilised",
            "needs sulfite and sorbate, pasteurising or sterile filtering first, or alcohol that "
            "the yeast has been shown not to pass: it would eat the sweetness and burst bottles",
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
        got = "none typed" if high is None else f"{high:g} % vol"
        raise ImpossibleError(
            "tolerance",
            f"needs the highest alcohol this yeast reaches, and not above the {alcohol_pct:g} % "
            "vol of the mead",
            got,
        )
    if days is None or days < PROVEN_DAYS:
        shown = f"needs at least {PROVEN_DAYS:g} days of standing still as proof"
        raise ImpossibleError("days_still", shown, days)
    if left is None or left < PROVEN_SUGAR_G_L:
        shown = (
            f"needs at least {PROVEN_SUGAR_G_L:g} g/L of fermentable sugar left uneaten as proof: "
            "a yeast that ran out of sugar has not shown its limit"
        )
        raise ImpossibleError("residual_sugar", shown, left)
