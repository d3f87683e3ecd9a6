"""A must sheet as a form and back: only what was changed in the form is changed in the text."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT
from tomlkit.toml_document import TOMLDocument

from mustwright.errors import InputError
from mustwright.must.blend import PRIMARY
from mustwright.must.gravity_text import with_scale, with_sg
from mustwright.must.ingredient import kind_words
from mustwright.texts import say
from mustwright.toml_text import toml_table
from mustwright.unit_hints import with_unit
from mustwright.unit_system import chosen
from mustwright.web.forms.lists import kind_kept
from mustwright.web.forms.typed import TypedForm, put, shown

SIMPLE: dict[str, tuple[str, str, bool]] = {
    "name": ("must", "name", False),
    "volume": ("must", "volume", False),
    "finish": ("must", "finish", False),
    "temperature": ("must", "temperature", False),
    "yeast_kind": ("yeast", "kind", False),
    "yeast_amount": ("yeast", "amount", False),
    "yeast_price_per_kg": ("yeast", "price_per_kg", True),
    "profile": ("legal", "profile", False),
    "labels": ("legal", "labels", False),
    "aim": ("goal", "aim", False),
    "protocols": ("goal", "protocols", False),
    "measured_yan_mg_l": ("measured", "yan_mg_l", True),
    "measured_ph": ("measured", "ph", True),
    "scale": ("shelf", "scale", False),
}
ROW_TEXT = ("kind", "amount", "stage", "name")
ROW_NUMBERS = (
    "parts",
    "moisture_pct",
    "refractive_index",
    "brix",
    "alkalinity_mg_l",
    "hardness_dh",
    "yan_mg_l",
    "yan_mg_kg",
    "ph",
    "potassium_mg_kg",
    "price_per_kg",
)
# Amounts that are chosen, not typed: what a sheet calls them, and what a form says.
SOLVE, FILL = "solve", "fill"
AMOUNT_CHOICES = (
    ("", say("this much")),
    (SOLVE, say("work it out, to reach the target")),
    (FILL, say("fill up to the volume")),
)
VOLUME_CHOICES = (("", say("this much")), (SOLVE, say("as much as the honey allows")))
ROW_FIELDS = (*ROW_TEXT, *ROW_NUMBERS)
TARGETS = ("gravity", "brix", "alcohol")
CELLAR, OWN, GENERIC = "cellar", "own", "generic"


def parse(text: str) -> TOMLDocument:
    """The sheet as a document that keeps comments and order.

    Raises
    ------
    InputError
        When it is not TOML.
    """
    toml_table(text, "sheet")  # checked by the quicker reader first
    try:
        return tomlkit.parse(text)
    except (tomlkit.exceptions.TOMLKitError, ValueError, RecursionError) as error:
        raise InputError("sheet", say("needs valid TOML"), str(error)) from None


def sheet_document(text: str) -> TOMLDocument:
    """A sheet whose tables have the shape a form can fill.

    Raises
    ------
    InputError
    """
    document = parse(text)
    for table in ("must", "yeast", "goal", "legal", "measured", "shelf"):
        if not isinstance(document.get(table, {}), Mapping):
            raise InputError(table, say("needs a table"), document[table])
    found = _table(document, "must").get("ingredient", [])
    if not isinstance(found, list) or not all(isinstance(one, Mapping) for one in found):
        raise InputError("must.ingredient", "needs [[must.ingredient]] tables", found)
    return document


def typed_from_sheet(text: str, name: str = "") -> TypedForm:
    """The form as the sheet fills it."""
    document = sheet_document(text)
    typed = TypedForm()
    for field, (table, key, _) in SIMPLE.items():
        typed.fields[field] = shown(_table(document, table).get(key))
    typed.fields["finish"] = with_sg(typed.fields["finish"])
    typed.fields["name"] = typed.fields["name"] or shown(document.get("name")) or name
    typed.fields["target"] = _target_shown(_table(document, "must"))
    typed.fields["measured"] = _target_shown(_table(document, "measured"))
    for i, portion in enumerate(_portions(document)):
        row = {field: shown(portion.get(field)) for field in ROW_FIELDS}
        row["stage"] = row["stage"] or PRIMARY
        typed.rows.append({**row, "was": str(i)})
    names = shelf_names(document)
    typed.fields["shelf"] = OWN if names else CELLAR
    typed.many["jar"] = list(names)
    return typed


def sheet_from_typed(base: str, typed: TypedForm, jars: Mapping[str, Mapping[str, Any]]) -> str:
    """The base sheet with what the form changed written into it.

    Parameters
    ----------
    base : str
        The sheet the form was filled from; empty for a new one.
    jars : mapping of str to mapping
        Label facts of the nutrients that may be ticked and are not in the base, by id.
    """
    document = sheet_document(base)
    before = typed_from_sheet(base, typed.get("name").strip())
    for field, (table, key, numeric) in SIMPLE.items():
        if typed.get(field).strip() != before.get(field).strip():
            put(_made(document, table), key, _as_read(field, typed.get(field)), numeric)
    _write_gravity(document, "must", typed.get("target"), before.get("target"))
    _write_gravity(document, "measured", typed.get("measured"), before.get("measured"))
    _write_rows(document, _in_english(typed.rows, before.rows), before.rows)
    _write_shelf(document, typed, before, jars)
    for table in ("must", "yeast", "goal", "legal", "measured", "shelf"):
        if table in document and not document[table] and table not in parse(base):
            del document[table]
    return tomlkit.dumps(document)


def _in_english(
    rows: Sequence[dict[str, str]], before: Sequence[dict[str, str]]
) -> list[dict[str, str]]:
    """The rows, each kind as the sheet names it."""
    kinds = {row["was"]: row["kind"] for row in before}
    return [
        {**row, "kind": kind_kept(row["kind"], kinds.get(row.get("was", ""), ""))}
        if row.get("kind")
        else row
        for row in rows
    ]


def _as_read(field: str, text: str) -> str:
    """What was typed; a bare volume, temperature or gravity with the unit chosen, if any.

    A sheet means litres, °C and specific gravity by bare numbers, whatever is chosen later.
    """
    if field == "finish":
        return with_scale(text, "must.finish")
    system = chosen()
    if system is None or field not in ("volume", "temperature"):
        return text
    return with_unit(text, field, system)


def with_chosen_amounts(typed: TypedForm) -> TypedForm:
    """The form with what was chosen in place of typed amounts, as a sheet writes it.

    A choice without its field, as a script sends it, leaves the amount as it was typed.
    """
    fields = dict(typed.fields)
    if fields.get("volume_how") == SOLVE:
        fields["volume"] = SOLVE
    rows = [
        {**row, "amount": row["how"]} if row.get("how") in (SOLVE, FILL) else row
        for row in typed.rows
    ]
    return TypedForm(fields, rows, typed.many)


def with_amounts_to_choose(typed: TypedForm) -> TypedForm:
    """The form as a page shows it: a choice beside each amount, which is left empty by one."""
    fields, rows = dict(typed.fields), []
    if fields.get("volume", "").strip().lower() == SOLVE:
        fields |= {"volume": "", "volume_how": SOLVE}
    for typed_row in typed.rows:
        kind = typed_row.get("kind", "")
        row = {**typed_row, "kind": kind_words(kind)} if kind else typed_row
        amount = row.get("amount", "").strip().lower()
        chosen_here = amount in (SOLVE, FILL)
        rows.append({**row, "amount": "", "how": amount} if chosen_here else row)
    return TypedForm(fields, rows, typed.many)


def kept_rows(typed: TypedForm) -> list[int]:
    """Which rows of the form reach the sheet: those with anything in them, unless struck out."""
    return [i for i, row in enumerate(typed.rows) if _kept(row)]


def form_field(field: str, typed: TypedForm) -> str:
    """The form field that shows a field of the sheet; empty if there is none."""
    portion = re.fullmatch(r"must\.ingredient\[(\d+)\](?:\.(\w+))?", field)
    if portion:
        kept = kept_rows(typed)
        i = int(portion[1])
        key = portion[2] if portion[2] in ROW_FIELDS else "kind"
        return f"portion.{kept[i]}.{key}" if i < len(kept) else "portion.0.kind"
    for name, (table, key, _) in SIMPLE.items():
        if field == f"{table}.{key}":
            return name
    table, _, key = field.partition(".")
    if table in ("must", "measured") and key in TARGETS:
        return "target" if table == "must" else "measured"
    if table == "must" and key.startswith("ingredient"):
        return "portion.0.kind"
    return "shelf" if table == "shelf" else ""


def _kept(row: Mapping[str, str]) -> bool:
    return not row.get("strike") and any(
        row.get(field, "").strip() for field in ROW_FIELDS if field != "stage"
    )


def _table(document: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = document.get(name, {})
    return found if isinstance(found, Mapping) else {}


def _made(document: TOMLDocument, name: str) -> Any:
    if name not in document:
        document[name] = tomlkit.table()
    return document[name]


def _portions(document: Mapping[str, Any]) -> list[Any]:
    return list(_table(document, "must").get("ingredient", []))


def _target_shown(table: Mapping[str, Any]) -> str:
    for key in TARGETS:
        if key in table:
            text = shown(table[key])
            if key == "brix" and re.fullmatch(r"[\d.,]+", text):
                return f"{text} Bx"
            if key == "alcohol":
                return f"{text} %" if re.fullmatch(r"[\d.,]+", text) else text
            return with_sg(text)
    return ""


def _write_gravity(document: TOMLDocument, table: str, text: str, before: str) -> None:
    """A target or a reading: alcohol if it has a percent sign, else a gravity."""
    if text.strip() == before.strip():
        return
    made = _made(document, table)
    for key in TARGETS:
        made.pop(key, None)
    text = with_scale(text, f"{table}.gravity")
    put(made, "alcohol" if "%" in text and table == "must" else "gravity", text)


def _write_rows(
    document: TOMLDocument, rows: list[dict[str, str]], before: list[dict[str, str]]
) -> None:
    kept = [row for row in rows if _kept(row)]
    portions = _portions(document)
    same = [row.get("was", "") for row in kept] == [str(i) for i in range(len(portions))]
    if not same:
        fresh = tomlkit.aot()
        for row in kept:
            was = row.get("was", "")
            old = portions[int(was)] if was.isdigit() and int(was) < len(portions) else None
            fresh.append(_copied(old))
        must = _made(document, "must")
        must.pop("ingredient", None)
        if kept:
            must["ingredient"] = fresh
    for i, row in enumerate(kept):
        table = _portions(document)[i]
        was = row.get("was", "")
        old_row = before[int(was)] if was.isdigit() and int(was) < len(before) else {}
        for field in ROW_FIELDS:
            if row.get(field, "").strip() != old_row.get(field, "").strip():
                put(table, field, row.get(field, ""), field in ROW_NUMBERS)


def _copied(old: Any) -> Any:
    """A table with the entries of another, comments included where it had a header of its own."""
    fresh = tomlkit.table()
    if old is None:
        return fresh
    if hasattr(old, "value") and isinstance(
        getattr(old, "value", None), tomlkit.container.Container
    ):
        for key, item in old.value.body:
            if key is None:
                fresh.add(item)
            else:
                fresh.append(key, item)
        return fresh
    for key, item in old.items():
        fresh[key] = item
    return fresh


def shelf_names(document: Mapping[str, Any]) -> list[str]:
    """Nutrients the sheet itself names, in any of the ways a sheet may name them."""
    shelf = _table(document, "shelf")
    names = [str(key) for key in shelf if key not in ("scale", "nutrients", "nutrient")]
    listed = shelf.get("nutrients", [])
    names += [str(name) for name in listed] if isinstance(listed, list) else []
    tables = shelf.get("nutrient", [])
    for one in tables if isinstance(tables, list) else []:
        if isinstance(one, Mapping):
            names.append(str(one.get("kind") or one.get("name") or one.get("class") or ""))
    return names


def _write_shelf(
    document: TOMLDocument,
    typed: TypedForm,
    before: TypedForm,
    jars: Mapping[str, Mapping[str, Any]],
) -> None:
    wanted = [] if typed.get("shelf") in (CELLAR, GENERIC) else typed.many.get("jar", [])
    had = before.many.get("jar", [])
    if sorted(wanted) == sorted(had):
        return
    shelf = _made(document, "shelf")
    for key in [k for k in shelf if k not in ("scale", "nutrients", "nutrient")]:
        if key not in wanted:
            del shelf[key]
    if isinstance(shelf.get("nutrients"), list):
        left = [n for n in shelf["nutrients"] if str(n) in wanted]
        shelf["nutrients"] = left
        if not left:
            del shelf["nutrients"]
    if isinstance(shelf.get("nutrient"), (list, AoT)):
        tables = shelf["nutrient"]
        for i in reversed(range(len(tables))):
            one = tables[i]
            if str(one.get("kind") or one.get("name") or one.get("class") or "") not in wanted:
                del tables[i]
        if not len(tables):
            del shelf["nutrient"]
    for name in wanted:
        if name not in had:
            shelf[name] = _inline(jars[name]) if jars.get(name) else True


def _inline(facts: Mapping[str, Any]) -> Any:
    table = tomlkit.inline_table()
    table.update(facts)
    return table
