"""What a maker does with the cellar: plan and compare what is kept, with the shelf that is kept."""

from __future__ import annotations

import tomllib
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import tomlkit

from mustwright.errors import ConflictError, InputError, ValidityWarning
from mustwright.figure import Figure
from mustwright.kinetics.pace import usual_pace
from mustwright.nutrition.choose import best
from mustwright.nutrition.feeds import FeedSlot, place_feeds
from mustwright.nutrition.protocols import (
    Protocol,
    built_in_protocols,
    protocol_called,
    read_protocol,
)
from mustwright.nutrition.shelf import SETTINGS, Nutrient, read_nutrient, read_shelf
from mustwright.nutrition.triggers import THIRD
from mustwright.planning.plan import compare
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.services.repository import (
    Cellar,
    ProtocolRecord,
    SheetRecord,
    ShelfRecord,
    slug_from_name,
)

NOMINAL_BRIX, NOMINAL_TEMPERATURE_C, NOMINAL_NITROGEN_MG_L = 24.0, 20.0, 150.0
KEPT_RESULTS = 96
TAKEN_BY_PAGES = "new"  # the address where a new record is made


@dataclass(frozen=True)
class Outlook:
    """One kept must and how it stands: a plan, or why there is none."""

    record: SheetRecord
    result: PlanResult | None
    error: InputError | None


@dataclass(frozen=True)
class Jar:
    """One kept nutrient: its record, what it reads as, or why it cannot be read."""

    record: ShelfRecord
    nutrient: Nutrient | None
    error: InputError | None


# The shelf ------------------------------------------------------------------------------------


def read_jar(identity: str, text: str) -> Nutrient:
    """A nutrient from its TOML table, with the errors a must sheet would give.

    Raises
    ------
    InputError, UnknownKindError
    """
    return read_nutrient(identity, _jar_table(identity, text), f"shelf.{identity}")


def _jar_table(identity: str, text: str) -> Mapping[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also absurdly long numbers and deep nesting
        raise InputError(f"shelf.{identity}", "needs valid TOML", str(error)) from None


def jars(cellar: Cellar) -> list[Jar]:
    """Everything on the shelf."""
    found = []
    for record in cellar.nutrients():
        try:
            found.append(Jar(record, read_jar(record.id, record.text), None))
        except InputError as error:
            found.append(Jar(record, None, error))
    return found


def save_jar(
    cellar: Cellar, identity: str | None, name: str, text: str, version: int | None
) -> ShelfRecord:
    """Put a nutrient on the shelf, or write over one; the whole shelf must still be readable."""
    taken = {record.id for record in cellar.nutrients()}
    if identity is None:
        stem = slug_from_name(name, {*SETTINGS, TAKEN_BY_PAGES}).replace("-", "_")
        identity = slug_from_name(stem, {t.replace("_", "-") for t in taken}).replace("-", "_")
    read_jar(identity, text)
    tables = {r.id: _jar_table(r.id, r.text) for r in cellar.nutrients() if r.id != identity}
    read_shelf({**tables, identity: _jar_table(identity, text)})
    return cellar.save_nutrient(identity, text, version)


def sheet_with_shelf(text: str, records: Sequence[ShelfRecord]) -> str:
    """The sheet as it is planned: one without nutrients of its own takes the cellar's shelf."""
    return _with_shelf(text, tuple(records))


@lru_cache(maxsize=KEPT_RESULTS)
def _with_shelf(text: str, records: tuple[ShelfRecord, ...]) -> str:
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError):
        return text
    shelf = content.get("shelf", {})
    if not records or not isinstance(shelf, Mapping) or has_own_shelf(content):
        return text
    tables = {record.id: _jar_table(record.id, record.text) for record in records}
    content["shelf"] = {**shelf, **tables}
    return tomlkit.dumps(content)


def has_own_shelf(content: Mapping[str, Any]) -> bool:
    """Whether a sheet names nutrients itself."""
    shelf = content.get("shelf", {})
    return isinstance(shelf, Mapping) and any(key != "scale" for key in shelf)


# Protocols ------------------------------------------------------------------------------------


@lru_cache(maxsize=KEPT_RESULTS)
def _read_own(text: str) -> Protocol:
    return read_protocol(text)


def own_protocols(cellar: Cellar) -> dict[str, Protocol]:
    """The maker's own protocols that can be read, by id."""
    return protocols_in(tuple(record.text for record in cellar.protocols()))


def protocols_in(texts: tuple[str, ...]) -> dict[str, Protocol]:
    found = {}
    for text in texts:
        try:
            protocol = _read_own(text)
        except InputError:
            continue
        found[protocol.id] = protocol
    return found


