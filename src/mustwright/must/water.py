"""How much acid does a water take up: its alkalinity, from what a supplier prints."""

from __future__ import annotations

from collections.abc import MutableMapping

from mustwright import data
from mustwright.figure import TYPED, Figure
from mustwright.texts import say

CACO3_MG_MEQ = 50.04  # half of 100.087 g/mol
DEGREE_MG_CAO, CAO_MG_MEQ = 10.0, 28.04  # a German degree is 10 mg/L of CaO, 56.077 g/mol


def alkalinity_from(facts: MutableMapping[str, float]) -> tuple[Figure | None, str]:
    """Take the alkalinity or the hardness of a water out of its typed facts.

    Parameters
    ----------
    facts : mutable mapping of str to float
        ``alkalinity_mg_l``, 0 to 1000 [mg/L as CaCO3], or ``hardness_dh``, 0 to 60 [German
        degrees]; what is used is taken out. Where both stand there the alkalinity counts.

    Returns
    -------
    tuple of (Figure or None, str)
        Alkalinity [meq/kg] with its 90 % range, and what was taken for granted.

    Examples
    --------
    >>> round(alkalinity_from({"alkalinity_mg_l": 125})[0].value, 2)
    2.5
    >>> round(alkalinity_from({"hardness_dh": 7})[0].value, 2)
    2.0
    """
    alkalinity, hardness = facts.pop("alkalinity_mg_l", None), facts.pop("hardness_dh", None)
    if alkalinity is not None:
        meq = alkalinity / CACO3_MG_MEQ
        return Figure(meq, "meq/kg", say("alkalinity as CaCO3 / 50.04 mg per meq"), TYPED), ""
    if hardness is None:
        return None, ""
    share, whole = data.load("acids")["hardness"], hardness * DEGREE_MG_CAO / CAO_MG_MEQ
    figure = Figure(
        whole * share["typical"],
        "meq/kg",
        say(
            "hardness x 10 / 28.04 x {share:g}, the usual share that is carbonate",
            share=share["typical"],
        ),
        str(share["source"]),
        {"hardness_meq_l": whole},
        whole * share["low"],
        whole * share["high"],
    )
    return figure, say(
        "{percent:.0f} % of its hardness was taken for alkalinity", percent=100 * share["typical"]
    )
