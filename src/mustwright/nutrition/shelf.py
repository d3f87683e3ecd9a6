"""What is on the shelf: the maker's nutrients by their label facts, or generic classes."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from mustwright import data
from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import TYPED, Figure
from mustwright.must.ingredient import figure_from_record, unit_of
from mustwright.nutrition.label_facts import (
    PRINTED,
    TEASPOON,
    printed_nitrogen,
    stock_g,
    teaspoon_g,
)
from mustwright.nutrition.shelf_word import word_of
from mustwright.texts import join, say
from mustwright.units import mass_kg, parse_quantity

PER_GRAM = (
    "ammonium_n",
    "amino_n",
    "potassium",
    "magnesium",
    "zinc",
    "phosphorus",
    "thiamine",
    "pantothenate",
    "biotin",
)
SETTINGS = ("scale", "nutrients", "nutrient")
DEFAULT_SHELF = ("dap", "autolysed_yeast", "complex_blend", "rehydration_nutrient")
BUFFERS = ("potassium_bicarbonate", "potassium_carbonate")  # they move pH: never dosed for K alone
DEFAULT_SCALE_G = 0.1
MOST_NUTRIENTS = 40  # a plan tries all of them together
_FACTS = (
    *("class", "kind", "name", "stock"),
    "price_per_kg",
    "label_max_g_l",
    "uptake_weight",
    *TEASPOON,
    "sterol_source",
    "contains",
    *PRINTED,
)


@dataclass(frozen=True)
class Nutrient:
    """One jar on the shelf.

    Parameters
    ----------
    id, name : str
    group : str
        ``ammonium`` (salts), ``organic`` (amino nitrogen), ``complex`` (both), ``mineral`` or
        ``buffer``.
    use : str
        ``rehydration``, ``ferment`` or ``any``.
    figures : mapping of str to Figure
        ``ammonium_n_mg_g`` and the like [mg per g of product].
    contains : mapping of str to float
        Legally limited substances [g per g].
    label_max_g_l, price_per_kg, stock_g, grams_per_teaspoon : float or None
        None where unknown or unlimited.
    uptake_weight : float
        What a maker believes one mg of its nitrogen is worth; 1 unless typed.
    """

    id: str
    name: str
    class_id: str
    group: str
    use: str
    figures: Mapping[str, Figure]
    contains: Mapping[str, float] = field(default_factory=dict)
    label_max_g_l: Figure | None = None
    price_per_kg: float | None = None
    stock_g: float | None = None
    uptake_weight: float = 1.0
    grams_per_teaspoon: float | None = None
    sterol_source: bool = False
    caution: str = ""

    def per_gram(self, what: str) -> float:
        """Content [mg per g of product]; zero when not stated."""
        figure = self.figures.get(f"{what}_mg_g")
        return figure.value if figure else 0.0

    @property
    def nitrogen_mg_g(self) -> float:
        """Ammonium and amino nitrogen together, unweighted [mg N/g]; for totals only."""
        return self.per_gram("ammonium_n") + self.per_gram("amino_n")

    def matches(self, wanted: str) -> bool:
        """Whether a protocol's word (class, group, or one jar of the shelf) means this jar."""
        return wanted in ("any", self.group, self.class_id, self.id, word_of(self.id))


@dataclass(frozen=True)
class Shelf:
    """All jars, and the scale they are weighed on.

    Parameters
    ----------
    nutrients : tuple of Nutrient
    scale_g : float
        Smallest step the scale shows [g].
    assumed : tuple of str
        What was taken for granted in reading it.
    is_generic : bool
        Whether nothing was named: it stands for generic kinds.
    """

    nutrients: tuple[Nutrient, ...]
    scale_g: float = DEFAULT_SCALE_G
    assumed: tuple[str, ...] = ()
    is_generic: bool = False

    @property
    def for_ferment(self) -> tuple[Nutrient, ...]:
        """Jars the blend may use; buffers are left to the acid of the must."""
        return tuple(n for n in self.nutrients if n.use != "rehydration" and n.group != "buffer")

    @property
    def for_rehydration(self) -> Nutrient | None:
        """The jar meant for the rehydration water, if there is one."""
        fit = (
            n for n in self.nutrients if n.use == "rehydration" and n.per_gram("ammonium_n") <= 0
        )
        return next(fit, None)


