"""The balance sheet: what the yeast needs, what each thing brings, what is still short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from mustwright import data
from mustwright.figure import ARITHMETIC, Figure, total
from mustwright.nutrition.credits import Credit
from mustwright.nutrition.shelf import Nutrient
from mustwright.texts import join, say

SHEET = ("potassium", "magnesium", "zinc", "thiamine", "pantothenate")
KINDS = {"ammonium": say("ammonium"), "amino": say("amino")}


@dataclass(frozen=True)
class BalanceRow:
    """One line of the sheet; all in mg per litre of must.

    Parameters
    ----------
    nutrient : str
    need_mg_l : Figure
        With the range in which published needs lie.
    must_mg_l, rehydration_mg_l, plan_mg_l : Figure
        Brought by the ingredients, by the rehydration nutrient, and by the feeds.
    short_mg_l : Figure
        Still missing against the middle of the need.
    why : str
        What it is for.
    unknown : tuple of str
        Ingredients whose content nobody stated.
    """

    nutrient: str
    need_mg_l: Figure
    must_mg_l: Figure
    rehydration_mg_l: Figure
    plan_mg_l: Figure
    short_mg_l: Figure
    why: str
    unknown: tuple[str, ...] = ()


def need(name: str) -> tuple[Figure, str]:
    """Published need of a mineral or vitamin, and what it is for."""
    for record in data.load("requirements")["requirement"]:
        if record["id"] == name:
            figure = Figure(
                float(record["typical"]),
                "mg/L",
                say("published or usual need"),
                record["source"],
                {},
                float(record["low"]),
                float(record["high"]),
            )
            return figure, record["why"]
    raise KeyError(name)


def short_of(
    wanted: Figure, must: Figure, rehydration: Figure, plan: Figure, unit: str = "mg/L"
) -> Figure:
    """What is still missing against the middle of a need, not below zero.

    Parameters
    ----------
    wanted, must, rehydration, plan : Figure
        The need, and what ingredients, rehydration nutrient and feeds bring, at least 0 [mg/L].
    unit : str
        Of all of them.

    Returns
    -------
    Figure
        At least 0 [mg/L].
    """
    return Figure(
        max(wanted.value - must.value - rehydration.value - plan.value, 0.0),
        unit,
        say("need - must - rehydration - plan, not below zero"),
        ARITHMETIC,
        {"need": wanted, "must": must, "rehydration": rehydration, "plan": plan},
    )


def wants(credit: Credit, rehydration: Mapping[str, Figure]) -> dict[str, float]:
    """Minerals and vitamins still short before feeding [mg/L]."""
    return {
        name: max(need(name)[0].value - credit.traces[name].value - rehydration[name].value, 0.0)
        for name in SHEET
    }


def from_nutrient(nutrient: Nutrient | None, grams: Figure, volume: Figure) -> dict[str, Figure]:
    """What a weighed amount of one jar brings to each litre, by name.

    Parameters
    ----------
    nutrient : Nutrient or None
        None brings nothing.
    grams : Figure
        At least 0 [g].
    volume : Figure
        Of the must, above 0 [L].

    Returns
    -------
    dict of str to Figure
        Nitrogen by kind and the lines of `SHEET` [mg/L]; what nobody stated counts as 0.
    """
    names = ("ammonium_n", "amino_n", *SHEET)
    if nutrient is None:
        return {n: Figure(0.0, "mg/L", say("none used"), ARITHMETIC) for n in names}
    found = {}
    for name in names:
        content = nutrient.figures.get(f"{name}_mg_g")
        factor = grams.value / volume.value
        found[name] = Figure(
            (content.value if content else 0.0) * factor,
            "mg/L",
            say("grams x content / volume"),
            ARITHMETIC,
            {"grams": grams, "content_mg_g": content or say("not stated"), "volume_l": volume},
            None if content is None or content.low is None else content.low * factor,
            None if content is None or content.high is None else content.high * factor,
        )
    return found


def balance_sheet(
    demand: Figure,
    credit: Credit,
    rehydration: Mapping[str, Figure],
    given: Sequence[Mapping[str, Figure]],
    labels: Sequence[str],
) -> tuple[BalanceRow, ...]:
    """Every line of the sheet: nitrogen first, then minerals and vitamins.

    Parameters
    ----------
    demand : Figure
        Nitrogen the must should hold [mg N/L].
    credit : Credit
        What the ingredients bring.
    rehydration : mapping of str to Figure
        What the rehydration nutrient brings, as from `from_nutrient` [mg/L].
    given : sequence of mapping
        For each item fed, what it brings by name, as from `from_nutrient` [mg/L].
    labels : sequence of str
        A name for each of them.

    Returns
    -------
    tuple of BalanceRow

    Raises
    ------
    ValueError
        If there are not as many labels as items.

    Notes
    -----
    Needs and their sources come from the records of requirements.
    """
    nitrogen = _row(
        "nitrogen",
        demand,
        say("Cells and their sugar pumps are built from it."),
        credit.nitrogen_mg_l,
        total({"ammonium": rehydration["ammonium_n"], "amino": rehydration["amino_n"]}, "mg N/L"),
        {
            join(": ", (label, KINDS[kind])): item[f"{kind}_n"]
            for label, item in zip(labels, given, strict=True)
            for kind in KINDS
        },
        "mg N/L",
        (),
    )
    rows = [nitrogen]
    for name in SHEET:
        wanted, why = need(name)
        parts = {label: item[name] for label, item in zip(labels, given, strict=True)}
        rows.append(
            _row(
                name,
                wanted,
                why,
                credit.traces[name],
                rehydration[name],
                parts,
                "mg/L",
                credit.unknown.get(name, ()),
            )
        )
    return tuple(rows)


def _row(
    name: str,
    wanted: Figure,
    why: str,
    must: Figure,
    rehydration: Figure,
    parts: Mapping[str, Figure],
    unit: str,
    unknown: tuple[str, ...],
) -> BalanceRow:
    plan = total(dict(parts), unit)
    short = short_of(wanted, must, rehydration, plan, unit)
    return BalanceRow(name, wanted, must, rehydration, plan, short, why, unknown)
