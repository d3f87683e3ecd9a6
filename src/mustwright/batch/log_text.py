"""What does a line of the log say, and when was it: one wording for page, command and print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from mustwright.batch.entries import (
    EVENTS,
    STRIP,
    Correction,
    Entry,
    Event,
    FeedGiven,
    Note,
    PlanAdopted,
    Reading,
    Removal,
    what_from,
)
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.finishing_text import step_words
from mustwright.batch.log import Standing
from mustwright.batch.plan import BatchPlan, Dose, PlannedFeed
from mustwright.unit_system import degrees, short_volume

# In the language of the pages, whatever that of the machine.
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = (
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip


def moment(at: datetime, zone: tzinfo, now: datetime | None = None) -> str:
    """A clock time as it stands in a log: Thu 1 May 18:00; with the year if it is not this one."""
    here = at.astimezone(zone)
    year = "" if now is None or here.year == now.astimezone(zone).year else f" {here.year}"
    day, month = DAYS[here.weekday()], MONTHS[here.month - 1]
    return f"{day} {here.day} {month}{year} {here.hour:02}:{here.minute:02}"


def title(what: object) -> str:
    """What kind of thing an entry is, in a word or two."""
    if isinstance(what, Event):
        return EVENTS[what.what]
    if isinstance(what, FeedGiven):
        return "Feed skipped" if what.skipped else "Fed"
    if isinstance(what, StepDone):
        return what.title
    if isinstance(what, PlanAdopted):
        return f"Plan {what.plan.number}"
    return {"reading": "Read", "note": "Note", "photo": "Photo"}[getattr(what, "kind", "note")]


def detail(what: object, plan: BatchPlan | None = None) -> str:
    """What it says, without its title; temperatures in the unit of the plan's own sheet."""
    sheet = plan.sheet if plan is not None else ""
    if isinstance(what, Reading):
        return _reading(what, sheet)
    if isinstance(what, FeedGiven):
        feed = plan.feed(what.feed) if plan is not None else None
        name = feed.name if feed else what.feed or ""
        given = doses_words(what.items)
        parts = [given, f"({name})" if name else "", _after(what.note)]
        return " ".join(p for p in parts if p)
    if isinstance(what, Event):
        parts = [
            "" if what.temperature_c is None else _degrees(what.temperature_c, sheet),
            "" if what.litres is None else short_volume(what.litres, sheet),
            what.note,
        ]
        return ", ".join(p for p in parts if p)
    if isinstance(what, StepDone):
        return step_words(what, sheet)
    if isinstance(what, PlanAdopted):
        live = len(what.plan.live_feeds)
        return f"{what.plan.protocol_name}, {live} feed{'' if live == 1 else 's'}"
    return what.text if isinstance(what, Note) else getattr(what, "caption", "")


def _reading(what: Reading, sheet: str) -> str:
    gravity = "" if what.gravity is None else f"{_trimmed(what.gravity)}"
    if what.brix is not None:
        gravity = f"{round(what.brix, 2):g} Brix"
    if gravity and what.sample_c is not None:
        gravity += f" at {_degrees(what.sample_c, sheet)}"
    if gravity and what.instrument != "hydrometer":
        gravity += f" by {'device' if what.instrument == 'sensor' else what.instrument}"
    parts = [
        gravity,
        "" if what.temperature_c is None else f"must {_degrees(what.temperature_c, sheet)}",
        _ph(what),
        what.note,
    ]
    return ", ".join(p for p in parts if p)


def _ph(what: Reading) -> str:
    by = " by strip" if what.ph_by == STRIP else ""
    return "" if what.ph is None else f"pH {round(what.ph, 2):g}{by}"


def _degrees(celsius: float, sheet: str) -> str:
    """As it was read: beyond a hundredth of a degree only a conversion has digits."""
    return degrees(celsius, sheet, 2)


def _trimmed(gravity: float) -> str:
    """Three decimals, and the fourth where one was read.

    Examples
    --------
    >>> _trimmed(1.06), _trimmed(1.0625)
    ('1.060', '1.0625')
    """
    text = f"{gravity:.4f}"
    return text[:-1] if text.endswith("0") else text


def _after(note: str) -> str:
    return f"– {note}" if note else ""


def doses_words(items: Sequence[object]) -> str:
    """Grams and names: 3.8 g diammonium phosphate + 9 g autolysed yeast."""
    found = []
    for one in items:
        grams, name = getattr(one, "grams", 0.0), getattr(one, "name", "")
        found.append(f"{grams:g} g {name or getattr(one, 'nutrient', '')}")
    return " + ".join(found)


def said(what: object, plan: BatchPlan | None = None) -> str:
    """An entry in one line."""
    more = detail(what, plan)
    return f"{title(what)}: {more}" if more else title(what)


@dataclass(frozen=True)
class Change:
    """One change of an entry, as the log tells it."""

    what: str
    who: str
    when: str
    before: str
    after: str


def history(stand: Standing, zone: tzinfo, plan: BatchPlan | None) -> list[Change]:
    """Every change of an entry, the newest first."""
    kind = stand.entry.what.kind
    return [_change(entry, kind, zone, plan) for entry in reversed(stand.changes)]


def _change(entry: Entry, kind: str, zone: tzinfo, plan: BatchPlan | None) -> Change:
    when = moment(entry.logged_at or entry.at, zone)
    what = entry.what
    if isinstance(what, Correction):
        before, after = (
            f"{detail(what_from(kind, data), plan) or title(what_from(kind, data))}, "
            f"{moment(at, zone)}"
            for data, at in ((what.before, what.at_before), (what.after, what.at_after))
        )
        word = "taken back" if what.undoes else "corrected"
        return Change(word, entry.who, when, before, after)
    if isinstance(what, Removal):
        return Change("undone" if what.undoes else "deleted", entry.who, when, "", "")
    return Change("brought back", entry.who, when, "", "")


def feed_words(feed: PlannedFeed) -> str:
    """What a planned feed brings, or why it brings nothing."""
    if feed.dropped:
        return f"nothing: {feed.dropped}"
    return doses_words(feed.doses) or "nothing"


def is_as_planned(given: Sequence[object], doses: Sequence[Dose]) -> bool:
    """Whether exactly the planned grams were given."""
    mine = {getattr(g, "nutrient", ""): getattr(g, "grams", 0.0) for g in given}
    theirs = {d.nutrient: d.grams for d in doses}
    return mine.keys() == theirs.keys() and all(
        abs(mine[k] - theirs[k]) <= 0.005 * max(theirs[k], 0.1) for k in mine
    )
