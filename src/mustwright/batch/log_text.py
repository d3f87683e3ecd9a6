"""What does a line of the log say, and when was it: one wording for page, command and print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from mustwright.batch.entries import (
    EVENTS,
    HYDROMETER,
    REFRACTOMETER,
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
from mustwright.must.gravity_text import brix_text, gravity_text
from mustwright.texts import Text, join, kept, say, say_n
from mustwright.unit_system import degrees, short_volume

TITLES = {
    "reading": say("Read", context="log"),
    "note": say("Note"),
    "photo": say("Photo"),
}
FEED_STATES = {
    "ahead": say("ahead"), "given": say("given"), "skipped": say("skipped"),
    "dropped": say("dropped"), "withdrawn": say("withdrawn"),
}  # fmt: skip
INSTRUMENTS = {"sensor": say("device"), REFRACTOMETER: say("refractometer")}


def moment(at: datetime, zone: tzinfo, now: datetime | None = None) -> str:
    """A clock time as it stands in a log: Thu 1 May 18:00; with the year if it is not this one."""
    here = at.astimezone(zone)
    if now is None or here.year == now.astimezone(zone).year:
        return say("{at:%a} {day} {at:%b} {at:%H:%M}", at=here, day=here.day)
    return say("{at:%a} {day} {at:%b} {at:%Y} {at:%H:%M}", at=here, day=here.day)


def title(what: object) -> str:
    """What kind of thing an entry is, in a word or two."""
    if isinstance(what, Event):
        return EVENTS[what.what]
    if isinstance(what, FeedGiven):
        return say("Feed skipped") if what.skipped else say("Fed", context="log")
    if isinstance(what, StepDone):
        return what.title
    if isinstance(what, PlanAdopted):
        return say("Plan {number}", number=what.plan.number)
    return TITLES[getattr(what, "kind", "note")]


def detail(what: object, plan: BatchPlan | None = None) -> str:
    """What it says, without its title; temperatures in the unit of the plan's own sheet."""
    sheet = plan.sheet if plan is not None else ""
    if isinstance(what, Reading):
        return _reading(what, sheet)
    if isinstance(what, FeedGiven):
        feed = plan.feed(what.feed) if plan is not None else None
        name = kept(feed.name) if feed else what.feed or ""
        given = doses_words(what.items)
        parts = [given, say("({name})", name=name) if name else "", _after(what.note)]
        return join(" ", [p for p in parts if p])
    if isinstance(what, Event):
        parts = [
            "" if what.temperature_c is None else _degrees(what.temperature_c, sheet),
            "" if what.litres is None else short_volume(what.litres, sheet),
            what.note,
        ]
        return join(", ", [p for p in parts if p])
    if isinstance(what, StepDone):
        return step_words(what, sheet)
    if isinstance(what, PlanAdopted):
        live, salt = len(what.plan.live_feeds), what.plan.salt
        protocol = kept(what.plan.protocol_name)
        feeds = say_n("{protocol}, {count} feed", "{protocol}, {count} feeds", live,
                      protocol=protocol)  # fmt: skip
        if salt is None:
            return feeds
        return say(
            "{feeds}, {grams:g} g {salt} if the pH is low",
            feeds=feeds,
            grams=salt.grams,
            salt=kept(salt.name).lower(),
        )
    return what.text if isinstance(what, Note) else getattr(what, "caption", "")


def gravity_read(what: Reading, sheet: str = "") -> str:
    """Gravity or Brix of a reading as it was read, and with what; empty where it has none."""
    gravity = "" if what.gravity is None else _trimmed(what.gravity)
    if what.brix is not None:
        # A refractometer reads no gravity: its own scale, whatever is chosen.
        refracted = what.instrument == REFRACTOMETER
        gravity = (
            say("{brix:g} Brix", brix=round(what.brix, 2)) if refracted else brix_text(what.brix)
        )
    if gravity and what.sample_c is not None:
        gravity = say(
            "{gravity} at {degrees}", gravity=gravity, degrees=_degrees(what.sample_c, sheet)
        )
    if gravity and what.instrument != HYDROMETER:
        read_with = INSTRUMENTS.get(what.instrument, what.instrument)
        gravity = say("{gravity} by {instrument}", gravity=gravity, instrument=read_with)
    return gravity


def _reading(what: Reading, sheet: str) -> str:
    parts = [
        gravity_read(what, sheet),
        "" if what.temperature_c is None else _of_must(what.temperature_c, sheet),
        _ph(what),
        what.note,
    ]
    return join(", ", [p for p in parts if p])


def _of_must(celsius: float, sheet: str) -> Text:
    return say("must {degrees}", degrees=_degrees(celsius, sheet))


def _ph(what: Reading) -> str:
    if what.ph is None:
        return ""
    ph = round(what.ph, 2)
    return say("pH {ph:g} by strip", ph=ph) if what.ph_by == STRIP else say("pH {ph:g}", ph=ph)


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
    return gravity_text(gravity, 3 if f"{gravity:.4f}".endswith("0") else 4)


def _after(note: str) -> str:
    return f"– {note}" if note else ""


def doses_words(items: Sequence[object], plan: BatchPlan | None = None) -> str:
    """Grams and names: 3.8 g diammonium phosphate (about 0.8 tsp) + 9 g autolysed yeast.

    Parameters
    ----------
    plan : BatchPlan or None
        Knows what a teaspoon of each jar weighs; without it grams stand alone.
    """
    return join(" + ", [dose_words(one, plan) for one in items])


def dose_words(one: object, plan: BatchPlan | None = None) -> str:
    """One of them."""
    grams, name = getattr(one, "grams", 0.0), getattr(one, "name", "")
    nutrient = getattr(one, "nutrient", "")
    beside = "" if plan is None else plan.spoons(nutrient, grams)
    return say("{grams:g} g {name}", grams=grams, name=kept(name or nutrient)) + beside


def said(what: object, plan: BatchPlan | None = None) -> str:
    """An entry in one line."""
    more = detail(what, plan)
    return join(": ", (title(what), more)) if more else title(what)


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
            join(", ", (_words_of(what_from(kind, data), plan), moment(at, zone)))
            for data, at in ((what.before, what.at_before), (what.after, what.at_after))
        )
        word = say("taken back") if what.undoes else say("corrected")
        return Change(word, entry.who, when, before, after)
    if isinstance(what, Removal):
        word = say("undone") if what.undoes else say("deleted")
        return Change(word, entry.who, when, "", "")
    return Change(say("brought back"), entry.who, when, "", "")


def _words_of(what: object, plan: BatchPlan | None) -> str:
    return detail(what, plan) or title(what)


def feed_words(feed: PlannedFeed, plan: BatchPlan | None = None) -> str:
    """What a planned feed brings, or why it brings nothing."""
    if feed.dropped:
        return say("nothing: {why}", why=kept(feed.dropped))
    return doses_words(feed.doses, plan) or say("nothing")


def is_as_planned(given: Sequence[object], doses: Sequence[Dose]) -> bool:
    """Whether exactly the planned grams were given."""
    mine = {getattr(g, "nutrient", ""): getattr(g, "grams", 0.0) for g in given}
    theirs = {d.nutrient: d.grams for d in doses}
    return mine.keys() == theirs.keys() and all(
        abs(mine[k] - theirs[k]) <= 0.005 * max(theirs[k], 0.1) for k in mine
    )