def save_protocol(
    cellar: Cellar, text: str, version: int | None, identity: str | None = None
) -> ProtocolRecord:
    """Keep a protocol of the maker's own.

    Raises
    ------
    InputError
        When it cannot be read, takes a built-in's id, or changes the id it is kept under.
    ConflictError
    """
    protocol = read_protocol(text)
    if protocol.id in built_in_protocols() or protocol.id == TAKEN_BY_PAGES:
        raise InputError("id", "needs to differ from every built-in protocol", protocol.id)
    if identity is not None and protocol.id != identity:
        raise InputError("id", f"needs to stay {identity}; make a new one instead", protocol.id)
    try:
        return cellar.save_protocol(protocol.id, text, version)
    except ConflictError:
        if version is None:
            raise InputError(
                "id", "needs to differ from every protocol that is kept", protocol.id
            ) from None
        raise


def nominal_feeds(protocol: Protocol) -> tuple[tuple[FeedSlot, ...], Figure]:
    """A protocol's feeds and one-third break on a nominal must, for drawing it without one."""
    pace = usual_pace(NOMINAL_BRIX, NOMINAL_TEMPERATURE_C, NOMINAL_NITROGEN_MG_L)
    return place_feeds(protocol, pace), pace.hours_to_sugar_used(THIRD)


# Planning -------------------------------------------------------------------------------------


@lru_cache(maxsize=KEPT_RESULTS)
def compared(text: str, name: str, own_texts: tuple[str, ...]) -> Comparison:
    """All protocols on a sheet that is as it is planned; kept for the next view."""
    with warnings.catch_warnings():
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
    return picked_of(full, protocols)


def planned_key(cellar: Cellar, text: str, name: str) -> tuple[str, str, tuple[str, ...]]:
    """All that a comparison depends on: text with the shelf, name, the maker's protocols."""
    own_texts = tuple(record.text for record in cellar.protocols())
    return sheet_with_shelf(text, cellar.nutrients()), name, own_texts


def picked_of(full: Comparison, protocols: Sequence[str]) -> Comparison:
    """Some plans of a comparison, and which of them suits best."""
    known = [plan.protocol for plan in full.plans]
    picked = [i for i, identity in enumerate(known) if identity in protocols]
    verdicts = tuple(full.verdicts[i] for i in picked)
    plans = tuple(full.plans[i] for i in picked)
    outcomes = tuple(full.outcomes[i] for i in picked) if full.outcomes else ()
    acid = tuple(full.acid[i] for i in picked) if full.acid else ()
    suits = plans[best(verdicts)].protocol
    return replace(
        full, plans=plans, verdicts=verdicts, suits_best=suits, outcomes=outcomes, acid=acid
    )


def plan_text(cellar: Cellar, text: str, name: str, protocol: str | None = None) -> PlanResult:
    """Plan a sheet's text by a protocol, or by the one that suits it best."""
    full = compare_text(cellar, text, name)
    known = [plan.protocol for plan in full.plans]
    if protocol is not None and protocol not in known:
        protocol_called(protocol, own_protocols(cellar))
    return plan_out_of(full, known.index(protocol or full.suits_best), protocol is None)


def plan_out_of(comparison: Comparison, i: int, chosen: bool = False) -> PlanResult:
    """The i-th plan of a comparison, as a plan by itself."""
    plan = comparison.plans[i]
    return PlanResult(
        comparison.name,
        comparison.must,
        comparison.pitch,
        comparison.strain,
        comparison.profile,
        plan,
        chosen,
        comparison.verdicts[i],
        (*comparison.warnings, *plan.warnings),
        comparison.ground,
        comparison.outcomes[i] if comparison.outcomes else None,
        comparison.acid[i] if comparison.acid else None,
    )


def outlook(cellar: Cellar, record: SheetRecord) -> Outlook:
    """How one kept must stands."""
    try:
        return Outlook(record, plan_text(cellar, record.text, record.name), None)
    except InputError as error:
        return Outlook(record, None, error)


def outlooks(cellar: Cellar) -> list[Outlook]:
    """How every kept must stands, the one last changed first."""
    records = sorted(cellar.sheets(), key=lambda r: r.updated_at, reverse=True)
    return [outlook(cellar, record) for record in records]


def check_sheet(cellar: Cellar, text: str, name: str) -> None:
    """Refuse a sheet that cannot be planned, naming the field that stands in the way."""
    compare_text(cellar, text, name)


def save_sheet(
    cellar: Cellar, slug: str | None, name: str, text: str, version: int | None
) -> SheetRecord:
    """Keep a sheet that can be planned.

    Raises
    ------
    InputError, ConflictError
    """
    if not name.strip() or len(name) > 120:
        raise InputError("must.name", "needs a name of 1 to 120 characters", name)
    check_sheet(cellar, text, name)
    if slug is None and slug_from_name(name, set()) == TAKEN_BY_PAGES:
        slug = slug_from_name(f"{name} must", {record.slug for record in cellar.sheets()})
    return cellar.save_sheet(slug, name.strip(), text, version)
