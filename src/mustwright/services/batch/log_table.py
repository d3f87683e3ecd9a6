"""The log as a table: CSV out, CSV in with the maker's own columns, previewed, all or nothing."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from mustwright.batch.entries import (
    EVENTS,
    Entry,
    Event,
    FeedGiven,
    Given,
    Note,
    Payload,
    Photo,
    Reading,
)
from mustwright.batch.entry_fields import (
    READING_FIELDS,
    event_typed,
    feed_typed,
    moment_typed,
    reading_typed,
)
from mustwright.batch.finishing_fields import step_of_row, step_row
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing, plan_in_force, standing
from mustwright.batch.plan import BatchPlan
from mustwright.errors import InputError, MustwrightError, not_plain
from mustwright.services.batch.record import YOU
from mustwright.services.batch.repository import Ledger
from mustwright.texts import say

COLUMNS = (
    "id",
    "at",
    "kind",
    "gravity",
    "instrument",
    "calibration",
    "sample",
    "temperature",
    "ph",
    "ph_by",
    "feed",
    "items",
    "skipped",
    "what",
    "litres",
    "note",
    "finish",
)
LARGEST_TEXT, MOST_ROWS = 5_000_000, 20_000
# What a spreadsheet may run begins so, full-width signs and blanks before it included.
_RUNS, _BLANK = "=+-@'＝＋－＠", " \u00a0\u3000\n\u200b\ufeff"
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?(?: (?:Bx|C|L|g))?", re.ASCII)


@dataclass(frozen=True)
class RowProblem:
    """A line that cannot be used, and why."""

    line: int
    message: str


@dataclass(frozen=True)
class Preview:
    """What an import would write; nothing is written while there is a problem.

    Parameters
    ----------
    new : tuple of Entry
        Lines that are not in the log yet.
    known : int
        Lines that are, and will not be written twice.
    ignored : tuple of str
        Columns of the file that nothing is taken from.
    plan : BatchPlan or None
        The one in force, whose unit of temperature the lines are told in.
    """

    new: tuple[Entry, ...]
    known: int
    problems: tuple[RowProblem, ...]
    ignored: tuple[str, ...]
    plan: BatchPlan | None


def export_csv(stands: Sequence[Standing]) -> str:
    """Every line that counts, except plans, as CSV in our own columns.

    The amounts of a finishing step have columns; the whole step is under ``finish``, as JSON.
    """
    lines = [_csv_line(COLUMNS)]
    for stand in stands:
        row = _row(stand.what)
        if row is not None and not stand.removed:
            head = {"id": stand.entry.id, "at": stand.at.isoformat(), "kind": stand.what.kind}
            cells = {**head, **row}
            lines.append(_csv_line([_safe(cells.get(name, "")) for name in COLUMNS]))
    return "".join(lines)


def _csv_line(cells: Sequence[str]) -> str:
    """One line; a lone carriage return in a cell is quoted too, as the writer's own line end is."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerow(cells)
    return out.getvalue().removesuffix("\r\n") + "\n"


def _safe(text: str) -> str:
    """A cell that no spreadsheet takes for a formula; import removes the quote in front."""
    if _PLAIN_NUMBER.fullmatch(text) or not text.strip(_BLANK)[:1]:
        return f"'{text}" if text[:1] in ("\t", "\r") else text
    return f"'{text}" if text.strip(_BLANK)[0] in _RUNS or text[0] in ("\t", "\r") else text


def _row(what: object) -> dict[str, str] | None:
    if isinstance(what, Reading):
        gravity = "" if what.gravity is None else f"{what.gravity!r}"
        return {
            "gravity": gravity if what.brix is None else f"{what.brix!r} Bx",
            "instrument": what.instrument if what.has_gravity else "",
            "calibration": f"{what.calibration_c!r} C" if what.has_gravity else "",
            "sample": _celsius(what.sample_c),
            "temperature": _celsius(what.temperature_c),
            "ph": "" if what.ph is None else repr(what.ph),
            "ph_by": "" if what.ph is None else what.ph_by,
            "note": what.note,
        }
    if isinstance(what, FeedGiven):
        items = "; ".join(f"{i.nutrient}={i.grams!r} g" for i in what.items)
        skipped = "yes" if what.skipped else ""
        return {"feed": what.feed or "", "items": items, "skipped": skipped, "note": what.note}
    if isinstance(what, Event):
        litres = "" if what.litres is None else f"{what.litres!r} L"
        temperature = _celsius(what.temperature_c)
        return {"what": what.what, "temperature": temperature, "litres": litres, "note": what.note}
    if isinstance(what, StepDone):
        return step_row(what)
    if isinstance(what, Note):
        return {"note": what.text}
    return {"what": what.photo, "note": what.caption} if isinstance(what, Photo) else None


def _celsius(value: float | None) -> str:
    return "" if value is None else f"{value!r} C"


