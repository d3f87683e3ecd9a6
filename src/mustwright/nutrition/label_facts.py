"""What does a jar say: nitrogen as its label prints it, in percent or per g/L, and its stock."""

from __future__ import annotations

from collections.abc import Mapping

from mustwright.errors import InputError
from mustwright.figure import TYPED, Figure
from mustwright.texts import say
from mustwright.units import parse_quantity

MG_G_PER_PCT = 10.0
PRINTED = {"nitrogen_pct": MG_G_PER_PCT, "yan_mg_l_per_g_l": 1.0}
KINDS = ("ammonium_n_mg_g", "amino_n_mg_g")
TEASPOON, TEASPOON_G = ("teaspoon", "grams_per_teaspoon"), (0.1, 20.0)
MOST_MG_G = 470.0  # urea, the richest there could be, holds 467


def printed_nitrogen(
    printed: Mapping[str, float],
    typed: Mapping[str, Figure],
    usual: Mapping[str, Figure],
    where: str,
) -> dict[str, Figure]:
    """Nitrogen of both kinds from a label that prints it in one figure.

    Parameters
    ----------
    printed : mapping of str to float
        ``nitrogen_pct`` [% by mass] or ``yan_mg_l_per_g_l`` [mg N/L that 1 g/L brings], above 0.
    typed : mapping of str to Figure
        Kinds that the label tells apart [mg N/g].
    usual : mapping of str to Figure
        Those of the generic kind: they share out what the label does not tell apart [mg N/g].
    where : str
        The jar, for errors.

    Returns
    -------
    dict of str to Figure
        The kinds that were not typed [mg N/g]; empty where nothing is printed.

    Raises
    ------
    InputError
    """
    if not printed:
        return {}
    name, value = next(iter(printed.items()))
    here = f"{where}.{name}"
    if len(printed) > 1:
        raise InputError(here, say("needs one figure: percent, or what 1 g/L brings"), value)
    whole = value * PRINTED[name]
    if not 0 < whole <= MOST_MG_G:
        raise InputError(here, say("needs at most {most:g}", most=MOST_MG_G / PRINTED[name]), value)
    known = {kind: typed[kind].value for kind in KINDS if kind in typed}
    if len(known) == len(KINDS):
        raise InputError(here, say("is given already by both kinds of nitrogen"), value)
    left = whole - sum(known.values())
    if left < 0:
        raise InputError(
            here, say("needs at least the nitrogen of the kind given separately"), value
        )
    if known:
        (other,) = (kind for kind in KINDS if kind not in known)
        return {
            other: _figure(
                left, say("what the label prints less the kind given separately"), name, value
            )
        }
    parts = {kind: usual[kind].value if kind in usual else 0.0 for kind in KINDS}
    if sum(parts.values()) <= 0:
        needs = say("needs the generic kind, or ammonium and amino nitrogen given separately")
        raise InputError(here, needs, value)
    return {
        kind: _figure(
            whole * part / sum(parts.values()),
            say("what the label prints, shared out as in the generic kind"),
            name,
            value,
        )
        for kind, part in parts.items()
        if part > 0
    }


def _figure(mg_g: float, how: str, name: str, value: float) -> Figure:
    return Figure(mg_g, "mg/g", how, TYPED, {name: value})


def teaspoon_g(facts: Mapping[str, object], where: str) -> float | None:
    """Grams of a level teaspoon: ``teaspoon = "3.2 g"`` or ``3.2``; None where nobody weighed it.

    The older name ``grams_per_teaspoon`` says the same.

    Raises
    ------
    InputError
    """
    named = [name for name in TEASPOON if name in facts]
    if not named:
        return None
    here, value = f"{where}.{named[0]}", facts[named[0]]
    if len(named) > 1:
        raise InputError(here, say("is given already by {fact}", fact=named[1]), value)
    quantity = parse_quantity(value, here)
    grams = quantity.value * (1000 if quantity.dimension == "mass" else 1)
    low, high = TEASPOON_G
    if quantity.dimension not in ("mass", "number") or not low <= grams <= high:
        raise InputError(
            here, say("needs {low:g} to {high:g} g, such as '3.2 g'", low=low, high=high), value
        )
    return grams


def stock_g(value: object, where: str) -> float | None:
    """Grams in the jar; None where it is plenty, or not counted.

    Raises
    ------
    InputError
    """
    if value is True or (isinstance(value, str) and value.strip().lower() in ("plenty", "any")):
        return None
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        value = f"{value} g"
    quantity = parse_quantity(value, where)
    if quantity.dimension != "mass" or quantity.value < 0:
        raise InputError(
            where, say("needs a stock such as '250 g', true, or a table of label facts"), value
        )
    return quantity.value * 1000
