"""What is on the sheet beside the fermenter: plan, next step, cautions, rows to fill in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, tzinfo

from mustwright import data
from mustwright.batch.clock import clock, date_words
from mustwright.batch.corrected_readings import must_course
from mustwright.batch.feed_triggers import trigger_gravity
from mustwright.batch.log_text import doses_words
from mustwright.batch.progress import Progress
from mustwright.batch.salt_reading import open_parts
from mustwright.batch.view import BatchView
from mustwright.must.gravity_text import gravity_sign, gravity_text, with_brix
from mustwright.nutrition.limits import legal_profiles
from mustwright.nutrition.triggers import THIRD
from mustwright.texts import join, kept, redone, say
from mustwright.unit_system import degrees, temperature_unit, volume
from mustwright.yeast.pitch import small_amount

BLANK_ROWS = 18
CAUTIONS = (
    "powder_in_gassy_must",
    "carbon_dioxide_room",
    "ammonium_late",
    "dose_rounding",
    "label_first",
    "pressure_glass",
    "local_law",
)


@dataclass(frozen=True)
class PaperFeed:
    """One feed of the sheet, with a box to tick."""

    name: str
    grams: str
    trigger: str
    gravity: str
    expected: str
    state: str


@dataclass(frozen=True)
class Paper:
    """The print sheet as plain words and rows."""

    name: str
    protocol: str
    printed: str
    facts: tuple[tuple[str, str], ...]
    next_step: str
    feeds: tuple[PaperFeed, ...]
    breaks: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    columns: tuple[str, ...]
    blank_rows: int


def paper_of(view: BatchView, zone: tzinfo) -> Paper:
    """The print sheet of a batch as it stands."""
    state = view.progress
    course = must_course(state.plan.must)
    breaks = tuple(
        (
            say("{used:.0%} of the sugar gone", used=used),
            gravity_text(float(course.gravity_at(used))),
        )
        for used in (0.1, 0.2, THIRD, 0.5, 0.75, 1.0)
    )
    cautions = data.load("cautions")
    return Paper(
        view.record.name,
        kept(state.plan.protocol_name),
        day_of_month(state.now, zone),
        must_facts(state, zone),
        view.step.sentence,
        (*_feeds(view, zone), *_salts(view, zone)),
        breaks,
        tuple(cautions[name]["text"] for name in CAUTIONS),
        _columns(temperature_unit(state.plan.sheet)),
        BLANK_ROWS,
    )


def must_facts(state: Progress, zone: tzinfo) -> tuple[tuple[str, str], ...]:
    """The must, the pitch and the law of a batch, each with its label; empty where not known."""
    must, yeast = state.plan.must, state.plan.yeast
    alcohol = say("up to {alcohol_pct:.1f} % vol", alcohol_pct=must.potential_alcohol_pct)
    grams = join(" ", (small_amount(yeast.grams, 1), "g"))
    return (
        (say("Volume"), volume(must.volume_l, state.plan.sheet)),
        (say("Gravity at pitch"), with_brix(must.gravity, must.brix)),
        (say("Dry reads about"), gravity_text(must.dry_gravity)),
        (say("Alcohol when dry"), alcohol),
        (say("Yeast"), join(", ", (grams, kept(yeast.name).lower()))),
        (say("Must temperature"), degrees(must.temperature_c, state.plan.sheet, 0)),
        (say("Pitched"), day_of_month(state.pitched, zone)),
        (say("Law"), legal_profiles()[state.plan.profile].name),
    )


def _columns(unit: str) -> tuple[str, ...]:
    """What to write into the empty rows; temperatures in the maker's own unit."""
    return (
        say("date, time"),
        say("gravity {sign}", sign=gravity_sign()).strip(),
        say("instrument, °{unit}", unit=unit),
        say("must °{unit}", unit=unit),
        "pH",
        say("what was done"),
        say("by", context="who wrote it"),
    )


def _feeds(view: BatchView, zone: tzinfo) -> list[PaperFeed]:
    state = view.progress
    rows = []
    for one in state.feeds:
        if one.state in ("dropped", "withdrawn"):
            continue
        gravity = trigger_gravity(state, one.feed.rule)
        expected = one.given_at
        stale = view.assessed.is_stale and one.state == "ahead"
        if expected is None and state.pitched is not None and not stale:
            expected = max(state.moment(view.outlook.due(one.feed.rule).expected_h), state.now)
        rows.append(
            PaperFeed(
                kept(one.feed.name),
                doses_words(one.feed.doses, state.plan),
                without_gravity(one.feed.words),
                "" if gravity is None else gravity_text(gravity),
                "" if expected is None else clock(expected, state.now, zone),
                one.state,
            )
        )
    return rows


def _salts(view: BatchView, zone: tzinfo) -> list[PaperFeed]:
    """The salt of the plan that is still open, with the pH it is for."""
    state, rows = view.progress, []
    for part in open_parts(state, view.assessed):
        assert state.plan.salt is not None
        gravity = trigger_gravity(state, part.rule)
        due = max(state.moment(view.outlook.due(part.rule).expected_h), state.now)
        rows.append(
            PaperFeed(
                say("Read pH"),
                state.plan.salt.dose_words(part),
                without_gravity(part.words),
                "" if gravity is None else gravity_text(gravity),
                "" if view.assessed.is_stale else clock(due, state.now, zone),
                "ahead",
            )
        )
    return rows


def without_gravity(words: str) -> str:
    """A trigger in words without the plan's rounded gravity; the batch has its own beside it.

    Examples
    --------
    >>> without_gravity("when 10 % of the sugar is gone (gravity about 1.104)")
    'when 10 % of the sugar is gone'
    """
    return redone(_without_gravity, kept(words))


def _without_gravity(words: str) -> str:
    """Without brackets that hold a figure, whatever the language calls a gravity."""
    return re.sub(r" \([^()]*\d[.,]\d[^()]*\)", "", words)


def day_alone(moment: datetime | None, zone: tzinfo) -> str:
    """A date: 3 May 2031; empty for none."""
    return "" if moment is None else date_words(moment.astimezone(zone))


def day_of_month(moment: datetime | None, zone: tzinfo) -> str:
    """A date with its clock time: 3 May 2031, 18:00; empty for none."""
    if moment is None:
        return ""
    here = moment.astimezone(zone)
    return say("{day} {at:%B %Y, %H:%M}", day=here.day, at=here)
