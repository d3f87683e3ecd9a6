"""What did and will go into a batch that bears on its acid: feeds, salts, doses nobody weighed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.batch.entries import ADDS_SUGAR, Event, FeedGiven
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing, is_event
from mustwright.batch.plan import BatchPlan
from mustwright.batch.planned_salt import PlannedPart
from mustwright.batch.progress import Progress, salt_ahead
from mustwright.errors import UnknownKindError
from mustwright.must.acidity.course import CourseAddition, nutrient_addition
from mustwright.must.acidity.salts import Salt, salt_called
from mustwright.planning.acidity.ph_course import START_H
from mustwright.texts import say

Floats = NDArray[np.float64]
ADJUSTED = "ph_adjusted"
SAME_DOSE_H = 2.0  # an adjustment of no amount this close to a salt is that dose (assumed)
STEP_H = 0.5  # moments are resolved to half hours
UNTOLD_NOTE = say(
    "pH was adjusted by an amount that was not written down: what it did is "
    "taken from the next pH reading."
)
FRUIT_NOTE = say(
    "Acid and potassium of what went in on the way (honey, fruit, water) are not counted."
)


@dataclass(frozen=True)
class Salted:
    """A salt or acid that went in.

    Parameters
    ----------
    hours : float
        After pitch [h].
    g_l : float
        [g/L].
    """

    hours: float
    salt: Salt
    g_l: float

    def addition(self, times_h: Floats) -> CourseAddition:
        """The dose as something put into the must, in from the half hour after."""
        return self.salt.addition(self.g_l, in_by(times_h, self.hours))


@dataclass(frozen=True)
class PutIn:
    """All that bears on the acid of a batch.

    Parameters
    ----------
    feeds : tuple of CourseAddition
        As `Case.feeds` has them: given, then still ahead.
    salts : tuple of Salted
    untold_h : tuple of float
        When pH was adjusted by an unknown amount [h].
    notes : tuple of str
    """

    feeds: tuple[CourseAddition, ...]
    salts: tuple[Salted, ...]
    untold_h: tuple[float, ...]
    notes: tuple[str, ...]

    @property
    def moments_h(self) -> tuple[float, ...]:
        """When a salt or an unknown dose went in [h]."""
        return tuple(sorted({*(s.hours for s in self.salts), *self.untold_h}))


def in_by(times_h: Floats, hours: float) -> Floats:
    """1 from the half hour after a moment on, 0 before."""
    return np.where(times_h >= after(hours) - 1e-9, 1.0, 0.0)


def before(hours: float) -> float:
    """The half hour a moment lies in, from its start [h]."""
    return float(np.floor(hours / STEP_H) * STEP_H)


def after(hours: float) -> float:
    """The half hour that follows a moment [h]."""
    return before(hours) + STEP_H


def put_in(now: Progress, stands: Sequence[Standing]) -> PutIn:
    """What went in by the log, and the feeds of the plan that are still ahead.

    Parameters
    ----------
    stands : sequence of Standing
        The log; what does not count, or lies ahead, is ignored.
    """
    live = [s for s in stands if not s.removed and s.at <= now.now]
    given = [s for s in live if isinstance(s.what, FeedGiven) and s.what.items]
    feeds = [_feed(now.plan, _grams(s.what.items), "given") for s in given]
    ahead = [s.feed for s in now.feeds if s.state == "ahead"]
    feeds += [_feed(now.plan, _grams(f.doses), f.name) for f in ahead]
    feeds += [addition for _, addition in salts_to_come(now)]
    salts = tuple(salt for s in live for salt in _salts(now, s))
    untold = tuple(
        _hours(now, s)
        for s in live
        if is_event(s, ADJUSTED) and isinstance(s.what, Event) and not _told(now, s, salts)
    )
    notes = [UNTOLD_NOTE] if untold else []
    if any(is_event(s, *ADDS_SUGAR) for s in live):
        notes.append(FRUIT_NOTE)
    return PutIn(tuple(feeds), salts, untold, tuple(notes))


def _salt_counted_on(now: Progress) -> tuple[PlannedPart, ...]:
    """Parts of the plan's salt that a forecast counts on: none once readings of pH decide."""
    if now.ph_at is None or now.pitched is None:
        return salt_ahead(now)
    is_start = (now.ph_at - now.pitched).total_seconds() / 3600 <= START_H
    return salt_ahead(now) if is_start else ()


