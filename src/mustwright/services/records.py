"""What a maker does with the cellar: plan and compare what is kept, with the shelf that is kept."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import tomlkit

from mustwright.errors import InputError, ValidityWarning
from mustwright.nutrition.protocols import protocol_called
from mustwright.nutrition.shelf import SETTINGS, Nutrient, read_nutrient, read_shelf
from mustwright.planning.plan import compare
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.services.own_protocols import own_protocols, protocol_texts, protocols_in
from mustwright.services.repository import TAKEN_BY_PAGES, Cellar, Record, slug_from_name
from mustwright.texts import say
from mustwright.toml_text import toml_table
from mustwright.unit_system import UnitSystem, choosing, units_of

KEPT_RESULTS = 96
Key = tuple[str, str, tuple[str, ...], UnitSystem]


@dataclass(frozen=True)
class Jar:
    """One kept nutrient: its record, what it reads as, or why it cannot be read."""

    record: Record
    nutrient: Nutrient | None
    error: InputError | None

    @property
    def name(self) -> str:
        """What the maker calls it; its key where it cannot be read."""
        return self.nutrient.name if self.nutrient else self.record.key


def copy_sheet(cellar: Cellar, key: str) -> Record:
    """A kept must again, under a name of its own.

    Raises
    ------
    MissingRecordError
    """
    record = cellar.record("sheet", key)
    return cellar.save("sheet", None, record.text, None, again(record.name))


def again(name: str) -> str:
    """What a copy is called."""
    return f"{name}, again"[:120]


# The shelf ------------------------------------------------------------------------------------


def read_jar(identity: str, text: str) -> Nutrient:
    """A nutrient from its TOML table, with the errors a must sheet would give.

    Raises
    ------
    InputError, UnknownKindError
    """
    return read_nutrient(identity, _jar_table(identity, text), f"shelf.{identity}")


def _jar_table(identity: str, text: str) -> Mapping[str, Any]:
    return toml_table(text, f"shelf.{identity}")


def jars(cellar: Cellar) -> list[Jar]:
    """Everything on the shelf."""
    found = []
    for record in cellar.records("nutrient"):
        try:
            found.append(Jar(record, read_jar(record.key, record.text), None))
        except InputError as error:
            found.append(Jar(record, None, error))
    return found


def save_jar(
    cellar: Cellar, identity: str | None, name: str, text: str, version: int | None
) -> Record:
    """Put a nutrient on the shelf, or write over one; the whole shelf must still be readable."""
    taken = {record.key for record in cellar.records("nutrient")}
    if identity is None:
        stem = slug_from_name(name, {*SETTINGS, TAKEN_BY_PAGES}).replace("-", "_")
        identity = slug_from_name(stem, {t.replace("_", "-") for t in taken}).replace("-", "_")
    read_jar(identity, text)
    tables = {
        r.key: _jar_table(r.key, r.text) for r in cellar.records("nutrient") if r.key != identity
    }
    read_shelf({**tables, identity: _jar_table(identity, text)})
    return cellar.save("nutrient", identity, text, version)


def sheet_with_shelf(text: str, records: Sequence[Record]) -> str:
    """The sheet as it is planned: one without nutrients of its own takes the cellar's shelf."""
    return _with_shelf(text, tuple(records))


@lru_cache(maxsize=KEPT_RESULTS)
def _with_shelf(text: str, records: tuple[Record, ...]) -> str:
    try:
        content = toml_table(text, "sheet")
    except InputError:
        return text
    shelf = content.get("shelf", {})
    if not records or not isinstance(shelf, Mapping) or has_own_shelf(content):
        return text
    tables = {record.key: _jar_table(record.key, record.text) for record in records}
    content["shelf"] = {**shelf, **tables}
    return tomlkit.dumps(content)


def has_own_shelf(content: Mapping[str, Any]) -> bool:
    """Whether a sheet names nutrients itself."""
    shelf = content.get("shelf", {})
    return isinstance(shelf, Mapping) and any(key != "scale" for key in shelf)


# Planning -------------------------------------------------------------------------------------


@lru_cache(maxsize=KEPT_RESULTS)
def compared(text: str, name: str, own_texts: tuple[str, ...], units: UnitSystem) -> Comparison:
    """All protocols on a sheet that is as it is planned; kept for the next view."""
    with warnings.catch_warnings(), choosing(units):
        # The search for an alcohol tries musts outside every formula's range along the way.
        warnings.simplefilter("ignore", ValidityWarning)
        return compare(text, None, protocols_in(own_texts), name)


def compare_text(cellar: Cellar, text: str, name: str, protocols: Sequence[str] = ()) -> Comparison:
    """Compare protocols on a sheet's text with the cellar's shelf and protocols; all by default.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    key = planned_key(cellar, text, name)
    full = compared(*key)
    if not protocols:
        return full
    known = [plan.protocol for plan in full.plans]
    for one in protocols:
        if one not in known:
            protocol_called(one, protocols_in(key[2]))
    return full.only(protocols)


def planned_key(cellar: Cellar, text: str, name: str) -> Key:
    """All that a comparison depends on, the units of its sentences included."""
    return _key(cellar.records("nutrient"), tuple(protocol_texts(cellar).values()), text, name)


def planned_keys(cellar: Cellar, records: Sequence[Record]) -> list[Key]:
    """The same for some kept musts, whose shelf and protocols are read once."""
    jars, own_texts = cellar.records("nutrient"), tuple(protocol_texts(cellar).values())
    return [_key(jars, own_texts, record.text, record.name) for record in records]


def _key(jars: Sequence[Record], own_texts: tuple[str, ...], text: str, name: str) -> Key:
    return sheet_with_shelf(text, jars), name, own_texts, units_of(text)


def plan_text(cellar: Cellar, text: str, name: str, protocol: str | None = None) -> PlanResult:
    """Plan a sheet's text by a protocol, or by the one that suits it best."""
    full = compare_text(cellar, text, name)
    known = [plan.protocol for plan in full.plans]
    if protocol is not None and protocol not in known:
        protocol_called(protocol, own_protocols(cellar))
    return full.of(protocol or full.suits_best, chosen=protocol is None)


def check_sheet(cellar: Cellar, text: str, name: str) -> None:
    """Refuse a sheet that cannot be planned, naming the field that stands in the way."""
    compare_text(cellar, text, name)


def save_sheet(
    cellar: Cellar, slug: str | None, name: str, text: str, version: int | None
) -> Record:
    """Keep a sheet that can be planned.

    Raises
    ------
    InputError, ConflictError
    """
    if not name.strip() or len(name) > 120:
        raise InputError("must.name", say("needs a name of 1 to 120 characters"), name)
    check_sheet(cellar, text, name)
    if slug is None and slug_from_name(name, set()) == TAKEN_BY_PAGES:
        slug = slug_from_name(f"{name} must", {record.key for record in cellar.records("sheet")})
    return cellar.save("sheet", slug, text, version, name.strip())
