"""The record of a batch on paper: must, readings, what went in, finishing steps, what happened."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from mustwright.batch import log_text as words
from mustwright.batch.entries import STRIP, Event, FeedGiven, Note, PlanAdopted, Reading
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing
from mustwright.batch.paper import day_of_month, must_facts
from mustwright.batch.reading_text import corrected_by_id
from mustwright.batch.recipe import called, mixed_from
from mustwright.batch.view import BatchView
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import kept, say
from mustwright.unit_system import degrees_number, mass, temperature_unit, volume


@dataclass(frozen=True)
class ReadRow:
    """One reading: as read, and what it stands for.

    Parameters
    ----------
    when, day : str
        Clock time, and days since the pitch; empty before it.
    read, at_20 : str
        Gravity or Brix as read; gravity at 20 °C, with the alcohol made so far.
    must, ph, note : str
        In the maker's own unit; empty where not read.
    """

    when: str
    day: str
    read: str
    at_20: str
    must: str
    ph: str
    note: str


@dataclass(frozen=True)
class LogLine:
    """One line of the record in words."""

    when: str
    title: str
    detail: str


@dataclass(frozen=True)
class RecordSheet:
    """The record as plain words and rows, each part in the order it happened.

    Parameters
    ----------
    must_unit : str
        In which temperatures of the must are written: ``C`` or ``F``.
    """

    name: str
    protocol: str
    printed: str
    must_unit: str
    facts: tuple[tuple[str, str], ...]
    mixed: tuple[tuple[str, str], ...]
    readings: tuple[ReadRow, ...]
    fed: tuple[LogLine, ...]
    steps: tuple[LogLine, ...]
    events: tuple[LogLine, ...]


def record_of(view: BatchView, zone: tzinfo) -> RecordSheet:
    """The record of a batch by now; entries that were deleted are left out.

    Parameters
    ----------
    view : BatchView
    zone : tzinfo
        In which clock times are written.
    """
    state, sheet = view.progress, view.progress.plan.sheet
    stands = sorted(
        (s for s in view.stands if not s.removed and s.at <= state.now), key=lambda s: s.at
    )
    corrected = corrected_by_id(state)
    return RecordSheet(
        view.record.name,
        kept(state.plan.protocol_name),
        day_of_month(state.now, zone),
        temperature_unit(sheet),
        must_facts(state, zone),
        tuple(
            (called(line), volume(line.litres.value, sheet, 2))
            if line.origin == "fill"
            else (called(line), mass(line.kg.value, sheet))
            for line in mixed_from(state.plan)
        ),
        tuple(_reading(s, view, zone, corrected) for s in stands if isinstance(s.what, Reading)),
        tuple(_lines(stands, (FeedGiven,), view, zone)),
        tuple(_lines(stands, (StepDone,), view, zone)),
        tuple(_lines(stands, (Event, Note, PlanAdopted), view, zone)),
    )


def _reading(
    stand: Standing, view: BatchView, zone: tzinfo, corrected: Mapping[str, float]
) -> ReadRow:
    read: Reading = stand.what
    sheet, at_20 = view.progress.plan.sheet, corrected.get(stand.entry.id)
    warm = read.temperature_c
    return ReadRow(
        _when(stand.at, view, zone),
        _day_since(view.progress.pitched, stand.at),
        words.gravity_read(read, sheet),
        "" if at_20 is None else gravity_text(at_20),
        "" if warm is None else degrees_number(warm, sheet),
        _ph(read),
        read.note,
    )


def _ph(read: Reading) -> str:
    if read.ph is None:
        return ""
    return say("{ph:.2f} strip", ph=read.ph) if read.ph_by == STRIP else say("{ph:.2f}", ph=read.ph)


def _lines(
    stands: Iterable[Standing], kinds: tuple[type, ...], view: BatchView, zone: tzinfo
) -> Iterable[LogLine]:
    plan = view.progress.plan
    for stand in stands:
        if isinstance(stand.what, kinds):
            title, detail = words.title(stand.what), words.detail(stand.what, plan)
            yield LogLine(_when(stand.at, view, zone), title, detail)


def _when(at: datetime, view: BatchView, zone: tzinfo) -> str:
    return words.moment(at, zone, view.progress.now)


def _day_since(pitched: datetime | None, at: datetime) -> str:
    if pitched is None or at < pitched:
        return ""
    return say("{days:.1f}", days=(at - pitched).total_seconds() / 86400)
