"""Where does the pH of this batch go: acid members along its kinetic runs, bent to its readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from mustwright.batch.kinetic_inputs import KineticCase
from mustwright.batch.log import Standing
from mustwright.batch.ph_additions import PutIn, after, before, in_by, put_in
from mustwright.batch.ph_dose import Ahead, salt_dose, worth_of
from mustwright.batch.ph_forecast_record import PhForeseen, PhSeen
from mustwright.batch.progress import Progress
from mustwright.batch.quantiles import Along, Quantiles
from mustwright.kinetics import inputs as model
from mustwright.kinetics.bands import PROBABILITIES
from mustwright.kinetics.counterfactual import odds_by_acid
from mustwright.kinetics.forecast import Drawn
from mustwright.must.acidity.balance import base_to_ph
from mustwright.must.acidity.claims import lowest_shown, ph_floor
from mustwright.must.acidity.course import AcidCourse, CourseAddition, Traits
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.medium import solvent_kg_l
from mustwright.must.acidity.members import MustMembers, pick
from mustwright.must.acidity.path import NEAR_LOWEST, STRUCTURAL_FROM, Path, pick_traits, state_at
from mustwright.must.acidity.potassium import (
    published_ratio,
    ratio_to_hydrogen,
)
from mustwright.planning.acidity.ph_course import (
    FEW,
    START_H,
    Bent,
    bent,
    must_and_course,
    path_by_time,
    ph_times,
    rows_of,
)
from mustwright.planning.acidity.ph_course_json import quantile_lines
from mustwright.planning.acidity.prior import AcidMust, acid_must
from mustwright.planning.must_setup import Ground, ground_of
from mustwright.texts import say

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
MOST_READINGS = 24
INDEPENDENT = 3.0  # readings that count in full; with more, errors grow with their root (assumed)
START = -1.0  # before anything else [h]
UNTOLD_MEQ_L = 5.0  # spread of a dose nobody wrote down, before pH is read again (assumed)
RECIPE_NOTE = say("A band from the recipe alone: a pH reading says more than all of it.")
FEW_NOTE = say("Few runs meet the pH readings, so they were taken as less sharp.")


@dataclass(frozen=True)
class PhCase:
    """A batch as the acid model wants it.

    Parameters
    ----------
    start_ph : float or None
        Read before the yeast, or in its first hour.
    readings : tuple of kinetics.inputs.Reading
        Later ones; their hours are those of `times_h`.
    seen : tuple of kinetics.inputs.Reading
        All of them as they were read, that of the start too.
    latest : tuple of (float, float) or None
        Hours after pitch and pH of the latest reading of all.
    put_in : PutIn
    now_h : float
        The half hour that counts as now: all that went in is in, no feed still ahead [h].
    times_h : ndarray
        Half hours at which the path is worked out [h].
    """

    ground: Ground
    start_ph: float | None
    readings: tuple[model.MustReading, ...]
    seen: tuple[model.MustReading, ...]
    latest: tuple[float, float] | None
    put_in: PutIn
    now_h: float
    times_h: Floats


def ph_case(case: KineticCase, now: Progress, stands: Sequence[Standing]) -> PhCase | None:
    """A batch as the acid model wants it; None where its must's sheet cannot be read.

    Parameters
    ----------
    stands : sequence of Standing
        Its log; what does not count, or lies ahead, is ignored.
    """
    if case.ground is None or now.pitched is None:
        return None
    things = put_in(now, stands)
    latest = (case.acid[-1].t_h, case.acid[-1].ph or 0.0) if case.acid else None
    seen = read = _thinned(case.acid)
    start = case.ground.sheet.measured.ph
    first_dose = min(things.moments_h, default=np.inf)
    if start is None and read and read[0].t_h <= min(START_H, first_dose):
        start = read[0].ph
        read = read[1:]
    end = case.conditions.horizon_h
    placed = [_placed(one, things, end) for one in _run_along(read)]
    now_h = min(max([before(case.from_h), *(after(m) for m in things.moments_h)]), end)
    asked = [
        ph_times(end),
        [r.t_h for r in placed],
        [h for m in things.moments_h for h in (before(m), after(m))],
        [now_h, end],
    ]
    times = np.unique(np.concatenate([np.asarray(a, float) for a in asked]))
    return PhCase(
        case.ground,
        start,
        tuple(placed),
        tuple(seen),
        latest,
        things,
        now_h,
        times[times <= end],
    )


def _thinned(readings: Sequence[model.MustReading]) -> list[model.MustReading]:
    """The readings; if there are many (a probe's), the middle one of each of some even spans."""
    if len(readings) <= MOST_READINGS:
        return list(readings)
    first, last = readings[0].t_h, readings[-1].t_h
    span = max((last - first) / (MOST_READINGS - 1), 1e-9)
    groups: dict[int, list[model.MustReading]] = {}
    for one in readings:
        groups.setdefault(int((last - one.t_h) / span), []).append(one)
    middle = (sorted(g, key=lambda r: r.ph or 0.0)[len(g) // 2] for g in groups.values())
    return sorted(middle, key=lambda r: r.t_h)


def _run_along(readings: Sequence[model.MustReading]) -> list[model.MustReading]:
    """Errors of one meter are shared: many readings together say no more than a few of them."""
    wider = max(len(readings) / INDEPENDENT, 1.0) ** 0.5
    return [replace(one, sd_ph=min((one.sd_ph or 0.0) * wider, 1.0)) for one in readings]


def _placed(reading: model.MustReading, things: PutIn, end: float) -> model.MustReading:
    """A reading at its half hour, but never before a dose that it came after, nor past the end."""
    doses = [after(m) for m in things.moments_h if m <= reading.t_h]
    return replace(reading, t_h=min(max([before(reading.t_h), *doses]), end))


@lru_cache(maxsize=64)
def _acid(
    sheet: str, members: int, seed: int, ph: float | None, is_read_later: bool
) -> AcidMust | None:
    ground = ground_of(sheet, "must")
    return acid_must(ground, members, seed, ph, is_read_later=is_read_later)


def foresee_ph(
    asked: PhCase,
    case: KineticCase,
    drawn: Drawn,
    feeds: Sequence[model.NitrogenPulse],
    now: Progress,
) -> PhForeseen | None:
    """The pH of a batch along runs that fit its gravities.

    Parameters
    ----------
    drawn : Drawn
        Has kept `asked.times_h`.
    feeds : sequence of Feed
        As they were run: those of the case, and any that bring nothing.

    Returns
    -------
    PhForeseen or None
        None where neither the ingredients nor any pH are known.
    """
    count, seed = rows_of(drawn.run.members.count).size, drawn.seed
    acid = _acid(now.plan.sheet, count, seed, asked.start_ph, bool(asked.readings))
    if acid is None:
        return None
    nothing = [CourseAddition("", np.ones(1))] * (len(feeds) - len(asked.put_in.feeds))
    additions = [*asked.put_in.feeds, *nothing]
    must, course = must_and_course(acid, drawn.run, feeds, additions, asked.times_h)
    course = _not_yet_fed(course, len(case.given), asked)
    course, spent = _salted(asked, acid, must, course, seed)
    path = path_by_time(must, course, acid.traits, asked.times_h)
    weighed = [k for k in range(len(asked.readings)) if k not in spent]
    seen = bent(path, [asked.readings[k] for k in weighed], seed)
    odd = frozenset(weighed[k] for k in seen.odd_at)
    members = _Members(asked.times_h, must, course, acid.traits, path.ph, seen.rows)
    odds = odds_by_acid(drawn)
    return _summed(asked, case, now, acid, members, seen, odd, len(spent), odds)


def _not_yet_fed(course: AcidCourse, given: int, asked: PhCase) -> AcidCourse:
    """The course with feeds still ahead kept out of what counts as now."""
    later = np.where(asked.times_h > asked.now_h + 1e-9, 1.0, 0.0)
    additions = tuple(
        one if k < given else replace(one, given=one.given * later)
        for k, one in enumerate(course.additions)
    )
    return replace(course, additions=additions)


def _salted(
    asked: PhCase, acid: AcidMust, must: MustMembers, course: AcidCourse, seed: int
) -> tuple[AcidCourse, frozenset[int]]:
    """The course with salts and unknown doses in it, and the readings these were taken from."""
    things, times = asked.put_in, asked.times_h
    untold = things.untold_h
    if acid.is_stand_in and acid.ph is None:
        untold = (START, *untold)  # its strong ions are anybody's guess: the first reading decides
    course = replace(
        course, additions=(*course.additions, *(s.addition(times) for s in things.salts))
    )
    spent = set()
    for k, hours in enumerate(untold):
        rng = np.random.default_rng(seed + 15487469 + k)
        z = rng.standard_normal(must.size)
        until = min((m for m in things.untold_h if m > hours), default=np.inf)
        place = _next_reading(asked, hours, until)
        if place is None:
            base = UNTOLD_MEQ_L * z
        else:
            spent.add(place)
            base = _base_for(asked.readings[place], z, must, course, acid.traits, times)
        dose = CourseAddition("pH adjusted", in_by(times, hours), base_meq_l=base)
        course = replace(course, additions=(*course.additions, dose))
    return course, frozenset(spent)


def _next_reading(asked: PhCase, hours: float, until: float) -> int | None:
    """The first reading after an unknown dose, before the next one."""
    last = np.inf if np.isinf(until) else after(until)
    found = [k for k, r in enumerate(asked.readings) if after(hours) <= r.t_h < last]
    return found[0] if found else None


def _base_for(
    reading: model.MustReading, z: Floats, must: MustMembers, course: AcidCourse, traits: Traits,
    times: Floats,
) -> Floats:  # fmt: skip
    """Strong base that each member lacks to show a reading, its error drawn [meq/L]."""
    at = np.array([np.searchsorted(times, (reading.t_h or 0.0) - 1e-9)])
    everyone = np.arange(must.size)
    here = course.part(everyone, at)
    rows = state_at(must, course, traits, at)
    used = np.broadcast_to(here.sugar_used, (must.size, 1))[:, 0]
    sugar = np.broadcast_to(here.sugar_g_l, (must.size, 1))[:, 0]
    doubt = traits.structural_ph * np.clip(used / STRUCTURAL_FROM, 0.0, 1.0)
    target = np.clip((reading.ph or 0.0) + (reading.sd_ph or 0.0) * z - doubt, 1.0, 9.0)
    return 1000 * base_to_ph(rows, target) * solvent_kg_l(sugar, rows.ethanol_pct_vol)


# Summing up -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Members:
    """Members with their path, and which of them count after the readings, repeated by weight."""

    times_h: Floats
    must: MustMembers
    course: AcidCourse
    traits: Traits
    ph: Floats
    rows: Rows

    def ahead(self, from_h: float) -> Ahead:
        """Those that count, from a moment on."""
        points = np.flatnonzero(self.times_h >= from_h - 1e-9)
        part = self.course.part(self.rows, points)
        ph = self.ph[np.ix_(self.rows, points)]
        return Ahead(
            self.times_h[points],
            pick(self.must, self.rows),
            part,
            pick_traits(self.traits, self.rows),
            Path(np.asarray(part.sugar_used), ph),
        )

    @property
    def potassium_mg_l(self) -> Floats:
        """Of must, feeds and salts together."""
        total = self.must.potassium_mg_l[self.rows]
        for one in self.course.additions:
            amount = np.asarray(one.potassium_mg_l, dtype=float)
            total = total + (amount if amount.ndim == 0 else amount[self.rows])
        return np.asarray(total)


def _summed(
    asked: PhCase, case: KineticCase, now: Progress, acid: AcidMust, members: _Members, seen: Bent,
    odd: frozenset[int], spent: int, odds: float,
) -> PhForeseen:  # fmt: skip
    floor, lowest = ph_floor(), lowest_shown()
    ahead = members.ahead(asked.now_h)
    past = members.times_h <= asked.now_h + 1e-9
    so_far = members.ph[np.ix_(members.rows, np.flatnonzero(past))].min(axis=1)
    here, trough = ahead.path.ph[:, 0], ahead.path.ph.min(axis=1)
    near = (ahead.path.ph <= trough[:, None] + NEAR_LOWEST).argmax(axis=1)
    potassium = members.potassium_mg_l + _rehydration_potassium(case.ground)
    whole = np.minimum(so_far, trough)
    is_read = acid.ph is not None or seen.used + spent > 0
    ratio = ratio_to_hydrogen(potassium, np.maximum(whole, lowest))
    dose, each = salt_dose(ahead, now, asked.ground.setting, asked.put_in, floor)
    return PhForeseen(
        times_h=tuple(float(t) for t in members.times_h),
        ph=_along(members.ph[members.rows], lowest),
        read_h=None if asked.latest is None else round(asked.latest[0], 3),
        read_ph=None if asked.latest is None else asked.latest[1],
        start_measured=acid.ph is not None,
        readings=seen.used + spent,
        now=_shown(here, lowest),
        lowest_so_far=_shown(so_far, lowest),
        lowest_ahead=_shown(trough, lowest),
        lowest_ahead_h=_five(ahead.times_h[near], 1),
        floor=floor,
        chance_low_now=round(chance(here < floor), 4),
        chance_low_ahead=round(chance(trough < floor), 4),
        chance_stall_ahead=round(chance(trough < lowest), 4),
        potassium_short=round(chance(ratio < published_ratio()), 4),
        odds_factor=Quantiles(*[round(odds, 3)] * len(PROBABILITIES)),
        effective=None if seen.effective is None else round(seen.effective, 1),
        odd=seen.odd,
        seen=_seen(asked, odd),
        dose=dose if is_read else None,
        worth=worth_of(ahead, each),
        notes=_notes(asked, acid, seen, is_read),
    )


def _seen(asked: PhCase, odd: frozenset[int]) -> tuple[PhSeen, ...]:
    before_them = len(asked.seen) - len(asked.readings)
    return tuple(
        PhSeen(round(r.t_h, 2), r.ph or 0.0, r.sd_ph or 0.0, k - before_them in odd)
        for k, r in enumerate(asked.seen)
    )


def _notes(asked: PhCase, acid: AcidMust, seen: Bent, is_read: bool) -> tuple[str, ...]:
    notes = [] if is_read else [RECIPE_NOTE]
    if seen.effective is not None and seen.effective <= FEW * 1.01:
        notes.append(FEW_NOTE)
    return (*notes, *asked.put_in.notes, *acid.notes)


def _rehydration_potassium(ground: Ground | None) -> float:
    """What the rehydration nutrient brings [mg/L]."""
    if ground is None or (jar := ground.setting.shelf.for_rehydration) is None:
        return 0.0
    setting = ground.setting
    grams_l = setting.pitch.rehydration_nutrient_g.value / setting.must.volume_l.value
    return grams_l * jar.per_gram("potassium")


def _along(ph: Floats, lowest: float) -> Along:
    rows = (np.maximum(line, lowest) for line in quantile_lines(ph))
    return Along(*(tuple(round(float(v), 2) for v in row) for row in rows))


def _shown(values: Floats, lowest: float) -> Quantiles:
    return _five(np.maximum(values, lowest), 2)


def _five(values: Floats, digits: int) -> Quantiles:
    return Quantiles(*(round(quantile(values, p), digits) for p in PROBABILITIES))
