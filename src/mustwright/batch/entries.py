"""What can be written into the log of a batch: readings, feeds, events, notes, photos, changes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

from mustwright.batch.clock import refuse_future
from mustwright.batch.codec import record_from
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.plan import BatchPlan
from mustwright.errors import InputError, not_plain
from mustwright.plain_data import data_of
from mustwright.texts import say

HYDROMETER, REFRACTOMETER, SENSOR = "hydrometer", "refractometer", "sensor"
INSTRUMENTS = (HYDROMETER, REFRACTOMETER, SENSOR)
METER, STRIP = "meter", "strip"
PH_BY = (METER, STRIP)
EVENTS: dict[str, str] = {
    "pitched": say("Yeast pitched"),
    "restart_begun": say("Restart starter set up"),
    "restart_doubled": say("Restart starter doubled"),
    "restarted": say("Restart starter combined with the batch"),
    "stirred": say("Swirled or stirred"),
    "degassed": say("Gas stirred out"),
    "aerated": say("Air or oxygen given"),
    "foamed_over": say("Foamed over"),
    "moved": say("Moved to another temperature"),
    "ph_adjusted": say("pH adjusted"),
    "fruit_in": say("Fruit in"),
    "fruit_out": say("Fruit out"),
    "honey_in": say("Honey or sugar added"),
    "water_in": say("Water added"),
    "racked": say("Racked"),
    "sampled": say("Sample drawn"),
    "stopped": say("Bubbling stopped"),
    "dry": say("Judged dry"),
    "sulfited": say("Sulfite added"),
    "sorbated": say("Sorbate added"),
    "bottled": say("Bottled"),
    "ended": say("Batch ended"),
}
ADDS_SUGAR = ("fruit_in", "honey_in", "water_in")
CLOSES = ("bottled", "ended")
LONGEST_NOTE = 4000
ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]{0,79}")


@dataclass(frozen=True)
class Reading:
    """What was read, as it was read; corrections are derived, never stored.

    Parameters
    ----------
    gravity : float or None
        As read, specific gravity at the instrument's calibration temperature [-].
    brix : float or None
        As read; on a refractometer uncorrected for alcohol [Brix].
    instrument : str
        ``hydrometer``, ``refractometer`` or ``sensor`` (a device in the vessel).
    calibration_c : float
        Marked on the instrument [°C].
    sample_c : float or None
        Of the liquid read; None takes the must's, then the calibration's [°C].
    temperature_c : float or None
        Of the must [°C].
    ph : float or None
    ph_by : str
        ``meter`` or ``strip`` (of paper).
    """

    kind: ClassVar[str] = "reading"
    gravity: float | None = None
    brix: float | None = None
    instrument: str = HYDROMETER
    calibration_c: float = 20.0
    sample_c: float | None = None
    temperature_c: float | None = None
    ph: float | None = None
    note: str = ""
    ph_by: str = METER

    def __post_init__(self) -> None:
        if all(v is None for v in (self.gravity, self.brix, self.temperature_c, self.ph)):
            raise InputError(
                "reading", say("needs gravity, Brix, temperature or pH"), say("none of them")
            )
        if self.gravity is not None and self.brix is not None:
            raise InputError("brix", say("needs to be left out where gravity is given"), self.brix)
        if self.instrument not in INSTRUMENTS:
            raise InputError(
                "instrument",
                say("needs one of {known}", known=", ".join(INSTRUMENTS)),
                self.instrument,
            )
        if self.ph_by not in PH_BY:
            raise InputError(
                "ph_by", say("needs one of {known}", known=", ".join(PH_BY)), self.ph_by
            )
        if self.instrument == REFRACTOMETER and self.gravity is not None:
            raise InputError("gravity", say("needs Brix from a refractometer"), self.gravity)
        _within("gravity", self.gravity, 0.95, 1.25)
        _within("brix", self.brix, -10, 50)
        _within("calibration_c", self.calibration_c, 10, 30)
        _within("sample_c", self.sample_c, 0, 60)
        _within("temperature_c", self.temperature_c, -10, 60)
        _within("ph", self.ph, 1.5, 8)
        _short("note", self.note)

    @property
    def has_gravity(self) -> bool:
        """Whether it says how far the ferment is."""
        return self.gravity is not None or self.brix is not None


@dataclass(frozen=True)
class Given:
    """A weighed amount of one nutrient, as it went in."""

    nutrient: str
    grams: float
    name: str = ""

    def __post_init__(self) -> None:
        if not self.nutrient or len(self.nutrient) > 80 or len(self.name) > 120:
            raise InputError("nutrient", say("needs the id of a nutrient"), self.nutrient)
        _within("grams", self.grams, 0, 100_000)


@dataclass(frozen=True)
class FeedGiven:
    """A feed as it was given; `feed` is the key of the planned one it stands for, if any."""

    kind: ClassVar[str] = "feed"
    items: tuple[Given, ...] = ()
    feed: str | None = None
    skipped: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        if not self.items and not self.skipped:
            raise InputError("items", say("needs at least one nutrient with its grams"), "none")
        if self.skipped and (self.items or self.feed is None):
            raise InputError("skipped", say("needs a planned feed and no grams"), self.feed)
        if len(self.items) > 20:
            raise InputError("items", say("needs at most 20 nutrients"), len(self.items))
        _short("note", self.note)


@dataclass(frozen=True)
class Event:
    """Something that happened, out of `EVENTS`; temperature and litres where they belong to it.

    `litres` is what is in the vessel afterwards; of a sample, what was drawn [L].
    """

    kind: ClassVar[str] = "event"
    what: str
    temperature_c: float | None = None
    litres: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.what not in EVENTS:
            raise InputError(
                "what", say("needs one of {known}", known=", ".join(EVENTS)), self.what
            )
        _within("temperature_c", self.temperature_c, -10, 60)
        _within("litres", self.litres, 0, 100_000)
        _short("note", self.note)


@dataclass(frozen=True)
class Note:
    """A note in the maker's own words."""

    kind: ClassVar[str] = "note"
    text: str

    def __post_init__(self) -> None:
        if not self.text.strip():
            raise InputError("text", say("needs a few words"), self.text)
        _short("text", self.text)