def salts_to_come(now: Progress) -> list[tuple[PlannedPart, CourseAddition]]:
    """The plan's salt that is still to come: each part, and what it brings to a litre."""
    salt, volume = now.plan.salt, now.plan.must.volume_l
    if salt is None:
        return []
    known = salt_called(salt.salt)
    return [(part, known.addition(part.grams / volume, [1.0])) for part in _salt_counted_on(now)]


def _told(now: Progress, stand: Standing, salts: Sequence[Salted]) -> bool:
    at = _hours(now, stand)
    return any(abs(one.hours - at) <= SAME_DOSE_H for one in salts)


def _hours(now: Progress, stand: Standing) -> float:
    assert now.pitched is not None
    return max((stand.at - now.pitched).total_seconds() / 3600, 0.0)


def _grams(items: Sequence[object]) -> dict[str, float]:
    found: dict[str, float] = {}
    for item in items:
        nutrient = str(getattr(item, "nutrient", ""))
        found[nutrient] = found.get(nutrient, 0.0) + float(getattr(item, "grams", 0.0))
    return found


def _feed(plan: BatchPlan, grams: dict[str, float], name: str) -> CourseAddition:
    """A feed by its nitrogen and the salts its ammonium came as; carbonate counts among salts."""
    brought = dict.fromkeys(("ammonium_n", "amino_n", "potassium"), 0.0)
    salts = dict.fromkeys(("ammonium_phosphate", "ammonium_sulfate"), 0.0)
    for nutrient, weight in grams.items():
        jar = plan.jar(nutrient)
        if jar is None:
            continue
        g_l = weight / plan.must.volume_l
        for what in brought:
            brought[what] += g_l * jar.mg_g.get(what, 0.0)
        for what in salts:
            salts[what] += g_l * jar.contains.get(what, 0.0)
        if salt_of(plan, nutrient) is not None:
            brought["potassium"] -= g_l * jar.mg_g.get("potassium", 0.0)
    return nutrient_addition(
        name,
        [1.0],
        ammonium_mg_l=min(brought["ammonium_n"], 1000.0),
        amino_mg_l=min(brought["amino_n"], 1000.0),
        ammonium_phosphate_g_l=salts["ammonium_phosphate"],
        ammonium_sulfate_g_l=salts["ammonium_sulfate"],
        potassium_mg_l=max(brought["potassium"], 0.0),
    )


def salt_of(plan: BatchPlan, nutrient: str) -> Salt | None:
    """The salt a jar or a kind of nutrient is; None for one that moves pH by its nitrogen alone."""
    jar = plan.jar(nutrient)
    try:
        return salt_called(nutrient if jar is None else jar.class_id)
    except UnknownKindError:
        return None


def _salts(now: Progress, stand: Standing) -> list[Salted]:
    what, volume = stand.what, now.plan.must.volume_l
    if isinstance(what, FeedGiven):
        found = [(salt_of(now.plan, id), grams) for id, grams in _grams(what.items).items()]
    elif isinstance(what, StepDone) and what.step == "acid":
        volume = what.volume_before_l or volume
        found = [(_salt(one.substance), one.grams) for one in what.added]
    else:
        return []
    at = _hours(now, stand)
    return [Salted(at, salt, g / volume) for salt, g in found if salt is not None and g > 0]


def _salt(substance: str) -> Salt | None:
    try:
        return salt_called(substance)
    except UnknownKindError:
        return None
