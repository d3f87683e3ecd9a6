"""What to say beside a feeding plan: what stays short, what is left over, what the scale does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mustwright import data
from mustwright.must.acidity.salts import all_salts
from mustwright.nutrition.balance import BalanceRow
from mustwright.nutrition.dosing_problem import SHORT_MG_L, DosingSolution, Floats
from mustwright.nutrition.feeding_plan import Feed, NitrogenSheet, Setting
from mustwright.nutrition.plan_salt import PlanSalt
from mustwright.nutrition.usual_labels import beyond_labels_remark
from mustwright.texts import join, say


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
        say(
            "The scale's step of {step:g} g is coarse for this must: rounding turns "
            "{exact:.0f} mg N/L into {rounded:.0f}. Weigh on a finer scale, or "
            "dissolve a weighable amount in water and dose by volume.",
            step=step,
            exact=exact,
            rounded=rounded,
        ),
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
    if said := potassium_remark(potassium, None):
        found.append(said)
    if nitrogen.short_mg_l.value > 0.1 * nitrogen.demand_mg_l.value:
        found.append(
            say(
                "Short of demand by {short:.0f} of {demand:.0f} mg N/L.",
                short=nitrogen.short_mg_l.value,
                demand=nitrogen.demand_mg_l.value,
            )
        )
    over = nitrogen.total_mg_l.value - 1.25 * nitrogen.demand_mg_l.value
    if over > 0 and nitrogen.added_mg_l.value > 0:
        weak = setting.must.potential_alcohol_pct.value < 8
        found.append(
            say(
                "This is more than a quarter over the need: in a weak mead the rest feeds spoilage."
            )
            if weak
            else say("This is more than a quarter over the need: some will be left over.")
        )
    found += beyond_labels_remark(setting, feeds)
    found += standing_remarks(setting, feeds)
    if any(feed.items for feed in feeds):
        found.append(data.load("cautions")["powder_in_gassy_must"]["text"])
    return tuple(found)


def potassium_remark(row: BalanceRow, salt: PlanSalt | None) -> str:
    """What to say of potassium; empty where it is not far short.

    Parameters
    ----------
    row : BalanceRow
        Potassium's line of the balance, without the salt.
    salt : PlanSalt or None
        What the plan carries against a falling pH.

    Returns
    -------
    str
    """
    short, need = row.short_mg_l.value, row.need_mg_l.value
    if short <= 0.5 * need:
        return ""
    lacks = say(
        "Potassium is {short:.0f} mg/L short of the {need:.0f} needed.", short=short, need=need
    )
    brings = 0.0 if salt is None else salt.g_per_l.value * all_salts()[salt.salt].potassium_mg_g
    if salt is not None and salt.limit and brings <= 0:
        return join(
            " ",
            (lacks, say("A potassium salt would make it up, but a limit rules it out here.")),
        )
    if salt is None or brings <= 0:
        but = say(
            "A potassium salt would make it up but also raises the pH: a plan gives one only where "
            "the pH would fall too low. 'Acid and buffer' (the command acidity) shows why."
        )
        return join(" ", (lacks, but))
    part = say(
        "The {grams:g} g of {salt} in the plan bring {potassium:.0f} mg/L of it; more would raise "
        "the pH too far.",
        grams=salt.grams.value,
        salt=salt.name.lower(),
        potassium=brings,
    )
    return join(" ", (lacks, part))


def standing_remarks(setting: Setting, feeds: Sequence[Feed]) -> list[str]:
    """What the law's list says of the products a plan uses, where it gives them no figure."""
    used = {item.nutrient for feed in feeds for item in feed.items}
    found: list[str] = []
    for jar in setting.shelf.nutrients:
        waking = jar is setting.shelf.for_rehydration
        if jar.id not in used and not (waking and setting.pitch.rehydration_nutrient_g.value > 0):
            continue
        standing = setting.profile.standing_of(jar)
        if standing is not None:
            found.append(
                say(
                    "{jar} under {profile}: {standing}",
                    jar=jar.name,
                    profile=setting.profile.name,
                    standing=standing.words,
                )
            )
    return found
