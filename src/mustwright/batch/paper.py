"""What is on the sheet beside the fermenter: plan, next step, cautions, rows to fill in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, tzinfo

from mustwright import data
from mustwright.batch.clock import clock
from mustwright.batch.corrected_readings import must_course
from mustwright.batch.feed_triggers import trigger_gravity
from mustwright.batch.log_text import doses_words
from mustwright.batch.view import BatchView
from mustwright.nutrition.limits import legal_profiles
from mustwright.nutrition.triggers import THIRD
from mustwright.unit_system import degrees, temperature_unit, volume

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
    must = state.plan.must
    course = must_course(must)
    facts = (
        ("Volume", volume(must.volume_l, view.progress.plan.sheet)),
        ("Gravity at pitch", f"{must.gravity:.3f} ({must.brix:.1f} Brix)"),
        ("Dry reads about", f"{must.dry_gravity:.3f}"),
        ("Alcohol when dry", f"up to {must.potential_alcohol_pct:.1f} % vol"),
        ("Yeast", f"{state.plan.yeast.grams:.1f} g, {state.plan.yeast.name.lower()}"),
        ("Must temperature", degrees(must.temperature_c, state.plan.sheet, 0)),
        ("Pitched", _day(state.pitched, zone)),
        ("Law", legal_profiles()[state.plan.profile].name),
    )
    breaks = tuple(
        (f"{used:.0%} of the sugar gone", f"{float(course.gravity_at(used)):.3f}")
        for used in (0.1, 0.2, THIRD, 0.5, 0.75, 1.0)
    )
    cautions = data.load("cautions")
    return Paper(
        view.record.name,
        state.plan.protocol_name,
        _day(state.now, zone),
        facts,
        view.step.sentence,
        tuple(_feeds(view, zone)),
        breaks,
        tuple(str(cautions[name]["text"]) for name in CAUTIONS),
        _columns(temperature_unit(state.plan.sheet)),
        BLANK_ROWS,
    )


def _columns(unit: str) -> tuple[str, ...]:
    """What to write into the empty rows; temperatures in the maker's own unit."""
    where = (f"instrument, °{unit}", f"must °{unit}")
    return ("date, time", "gravity", *where, "pH", "what was done", "by")


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
                one.feed.name,
                doses_words(one.feed.doses),
                without_gravity(one.feed.words),
                "" if gravity is None else f"{gravity:.3f}",
                "" if expected is None else clock(expected, state.now, zone),
                one.state,
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
    return re.sub(r" \(gravity about [\d.]+\)", "", words)


def _day(moment: datetime | None, zone: tzinfo) -> str:
    if moment is None:
        return ""
    here = moment.astimezone(zone)
    return f"{here.day} {here:%B %Y, %H:%M}"