@cache
def generic_nutrients() -> dict[str, Nutrient]:
    """Every generic nutrient class, by id."""
    return {record["id"]: _generic(record) for record in data.load("nutrients")["nutrient"]}


def _generic(record: Mapping[str, Any]) -> Nutrient:
    figures = {
        name: figure_from_record(record[name], name, unit_of(name))
        for name in (f"{what}_mg_g" for what in PER_GRAM)
        if name in record
    }
    label = record.get("label_max_g_l")
    nutrient = Nutrient(
        id=record["id"],
        name=record["name"],
        class_id=record["id"],
        group="",
        use=record["use"],
        figures=figures,
        contains=dict(record.get("contains", {})),
        label_max_g_l=figure_from_record(label, "label_max_g_l", "g/L") if label else None,
        sterol_source=bool(record.get("sterol_source", False)),
        caution=record.get("caution", ""),
    )
    return replace(nutrient, group=_group(nutrient))


def _group(nutrient: Nutrient) -> str:
    ammonium, amino = nutrient.per_gram("ammonium_n"), nutrient.per_gram("amino_n")
    if nutrient.class_id in BUFFERS:
        return "buffer"
    if ammonium <= 0 and amino <= 1.0:
        return "mineral"
    if amino <= 0:
        return "ammonium"
    return "organic" if ammonium <= 0.1 * amino else "complex"


@cache
def _class_by_name() -> dict[str, str]:
    names = {}
    for record in data.load("nutrients")["nutrient"]:
        for name in (record["id"], record["name"], *record.get("aliases", ())):
            names[_plain(name)] = record["id"]
    return names


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("_", " ").replace("-", " ").split())


def class_called(name: str, where: str) -> Nutrient:
    """The generic class of a name people use.

    Raises
    ------
    UnknownKindError
        With the nearest known names.
    """
    names = _class_by_name()
    if _plain(name) in names:
        return generic_nutrients()[names[_plain(name)]]
    near = difflib.get_close_matches(_plain(name), names, n=3, cutoff=0.5)
    needs = (
        say(
            "needs a generic nutrient or a table with class and label facts; near it: {near}",
            near=", ".join(near),
        )
        if near
        else say("needs a generic nutrient or a table with class and label facts")
    )
    raise UnknownKindError(where, needs, name)


def read_shelf(content: Mapping[str, Any] | None, where: str = "shelf") -> Shelf:
    """The shelf of a must sheet.

    Parameters
    ----------
    content : mapping or None
        One entry a nutrient: a stock (``"250 g"``), ``true``, or a table of label facts. None or
        an empty table stands for the usual generic four.

    Raises
    ------
    InputError, UnknownKindError
        Naming the entry.
    """
    content = content or {}
    scale, assumed = _scale(content, where)
    entries = named = _entries(content, where)
    if not entries:
        listed = join(", ", [generic_nutrients()[name].name for name in DEFAULT_SHELF])
        assumed.append(
            join(
                ": ",
                (
                    where,
                    say(
                        "the shelf is empty, unlimited generic kinds assumed: {nutrients}",
                        nutrients=listed,
                    ),
                ),
            )
        )
        entries = [(name, True) for name in DEFAULT_SHELF]
    if len(entries) > MOST_NUTRIENTS:
        raise InputError(
            where,
            say("needs at most {most} nutrients", most=MOST_NUTRIENTS),
            len(entries),
        )
    nutrients = [read_nutrient(name, value, f"{where}.{name}") for name, value in entries]
    seen: set[str] = set()
    for i, nutrient in enumerate(nutrients):
        generic = generic_nutrients().get(nutrient.class_id)
        own_name = generic is None or nutrient.name != generic.name
        if nutrient.id in seen and own_name:  # a second jar of a kind is known by its own name
            nutrients[i] = nutrient = replace(nutrient, id="_".join(_plain(nutrient.name).split()))
        if nutrient.id in seen:
            raise InputError(f"{where}.{nutrient.id}", say("is on the shelf twice"), nutrient.id)
        seen.add(nutrient.id)
    return Shelf(tuple(nutrients), scale, tuple(assumed), not named)