@dataclass(frozen=True)
class Photo:
    """A picture kept beside the log; `photo` is its id in the store."""

    kind: ClassVar[str] = "photo"
    photo: str
    caption: str = ""

    def __post_init__(self) -> None:
        _short("caption", self.caption)


@dataclass(frozen=True)
class PlanAdopted:
    """A whole plan, in force from here on; `why` says what made it replace the one before."""

    kind: ClassVar[str] = "plan"
    plan: BatchPlan
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class Correction:
    """An earlier entry now says something else; both versions are kept."""

    kind: ClassVar[str] = "correction"
    target: str
    at_before: datetime
    at_after: datetime
    before: dict[str, Any]
    after: dict[str, Any]
    undoes: str | None = None


@dataclass(frozen=True)
class Removal:
    """An earlier entry no longer counts; it stays in the log."""

    kind: ClassVar[str] = "removal"
    target: str
    why: str = ""
    undoes: str | None = None


@dataclass(frozen=True)
class Restoration:
    """A removed entry counts again."""

    kind: ClassVar[str] = "restoration"
    target: str
    undoes: str | None = None


Payload = Reading | FeedGiven | Event | StepDone | Note | Photo | PlanAdopted
Change = Correction | Removal | Restoration
What = Payload | Change
KINDS: dict[str, type[Any]] = {
    cls.kind: cls
    for cls in (
        Reading,
        FeedGiven,
        Event,
        StepDone,
        Note,
        Photo,
        PlanAdopted,
        Correction,
        Removal,
        Restoration,
    )
}
CORRECTABLE = (Reading, FeedGiven, Event, StepDone, Note, Photo)


@dataclass(frozen=True)
class Entry:
    """One line of the log; never changed once written.

    Parameters
    ----------
    id : str
        Chosen by whoever wrote it; writing it again changes nothing.
    at : datetime
        When it happened.
    who : str
        Who wrote it.
    what : Reading or FeedGiven or ...
    seq : int
        Place in the log of its batch, from 1; 0 before it is kept.
    logged_at : datetime or None
        When it was kept.
    """

    id: str
    at: datetime
    who: str
    what: What
    seq: int = 0
    logged_at: datetime | None = None

    def __post_init__(self) -> None:
        if not ID.fullmatch(self.id):
            raise InputError(
                "id", say("needs 1 to 80 letters, digits, '.', '_', ':' or '-'"), self.id
            )
        if self.at.tzinfo is None:
            raise InputError("at", say("needs a time with its zone"), self.at.isoformat())
        if len(self.who) > 120 or not_plain(self.who):
            raise InputError("who", say("needs at most 120 plain characters"), self.who)


def refuse_lines_ahead(entries: Sequence[Entry], now: datetime, log: str = "") -> None:
    """Refuse lines about what has not happened yet, whoever sends them.

    Parameters
    ----------
    entries : sequence of Entry
    now : datetime
    log : str
        What the list is called where it came from, for the field of the error.

    Raises
    ------
    InputError
        Where a line, or the moment it corrects another to, lies ahead of `now` by more than
        `mustwright.batch.clock.AHEAD`.
    """
    for i, entry in enumerate(entries):
        where = f"{log}[{i}]." if log else ""
        refuse_future(f"{where}at", entry.at, now)
        if isinstance(entry.what, Correction):
            refuse_future(f"{where}content.at_after", entry.what.at_after, now)


def what_data(what: What) -> dict[str, Any]:
    """The payload as plain data, without its kind."""
    return dict(data_of(what))


def what_from(kind: str, data: object, where: str = "entry") -> Any:
    """The payload of a kind from plain data.

    Raises
    ------
    InputError
    """
    if kind not in KINDS:
        raise InputError(f"{where}.kind", say("needs one of {known}", known=", ".join(KINDS)), kind)
    if KINDS[kind] is Correction and isinstance(data, dict):
        plain = {k: v for k, v in data.items() if k not in ("before", "after")}
        made = record_from(_CorrectionHead, plain, where)
        return Correction(
            made.target,
            made.at_before,
            made.at_after,
            dict(data.get("before", {})),
            dict(data.get("after", {})),
            made.undoes,
        )
    return record_from(KINDS[kind], data, where)


@dataclass(frozen=True)
class _CorrectionHead:
    target: str
    at_before: datetime
    at_after: datetime
    undoes: str | None = None


def _within(field: str, value: float | None, low: float, high: float) -> None:
    if value is not None and not low <= value <= high:
        raise InputError(
            field, say("needs a value from {low:g} to {high:g}", low=low, high=high), value
        )


def _short(field: str, text: str) -> None:
    if len(text) > LONGEST_NOTE:
        raise InputError(
            field,
            say("needs at most {most} characters", most=LONGEST_NOTE),
            say("{count} of them", count=len(text)),
        )
    if wrong := not_plain(text):
        raise InputError(field, say("needs plain text"), wrong)
