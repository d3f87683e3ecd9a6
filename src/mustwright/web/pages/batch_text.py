"""What does an entry say, and when did it happen: words for the log of a batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from urllib.parse import urlencode

from mustwright.batch.allowed_additions import may_go_in
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
from mustwright.batch.log import Standing
from mustwright.batch.plan import BatchPlan, Dose, PlannedFeed
from mustwright.batch.temperature_text import shown_temperature, temperature_unit
from mustwright.bench.record_text import step_words
from mustwright.bench.step_table import STEPS, page_with

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
    """What it says, without its title."""
    if isinstance(what, Reading):
        return _reading(what, plan)
    if isinstance(what, FeedGiven):
        feed = plan.feed(what.feed) if plan is not None else None
        name = feed.name if feed else what.feed or ""
        given = doses_words(what.items)
        parts = [given, f"({name})" if name else "", _after(what.note)]
        return " ".join(p for p in parts if p)
    if isinstance(what, Event):
        parts = [
            "" if what.temperature_c is None else degrees(what.temperature_c, plan),
            "" if what.litres is None else f"{what.litres:g} L",
            what.note,
        ]
        return ", ".join(p for p in parts if p)
    if isinstance(what, StepDone):
        return step_words(what)
    if isinstance(what, PlanAdopted):
        live = len(what.plan.live_feeds)
        return f"{what.plan.protocol_name}, {live} feed{'' if live == 1 else 's'}"
    return what.text if isinstance(what, Note) else getattr(what, "caption", "")


def degrees(celsius: float, plan: BatchPlan | None) -> str:
    """A temperature in the unit of the must's own sheet.

    Examples
    --------
    >>> degrees(20.0, None)
    '20 °C'
    """
    unit = temperature_unit(plan.sheet) if plan is not None else "C"
    return f"{shown_temperature(celsius, unit)} °{unit}"


def whole_degrees(celsius: float, plan: BatchPlan | None) -> str:
    """The same to the whole degree, where there is little room."""
    number, _, unit = degrees(celsius, plan).partition(" ")
    return f"{float(number):.0f} {unit}"


def _reading(what: Reading, plan: BatchPlan | None) -> str:
    gravity = "" if what.gravity is None else f"{_trimmed(what.gravity)}"
    if what.brix is not None:
        gravity = f"{what.brix:g} Brix"
    if gravity and what.sample_c is not None:
        gravity += f" at {degrees(what.sample_c, plan)}"
    if gravity and what.instrument != "hydrometer":
        gravity += f" by {'device' if what.instrument == 'sensor' else what.instrument}"
    parts = [
        gravity,
        "" if what.temperature_c is None else f"must {degrees(what.temperature_c, plan)}",
        "" if what.ph is None else f"pH {what.ph:g}{' by strip' if what.ph_by == STRIP else ''}",
        what.note,
    ]
    return ", ".join(p for p in parts if p)


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


def feed_options(plan: BatchPlan) -> list[tuple[str, str]]:
    """Feeds of a plan to choose from: key, and number with name."""
    return [(f.key, f"{i}. {f.name}") for i, f in enumerate(plan.feeds, 1)]


def jar_options(plan: BatchPlan) -> list[tuple[str, str]]:
    """What may be written down as given: id and name."""
    return list(may_go_in(plan).items())


# Finishing steps --------------------------------------------------------------------------------

NO_PAGE = ("drawn", "blend")  # of a blend the lots have moved on


def worked_from(what: object) -> list[tuple[str, str]]:
    """The fields a finishing step was worked out from, in words."""
    if not isinstance(what, StepDone) or what.step not in STEPS:
        return []
    labels = {one.name: one.label for one in STEPS[what.step].fields}
    return [
        (labels.get(name, name.replace("_", " ")), text)
        for name, text in what.asked.items()
        if name != "batch"
    ]


def worked_again(what: object) -> str:
    """Where the bench works the same again, from the same fields; empty where it cannot."""
    if not isinstance(what, StepDone) or what.step in NO_PAGE or not what.asked:
        return ""
    page, chosen = page_with(what.step)
    asked = {k: v for k, v in what.asked.items() if k != "batch"}
    return f"/finish/{page.slug}?{urlencode({**chosen, **asked, 'show': '1'})}"