def _scale(content: Mapping[str, Any], where: str) -> tuple[float, list[str]]:
    if "scale" not in content:
        return DEFAULT_SCALE_G, []
    kg, note = mass_kg(content["scale"], f"{where}.scale")
    if not 1e-6 <= kg <= 0.1:
        raise InputError(
            f"{where}.scale", say("needs a step from 0.001 g to 100 g"), content["scale"]
        )
    return kg * 1000, [note] if note else []


def _entries(content: Mapping[str, Any], where: str) -> list[tuple[str, Any]]:
    entries = [(k, v) for k, v in content.items() if k not in SETTINGS and v is not False]
    listed = content.get("nutrients", [])
    if not isinstance(listed, Sequence) or isinstance(listed, str):
        raise InputError(f"{where}.nutrients", say("needs a list of nutrient names"), listed)
    entries += [(str(name), True) for name in listed]
    tables = content.get("nutrient", [])
    if not isinstance(tables, Sequence) or isinstance(tables, str):
        raise InputError(f"{where}.nutrient", say("needs [[shelf.nutrient]] tables"), tables)
    for i, table in enumerate(tables):
        if not isinstance(table, Mapping) or not ("kind" in table or "class" in table):
            raise InputError(f"{where}.nutrient[{i}]", say("needs a table with a kind"), table)
        entries.append((str(table.get("kind") or table.get("name") or table["class"]), table))
    return entries


def read_nutrient(name: str, value: object, where: str) -> Nutrient:
    """Read one jar: a generic class with the maker's label facts on top.

    Parameters
    ----------
    name, where : str
        The name of the entry, and where it stands in the sheet.
    value : object
        True, a stock such as ``"250 g"``, or a table of label facts.

    Returns
    -------
    Nutrient

    Raises
    ------
    InputError, UnknownKindError
        If the class is unknown, or a fact is unknown or out of its range.
    """
    if not isinstance(value, Mapping):
        base = class_called(name, where)
        return base if value is True else replace(base, stock_g=stock_g(value, where))
    named = value.get("class") or value.get("kind") or name
    if not isinstance(named, str):
        raise InputError(f"{where}.class", say("needs the name of a generic nutrient"), named)
    facts = {f"{what}_mg_g" for what in PER_GRAM}
    for key in value:
        if key not in _FACTS and key not in facts:
            known = ", ".join([*_FACTS, *sorted(facts)])
            raise InputError(
                f"{where}.{key}", say("is no label fact; known: {known}", known=known), value[key]
            )
    told = set(value)
    stands_alone = {*facts, *PRINTED} & told and not {"class", "kind"} & told
    if stands_alone and _plain(name) not in _class_by_name():
        base = Nutrient("", "", "own", "", "ferment", {})
    else:
        base = class_called(named, where)
    return _with_label(name, base, value, where)


