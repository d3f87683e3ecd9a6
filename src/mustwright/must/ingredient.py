"""What is in it: one ingredient's composition, generic or as the maker's own lot says."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from mustwright import data
from mustwright.constants import Z90
from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import ARITHMETIC, TYPED, Figure
from mustwright.must.density import sucrose_solution_density_kg_m3
from mustwright.must.refraction import (
    honey_density_kg_l_from_moisture,
    honey_moisture_pct_from_refractive_index,
)
from mustwright.must.water import alkalinity_from
from mustwright.texts import join, say, unchanged

SUGARS = ("glucose", "fructose", "sucrose", "maltose", "higher_sugars")
DISSOLVED = (*SUGARS, "sorbitol", "dissolved_other")
TRACE = (
    "ammonium_n",
    "amino_n",
    "potassium",
    "sodium",
    "calcium",
    "magnesium",
    "phosphorus",
    "zinc",
    *("thiamine", "pantothenate", "biotin"),
)
SOLID_FORMS = ("honey", "syrup", "concentrate", "sugar", "grain", "dried fruit")
LOT_FACTS: dict[str, tuple[float, float, str]] = {
    "moisture_pct": (5, 40, say("water of this honey or syrup, in percent by mass")),
    "refractive_index": (1.474, 1.5044, say("refractive index of this honey at 20 C")),
    "brix": (0, 85, say("Brix of this juice, or of the juice of this fruit")),
    "density_kg_l": (0.9, 1.6, say("density of this lot")),
    "yan_mg_l": (0, 2000, say("measured assimilable nitrogen of this juice")),
    "yan_mg_kg": (0, 20000, say("measured assimilable nitrogen of this lot")),
    "ammonium_n_mg_kg": (0, 20000, say("measured ammonium nitrogen of this lot")),
    "amino_n_mg_kg": (0, 20000, say("measured amino nitrogen (without proline) of this lot")),
    "potassium_mg_kg": (0, 60000, say("measured potassium of this lot")),
    "magnesium_mg_kg": (0, 20000, say("measured magnesium of this lot")),
    "zinc_mg_kg": (0, 1000, say("measured zinc of this lot")),
    "ph": (2, 9, say("measured pH of this lot")),
    "titratable_acid_meq_kg": (0, 2000, say("measured titratable acid of this lot")),
    "alkalinity_meq_kg": (0, 20, say("alkalinity of this water; 50 mg/L as CaCO3 is 1")),
    "alkalinity_mg_l": (0, 1000, say("alkalinity of this water, in mg/L as CaCO3")),
    "hardness_dh": (0, 60, say("total hardness of this water, in German degrees")),
    "fermentable_pct_of_sugars": (0, 100, say("share of the sugars that this yeast ferments")),
    "refuse_pct": (0, 95, say("stones, skins and stems of this lot")),
}


@dataclass(frozen=True)
class Ingredient:
    """One ingredient per kg as bought.

    Parameters
    ----------
    id, name, form : str
        Record id, plain name, and one of honey, fruit, dried fruit, juice, concentrate, syrup,
        sugar, grain, water.
    figures : mapping of str to Figure
        ``*_pct`` [% by mass of the edible part], ``*_mg_kg`` [mg per kg edible], ``ph`` [-],
        ``density_kg_l`` [kg/L], ``juice_yield_l_kg`` [L/kg].
    main_acid : str
        Acid the titratable acidity is mostly made of.
    """

    id: str
    name: str
    form: str
    figures: Mapping[str, Figure]
    main_acid: str = ""
    note: str = ""

    @property
    def share_edible(self) -> float:
        """Mass that is not stones, skins or stems, per kg as bought [kg/kg]."""
        return 1 - self._value("refuse_pct") / 100

    def share(self, part: str) -> float:
        """Mass fraction of a part (water, glucose, ..., insoluble) per kg as bought [kg/kg]."""
        edible = self.share_edible
        if part == "insoluble":
            return edible * self._value("insoluble_pct") / 100 + 1 - edible
        return edible * self._value(f"{part}_pct") / 100

    @property
    def dissolved(self) -> float:
        """Mass fraction of everything that dissolves [kg/kg as bought]."""
        return sum(self.share(part) for part in DISSOLVED)

    @property
    def water(self) -> float:
        """Mass fraction of water [kg/kg as bought]."""
        return self.share("water")

    @property
    def density_kg_l(self) -> float:
        """Density as measured out [kg/L]; whole fruit counts as its juice."""
        if "density_kg_l" in self.figures:
            return self._value("density_kg_l")
        if self.form in ("honey", "syrup", "concentrate") and self._value("water_pct") < 30:
            moisture = min(max(self._value("water_pct"), 13.0), 21.0)
            return honey_density_kg_l_from_moisture(moisture)[0]
        if self.form == "sugar" and self.water < 0.2:
            return 0.85  # bulk density of granulated sugar, from memory
        return float(sucrose_solution_density_kg_m3(_dissolved_share(self))) / 1000

    def _value(self, name: str) -> float:
        figure = self.figures.get(name)
        return figure.value if figure else 0.0


def figure_from_record(entry: Mapping[str, Any], name: str, unit: str) -> Figure:
    """Turn a published value of a data record into a figure; its ends are its 90 % range.

    Parameters
    ----------
    entry : mapping
        With ``typical`` and ``source``; ``low`` and ``high`` if there is a range, or a standard
        deviation ``sd`` with the ``lowest`` and ``highest`` of many samples where those are known.
    name : str
    unit : str
        Printed unit of the value; empty for ratios.

    Returns
    -------
    Figure
        In the unit given [any unit], with the record's own source.

    Raises
    ------
    KeyError
        If the record has no ``typical`` or no ``source``.
    """
    formula = (
        say("published value") if entry.get("source", "")[:1].isupper() else say("assumed value")
    )
    low, high = _maybe(entry.get("low")), _maybe(entry.get("high"))
    value = float(entry["typical"])
    if "sd" in entry:
        half = Z90 * float(entry["sd"])
        low = max(value - half, float(entry.get("lowest", 0.0)))
        high = min(value + half, float(entry.get("highest", value + half)))
        formula = say(
            "{origin}, standard deviation {deviation:g}", origin=formula, deviation=entry["sd"]
        )
    return Figure(
        value,
        unit,
        say("{name}: {origin}", name=name.replace("_", " "), origin=formula),
        str(entry["source"]),
        {},
        low,
        high,
    )


def unit_of(name: str) -> str:
    """The printed unit of a figure from the suffix of its name."""
    for suffix, unit in _UNIT_SUFFIXES:
        if name.endswith(suffix):
            return unit
    return ""


_UNIT_SUFFIXES = (
    ("_l_kg", "L/kg"),
    ("_kg_l", "kg/L"),
    ("_mg_kg", "mg/kg"),
    ("_meq_kg", "meq/kg"),
    ("_mg_g", "mg/g"),
    ("_mg_l", "mg/L"),
    ("_g_l", "g/L"),
    ("_pct_of_sugars", "%"),
    ("_pct", "%"),
)


@cache
def all_ingredients() -> dict[str, Ingredient]:
    """Every ingredient record, by id."""
    found: dict[str, Ingredient] = {}
    for content in data.folder("ingredients").values():
        for record in content["record"]:
            figures = {
                k: figure_from_record(v, k, unit_of(k)) for k, v in record["figures"].items()
            }
            found[record["id"]] = Ingredient(
                record["id"],
                record["name"],
                record["form"],
                figures,
                record.get("main_acid", ""),
                record.get("note", ""),
            )
    return found


@cache
def _ids_by_name() -> dict[str, str]:
    names: dict[str, str] = {}
    for content in data.folder("ingredients").values():
        for record in content["record"]:
            for name in (record["id"], record["name"], *record.get("aliases", ())):
                names[_plain(name)] = record["id"]
    return names


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("_", " ").replace("-", " ").replace(",", " ").split())


def ingredient_called(kind: object, field: str) -> tuple[Ingredient, str]:
    """The record of a kind as people name it, and what was assumed (else empty).

    Raises
    ------
    UnknownKindError
        With the nearest names that are known.
    """
    if not isinstance(kind, str) or not kind.strip() or len(kind) > 80:
        raise InputError(field, say("needs the name of an ingredient such as 'clover honey'"), kind)
    names, plain = _ids_by_name(), _plain(kind)
    records = all_ingredients()
    if plain in names:
        return records[names[plain]], ""
    if plain.endswith("honey") or plain.startswith("honey"):
        words = say("no record of '{kind}', generic honey used", kind=kind)
        return records["honey_generic"], join(": ", (field, words))
    close = difflib.get_close_matches(plain, names, n=4, cutoff=0.6)
    containing = [n for n in names if plain in n or any(w == plain for w in n.split())]
    near = sorted(set(close) | set(containing[:4]))
    if near:
        needs = say("needs a known ingredient; near it: {near}", near=", ".join(near))
    else:
        needs = say("needs a known ingredient")
    raise UnknownKindError(field, needs, kind)


def kind_words(kind: str) -> str:
    """A kind as it was typed; another language says the name of its record.

    Parameters
    ----------
    kind : str
        As in the sheet; one without a record of its own stays as it is.

    Examples
    --------
    >>> kind_words("wildflower")
    'wildflower'
    """
    of = _ids_by_name().get(_plain(kind))
    return unchanged(kind, all_ingredients()[of].name) if of else kind


def with_lot_facts(
    generic: Ingredient, facts: Mapping[str, object], field: str
) -> tuple[Ingredient, list[str]]:
    """The ingredient as this lot is: the maker's own facts replace the record's.

    Parameters
    ----------
    generic : Ingredient
    facts : mapping of str to object
        Names, ranges and meanings as in `LOT_FACTS`; numbers, or text that reads as one.
    field : str
        Where the facts stand in the sheet, for errors.

    Returns
    -------
    ingredient : Ingredient
    assumed : list of str
        How facts were turned into composition, where there was a choice.

    Raises
    ------
    InputError
        If a fact is unknown, out of its range, or does not go with this kind of ingredient.

    Notes
    -----
    Moisture from a refractive index: Wedmore1955. A changed water or Brix scales the record's
    other parts in proportion (arithmetic).
    """
    numbers = {name: _fact(name, value, f"{field}.{name}") for name, value in facts.items()}
    lot = generic
    assumed: list[str] = []
    for name in ("moisture_pct", "refractive_index"):
        if name in numbers and lot.form not in SOLID_FORMS:
            asked = say(
                "goes only with honey, syrup, sugar or dried fruit, not with {ingredient}",
                ingredient=lot.name,
            )
            raise InputError(f"{field}.{name}", asked, facts[name])
    if "refractive_index" in numbers:
        numbers.setdefault(
            "moisture_pct",
            float(honey_moisture_pct_from_refractive_index(numbers.pop("refractive_index"))),
        )
    alkalinity, note = alkalinity_from(numbers)
    if alkalinity is not None and lot.form != "water":
        raise InputError(
            field,
            say(
                "has an alkalinity or hardness only as water, not as {ingredient}",
                ingredient=lot.name,
            ),
            None,
        )
    if alkalinity is not None:
        lot = replace(lot, figures={**lot.figures, "alkalinity_meq_kg": alkalinity})
        assumed += [join(": ", (field, note))] if note else []
    if "moisture_pct" in numbers:
        lot = _with_water(lot, numbers.pop("moisture_pct"))
    if "brix" in numbers:
        lot = _with_brix(lot, numbers.pop("brix"), f"{field}.brix")
    yan, note = _yan_mg_kg(lot, numbers)
    if yan is not None:
        lot = _with_yan(lot, yan)
        assumed.append(join(": ", (field, note)))
    direct = {k: Figure(v, unit_of(k), say("as typed"), TYPED) for k, v in numbers.items()}
    return replace(lot, figures={**lot.figures, **direct}), assumed


def _fact(name: str, value: object, field: str) -> float:
    if name not in LOT_FACTS:
        raise InputError(
            field, say("is no lot fact; known: {known}", known=", ".join(LOT_FACTS)), value
        )
    low, high, meaning = LOT_FACTS[name]
    requirement = say(
        "needs a number from {low:g} to {high:g} ({meaning})", low=low, high=high, meaning=meaning
    )
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise InputError(field, requirement, value)
    try:
        number = float(str(value).replace(",", ".").rstrip("% "))
    except ValueError:
        raise InputError(field, requirement, value) from None
    if not low <= number <= high:
        raise InputError(field, requirement, value)
    return number


def _with_water(lot: Ingredient, water_pct: float) -> Ingredient:
    """Change the water of a honey or syrup; everything else shrinks or grows in proportion."""
    old = lot.figures["water_pct"].value
    factor = (100 - water_pct) / (100 - old)
    changed: dict[str, Figure] = {"water_pct": Figure(water_pct, "%", say("as typed"), TYPED)}
    for part in (*DISSOLVED, "insoluble"):
        figure = lot.figures.get(f"{part}_pct")
        if figure:
            changed[f"{part}_pct"] = _scaled(figure, factor, "(100 - moisture)/(100 - record)")
    for trace in TRACE:
        figure = lot.figures.get(f"{trace}_mg_kg")
        if figure:
            changed[f"{trace}_mg_kg"] = _scaled(figure, factor, "(100 - moisture)/(100 - record)")
    return replace(lot, figures={**lot.figures, **changed})


def _with_brix(lot: Ingredient, brix: float, field: str) -> Ingredient:
    """Change the sugars of a juice or fruit so that its liquid reads this Brix."""
    value = {p: lot.figures[f"{p}_pct"].value for p in DISSOLVED if f"{p}_pct" in lot.figures}
    insoluble = lot.figures["insoluble_pct"].value if "insoluble_pct" in lot.figures else 0.0
    liquid = 100 - insoluble
    kept = value.get("dissolved_other", 0.0)
    sugars = sum(value.values()) - kept
    wanted = brix / 100 * liquid - kept
    if sugars <= 0:
        raise InputError(
            field,
            say("goes only with something sweet, not with {ingredient}", ingredient=lot.name),
            brix,
        )
    if wanted < 0:
        raise InputError(
            field, say("is below what {ingredient} holds besides sugar", ingredient=lot.name), brix
        )
    factor = wanted / sugars
    changed = {
        f"{p}_pct": _scaled(lot.figures[f"{p}_pct"], factor, say("measured Brix over the record's"))
        for p in value
        if p != "dissolved_other"
    }
    water = Figure(liquid * (1 - brix / 100), "%", say("liquid x (1 - Brix/100)"), ARITHMETIC)
    return replace(lot, figures={**lot.figures, **changed, "water_pct": water})


def _yan_mg_kg(lot: Ingredient, numbers: dict[str, float]) -> tuple[float | None, str]:
    if "yan_mg_kg" in numbers:
        return numbers.pop("yan_mg_kg"), say(
            "nitrogen split into ammonium and amino as in the record"
        )
    if "yan_mg_l" not in numbers:
        return None, ""
    per_litre = numbers.pop("yan_mg_l")
    liquid = (lot.water + lot.dissolved) / lot.share_edible
    density = float(sucrose_solution_density_kg_m3(_dissolved_share(lot))) / 1000
    note = say("nitrogen per litre of its juice, split into ammonium and amino as in the record")
    return per_litre / density * liquid, note


def _dissolved_share(lot: Ingredient) -> float:
    """Dissolved matter in the liquid of an ingredient [kg/kg], no more than the tables hold."""
    return min(lot.dissolved / max(lot.dissolved + lot.water, 1e-9), 0.7)


def _with_yan(lot: Ingredient, yan_mg_kg: float) -> Ingredient:
    ammonium = lot.figures.get("ammonium_n_mg_kg")
    amino = lot.figures.get("amino_n_mg_kg")
    parts = (ammonium.value if ammonium else 0.0, amino.value if amino else 1.0)
    total = sum(parts) or 1.0
    changed = {
        name: Figure(
            yan_mg_kg * part / total, "mg/kg", say("typed nitrogen x the record's split"), TYPED
        )
        for name, part in zip(("ammonium_n_mg_kg", "amino_n_mg_kg"), parts, strict=True)
    }
    return replace(lot, figures={**lot.figures, **changed})


def _scaled(figure: Figure, factor: float, formula: str) -> Figure:
    low = None if figure.low is None else figure.low * factor
    high = None if figure.high is None else figure.high * factor
    return Figure(
        figure.value * factor,
        figure.unit,
        say("record x {formula}", formula=formula),
        ARITHMETIC,
        {"record": figure},
        low,
        high,
    )


def _maybe(value: object) -> float | None:
    return None if value is None else float(value)  # type: ignore[arg-type]
