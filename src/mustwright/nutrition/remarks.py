"""What to say beside a feeding plan: what stays short, what is left over, what the scale does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mustwright import data
from mustwright.nutrition.balance import BalanceRow
from mustwright.nutrition.dosing_problem import SHORT_MG_L, DosingSolution, Floats
from mustwright.nutrition.feeding_plan import Feed, NitrogenSheet, Setting


def scale_remark(setting: Setting, solution: DosingSolution, grams: Floats) -> tuple[str, ...]:
    """A remark for when the steps of the scale, not the shelf, change what is given.

    Parameters
    ----------
    setting : Setting
    solution : DosingSolution
        What the programme would give, unrounded.
    grams : ndarray
        What the scale can show, feeds by jars, at least 0 [g].

    Returns
    -------
    tuple of str
        One remark; none where rounding moves nitrogen by no more than 5 % or 0.5 mg N/L.
    """
    content = np.array([jar.nitrogen_mg_g for jar in setting.jars])
    exact = float((solution.grams_l @ content).sum())
    rounded = float((grams @ content).sum()) / setting.must.volume_l.value
    if abs(rounded - exact) <= max(0.05 * exact, SHORT_MG_L):
        return ()
    step = setting.shelf.scale_g
    return (
        f"The scale's step of {step:g} g is coarse for this must: rounding turns {exact:.0f} "
        f"mg N/L into {rounded:.0f}. Weigh on a finer scale, or dissolve a weighable amount "
        "in water and dose by volume.",
    )


def remarks(
    setting: Setting,
    feeds: Sequence[Feed],
    nitrogen: NitrogenSheet,
    balance: Sequence[BalanceRow],
) -> tuple[str, ...]:
    """What the maker should mind: shortfalls, leftovers, and powder in a gassy must.

    Parameters
    ----------
    setting : Setting
    feeds : sequence of Feed
    nitrogen : NitrogenSheet
    balance : sequence of BalanceRow
        With a line for potassium.

    Returns
    -------
    tuple of str

    Notes
    -----
    The thresholds are a judgement, no source.
    """
    found = []
    potassium = next(row for row in balance if row.nutrient == "potassium")
    if potassium.short_mg_l.value > 0.5 * potassium.need_mg_l.value:
        found.append(
            f"Potassium is {potassium.short_mg_l.value:.0f} mg/L short of the "
            f"{potassium.need_mg_l.value:.0f} needed. A potassium salt would make it up but also "
            "raises the pH, so the plan adds none. 'Acid and buffer' (the command acidity) says "
            "how much of it goes in with which feed."
        )
    if nitrogen.short_mg_l.value > 0.1 * nitrogen.demand_mg_l.value:
        found.append(
            f"Short of demand by {nitrogen.short_mg_l.value:.0f} of "
            f"{nitrogen.demand_mg_l.value:.0f} mg N/L."
        )
    over = nitrogen.total_mg_l.value - 1.25 * nitrogen.demand_mg_l.value
    if over > 0 and nitrogen.added_mg_l.value > 0:
        weak = setting.must.potential_alcohol_pct.value < 8
        end = "in a weak mead the rest feeds spoilage" if weak else "some will be left over"
        found.append(f"This is more than a quarter over the need: {end}.")
    found += standing_remarks(setting, feeds)
    if any(feed.items for feed in feeds):
        found.append(str(data.load("cautions")["powder_in_gassy_must"]["text"]))
    return tuple(found)


def standing_remarks(setting: Setting, feeds: Sequence[Feed]) -> list[str]:
    """What the law's list says of the products a plan uses, where it gives them no figure."""
    used = {item.nutrient for feed in feeds for item in feed.items}
    found = []
    for jar in setting.shelf.nutrients:
        waking = jar is setting.shelf.for_rehydration
        if jar.id not in used and not (waking and setting.pitch.rehydration_nutrient_g.value > 0):
            continue
        standing = setting.profile.standing_of(jar)
        if standing is not None:
            found.append(f"{jar.name} under {setting.profile.name}: {standing.words}")
    return found