def _with_label(name: str, base: Nutrient, value: Mapping[str, Any], where: str) -> Nutrient:
    typed = {
        key: Figure(
            _fact(value[key], f"{where}.{key}", 0, 1000), "mg/g", say("from the label"), TYPED
        )
        for key in (f"{what}_mg_g" for what in PER_GRAM)
        if key in value
    }
    printed = {k: _fact(value[k], f"{where}.{k}", 0, 1000) for k in PRINTED if k in value}
    typed |= printed_nitrogen(printed, typed, base.figures, where)
    maximum = base.label_max_g_l
    if "label_max_g_l" in value:
        limit = _label_max(value["label_max_g_l"], f"{where}.label_max_g_l")
        maximum = Figure(limit, "g/L", say("from the label"), TYPED)
    own = name not in (base.id,) and _plain(name) != _plain(base.name)
    is_alias = _class_by_name().get(_plain(name)) == base.id
    identity = base.id if not own or is_alias else "_".join(_plain(name).split())
    nutrient = replace(
        base,
        id=identity,
        name=str(value["name"])
        if value.get("name")
        else (base.name if identity == base.id else name),
        figures={**base.figures, **typed},
        contains=_contains(base, typed, value, where),
        label_max_g_l=maximum,
        price_per_kg=_maybe(value, "price_per_kg", where, 0, 1e5),
        stock_g=stock_g(value["stock"], f"{where}.stock") if "stock" in value else None,
        uptake_weight=_maybe(value, "uptake_weight", where, 0.1, 10) or 1.0,
        grams_per_teaspoon=teaspoon_g(value, where),
        sterol_source=_yes(value.get("sterol_source", base.sterol_source), where),
    )
    return replace(nutrient, group=_group(nutrient))


def _yes(value: object, where: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(f"{where}.sterol_source", say("needs true or false"), value)
    return value


@cache
def limited_substances() -> tuple[str, ...]:
    """Every substance a legal profile or a nutrient record names."""
    named = {limit["substance"] for p in data.folder("limits").values() for limit in p["limit"]}
    named |= {
        s for record in data.load("nutrients")["nutrient"] for s in record.get("contains", {})
    }
    return tuple(sorted(s for s in named if not s.startswith("total_")))


def _contains(
    base: Nutrient, typed: Mapping[str, Figure], value: Mapping[str, Any], where: str
) -> dict[str, float]:
    """Limited substances: typed, or the class's, scaled when the label's ammonium differs."""
    contains = dict(base.contains)
    ammonium = typed.get("ammonium_n_mg_g")
    if ammonium is not None:
        dap = generic_nutrients()["dap"].per_gram("ammonium_n")
        if "ammonium_sulfate" not in contains:
            contains["ammonium_phosphate"] = ammonium.value / dap
    if "thiamine_mg_g" in typed:
        contains["thiamine_hydrochloride"] = typed["thiamine_mg_g"].value / 1000 / 0.78679
    stated = value.get("contains", {})
    if not isinstance(stated, Mapping):
        raise InputError(f"{where}.contains", say("needs a table of substance to g per g"), stated)
    for substance, share in stated.items():
        if substance not in limited_substances():
            known = ", ".join(limited_substances())
            raise InputError(
                f"{where}.contains.{substance}",
                say("is not known; known: {known}", known=known),
                share,
            )
        contains[str(substance)] = _fact(share, f"{where}.contains.{substance}", 0, 1)
    return {k: v for k, v in contains.items() if v > 0}


def _label_max(value: object, where: str) -> float:
    if isinstance(value, str):
        quantity = parse_quantity(value, where)
        if quantity.dimension not in ("mass concentration", "number"):
            raise InputError(where, say("needs a rate such as '0.4 g/L'"), value)
        value = quantity.value
    return _fact(value, where, 0.001, 100)


def _fact(value: object, where: str, low: float, high: float) -> float:
    good = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not good or not low <= value <= high:  # type: ignore[operator]
        raise InputError(
            where, say("needs a number from {low:g} to {high:g}", low=low, high=high), value
        )
    return float(value)  # type: ignore[arg-type]


def _maybe(value: Mapping[str, Any], key: str, where: str, low: float, high: float) -> float | None:
    return _fact(value[key], f"{where}.{key}", low, high) if key in value else None