def preview_csv(
    ledger: Ledger,
    slug: str,
    text: str,
    *,
    now: datetime,
    zone: tzinfo,
    columns: Mapping[str, str] | None = None,
    who: str = YOU,
) -> Preview:
    """What importing a CSV file would write.

    Parameters
    ----------
    columns : mapping of str to str or None
        Ours to theirs, where the file has its own (``{"gravity": "SG", "at": "Date"}``); without
        an ``id`` column a line is known by what it says, so that importing it again writes nothing.

    Raises
    ------
    InputError
        When the file as a whole cannot be used.
    """
    rows, theirs = _rows(text)
    mapping = _mapping(theirs, columns)
    log = ledger.log(slug)
    known = {entry.id for entry in log}
    plan = plan_in_force(standing(log))
    new: dict[str, Entry] = {}
    problems, seen = [], 0
    for line, row in rows:
        mine = {ours: _bare(row.get(name) or "") for ours, name in mapping.items()}
        if not any(mine.values()):
            continue
        try:
            entry = _entry(mine, plan, now, zone, who)
        except MustwrightError as error:
            problems.append(RowProblem(line, str(error)))
            continue
        if entry.id in known or entry.id in new:
            seen += 1
        else:
            new[entry.id] = entry
    ignored = tuple(name for name in theirs if name not in mapping.values())
    return Preview(tuple(new.values()), seen, tuple(problems), ignored, plan)


def import_csv(ledger: Ledger, slug: str, preview: Preview) -> list[Entry]:
    """Write what a preview showed: all of it or, if any line has a problem, nothing."""
    if preview.problems:
        first = preview.problems[0]
        more = len(preview.problems) - 1
        needs = (
            say("{problem} (and {more} more); nothing written", problem=first.message, more=more)
            if more
            else say("{problem}; nothing written", problem=first.message)
        )
        raise InputError(f"line {first.line}", needs, say("it"))
    return ledger.append(slug, preview.new) if preview.new else []


def head_of(text: str) -> list[str]:
    """Names of the columns of a CSV text, for saying which is which.

    Raises
    ------
    InputError
    """
    return _rows(text)[1]


def _rows(text: str) -> tuple[list[tuple[int, dict[str, str]]], list[str]]:
    if len(text) > LARGEST_TEXT or not_plain(text):
        raise InputError(
            "file",
            say("needs a CSV text of at most 5 MB"),
            say("{count} characters", count=len(text)),
        )
    text = text.lstrip("\ufeff")
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    try:
        reader = csv.DictReader(io.StringIO(text), delimiter=delimiter, strict=True)
        theirs = [name.strip() for name in reader.fieldnames or []]
        reader.fieldnames = theirs
        rows = []
        for row in reader:
            if None in row:
                raise InputError(
                    f"line {reader.line_num}",
                    say("needs no more cells than the head"),
                    "",
                )
            rows.append((reader.line_num, {k: v or "" for k, v in row.items()}))
    except csv.Error as error:
        raise InputError("file", say("needs well-formed CSV"), str(error)) from None
    if not theirs or len(rows) > MOST_ROWS:
        raise InputError(
            "file",
            say("needs a head and at most {most} lines", most=MOST_ROWS),
            len(rows),
        )
    return rows, theirs


def _mapping(theirs: Sequence[str], columns: Mapping[str, str] | None) -> dict[str, str]:
    if columns is not None:
        for ours, name in columns.items():
            if ours not in COLUMNS:
                raise InputError(
                    "columns", say("needs ours out of {columns}", columns=", ".join(COLUMNS)), ours
                )
            if name not in theirs:
                raise InputError(
                    "columns",
                    say("needs a column of the file ({theirs})", theirs=", ".join(theirs)),
                    name,
                )
    lower = {name.lower(): name for name in theirs}
    found = {ours: lower[ours] for ours in COLUMNS if ours in lower}
    found.update(columns or {})
    if "at" not in found:
        raise InputError("at", say("needs a column that says when"), ", ".join(theirs))
    return found


def _bare(cell: str) -> str:
    cell = cell.strip()
    return cell[1:] if cell[:1] == "'" else cell


def _entry(
    row: Mapping[str, str], plan: BatchPlan | None, now: datetime, zone: tzinfo, who: str
) -> Entry:
    at = moment_typed(row["at"] or "-", now, zone)
    kind = row.get("kind") or _kind_of(row)
    what = _what(kind, row, plan)
    said = "\x1f".join(f"{k}={row[k]}" for k in sorted(row) if k != "id")
    identity = row.get("id") or "csv-" + hashlib.sha256(said.encode()).hexdigest()[:32]
    return Entry(identity, at, who, what)


def _kind_of(row: Mapping[str, str]) -> str:
    if any(row.get(name) for name in ("gravity", "temperature", "ph")) and not row.get("what"):
        return Reading.kind
    if row.get("finish"):
        return StepDone.kind
    if row.get("items") or row.get("feed"):
        return FeedGiven.kind
    return Event.kind if row.get("what") in EVENTS else Note.kind


def _what(kind: str, row: Mapping[str, str], plan: BatchPlan | None) -> Payload:
    def taken(*names: str) -> dict[str, str]:
        return {name: row.get(name, "") for name in names}

    if kind == Reading.kind:
        return reading_typed(taken(*READING_FIELDS))
    if kind == FeedGiven.kind:
        return _fed(taken("items", "feed", "skipped", "note"), plan)
    if kind == Event.kind:
        return event_typed(taken("what", "temperature", "litres", "note"))
    if kind == StepDone.kind:
        return step_of_row(row)
    if kind == Note.kind:
        return Note(row.get("note", ""))
    if kind == Photo.kind:
        return Photo(row.get("what", ""), row.get("note", ""))
    raise InputError("kind", say("needs reading, feed, event, finish, note or photo"), kind)


def _fed(fields: dict[str, str], plan: BatchPlan | None) -> FeedGiven:
    fed = feed_typed(fields, plan)
    return FeedGiven(
        tuple(Given(i.nutrient, i.grams, i.name) for i in fed.items),
        fed.feed,
        fed.skipped,
        fed.note,
    )
