"""The pH of a forecast: acid members carried along the kinetic members, as bands and risks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.ensemble_setting import FOLLOWED_IN_PH
from mustwright.kinetics.feeds import NitrogenPulse
from mustwright.kinetics.inputs import MustReading
from mustwright.kinetics.simulate import Run
from mustwright.must.acidity.calibrate import reading_sd
from mustwright.must.acidity.claims import ph_floor
from mustwright.must.acidity.course import AcidCourse, CourseAddition, Traits
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.path import NEAR_LOWEST, Path, ph_along
from mustwright.must.acidity.reading import effective_members, reading_weights
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.planning.acidity.coupling import course_from, trajectory, with_nitrogen
from mustwright.planning.acidity.feed_acid import additions_of, salt_additions
from mustwright.planning.acidity.prior import AcidMust
from mustwright.planning.must_setup import Ground
from mustwright.texts import literal, say

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
EVERY = 4
MODEL = say("kinetic model, and the charge balance of docs/acidity.md along its runs")
START_H = 1.0  # a pH read this early counts as that of the must before yeast
FEW = 40.0  # equal members that must be left, else readings are taken as less sharp


@dataclass(frozen=True)
class PhForecast:
    """pH along a forecast, by equally likely members.

    Parameters
    ----------
    times_h : ndarray
        [h].
    ph : ndarray
        Members by times, not cut off.
    trough, trough_h : ndarray
        Lowest pH by member, and when it first comes within 0.05 of it [h].
    potassium_mg_l : ndarray
        Of must, rehydration nutrient and feeds together, by member.
    effective : float or None
        Members the pH readings left, in equal ones; None without readings.
    odd : tuple of str
        Readings that were left out, and why.
    interpolation_error : float
        Largest seen among values between those solved [pH].
    """

    times_h: Floats
    ph: Floats
    trough: Floats
    trough_h: Floats
    potassium_mg_l: Floats
    floor: float
    measured_ph: float | None
    effective: float | None
    used_readings: int
    odd: tuple[str, ...]
    notes: tuple[str, ...]
    interpolation_error: float

    @property
    def chance_below_floor(self) -> float:
        """Share whose lowest pH is under the floor."""
        return chance(self.trough < self.floor)


def ph_times(horizon_h: float) -> Floats:
    """Times of a path of pH: six hours apart for six days, wider after [h]."""
    end = np.floor(horizon_h)
    parts = (np.arange(0, 144, 6), np.arange(144, 240, 12), np.arange(240, end, 48), [end])
    times = np.unique(np.concatenate(parts).astype(float))
    return np.asarray(times[times <= end])


def rows_of(members: int) -> Rows:
    """Which of a run's members are followed: all, or some evenly taken, in their order."""
    if members <= FOLLOWED_IN_PH:
        return np.arange(members)
    return np.asarray(np.round(np.linspace(0, members - 1, FOLLOWED_IN_PH)), dtype=np.int64)


def measured_start(
    ground: Ground, readings: Sequence[MustReading]
) -> tuple[float | None, list[MustReading]]:
    """pH before yeast, by the sheet or a reading in the first hour; and the later readings."""
    later = [r for r in readings if r.ph is not None]
    if ground.sheet.measured.ph is None and later and later[0].t_h <= START_H:
        return later[0].ph, later[1:]
    return ground.sheet.measured.ph, later


def follow(
    ground: Ground,
    plan: FeedingPlan | None,
    feeds: Sequence[NitrogenPulse],
    run: Run,
    acid: AcidMust,
    seed: int,
    readings: Sequence[MustReading] = (),
    floor: float | None = None,
) -> PhForecast:
    """The pH of a run.

    Parameters
    ----------
    run : Run
        Has kept `ph_times`; as many acid members as `rows_of` follows of it.
    readings : sequence of MustReading
        Those with a pH weigh the members.
    floor : float or None
        pH to keep; that of the acids' record unless given.
    """
    salts = salt_additions(plan, ground.setting.must.volume_l.value)
    additions = [*(a for _, a in additions_of(ground.setting, plan)), *salts]
    times = ph_times(float(run.times_h[-1]))
    must, course = must_and_course(acid, run, feeds, additions, times)
    path = path_by_time(must, course, acid.traits, times)
    seen = bent(path, readings, seed)
    ph = path.ph[seen.rows]
    trough = ph.min(axis=1)
    near = (ph <= trough[:, None] + NEAR_LOWEST).argmax(axis=1)
    of_salt = sum(float(np.mean(one.potassium_mg_l)) for one in salts)
    potassium = must.potassium_mg_l[seen.rows] + _fed_potassium(plan) + of_salt
    return PhForecast(
        times,
        ph,
        trough,
        times[near],
        potassium,
        ph_floor() if floor is None else floor,
        acid.ph,
        seen.effective,
        seen.used,
        seen.odd,
        acid.notes,
        path.interpolation_error,
    )


def must_and_course(
    acid: AcidMust,
    run: Run,
    feeds: Sequence[NitrogenPulse],
    additions: Sequence[CourseAddition],
    times_h: Floats,
) -> tuple[MustMembers, AcidCourse]:
    """Acid members with the nitrogen of their kinetic twins, and what these did by some times.

    Parameters
    ----------
    run : Run
        Has kept `times_h`; as many acid members as `rows_of` follows of it.
    feeds, additions : sequences
        The same feeds, as the run knew them and as what they bring.
    """
    done = trajectory(run, rows_of(run.members.count), times_h)
    must = with_nitrogen(acid.must, done.ammonium_start_mg_l, done.amino_start_mg_l)
    return must, course_from(done, feeds, additions, must.sugar_g_l)


def path_by_time(must: MustMembers, course: AcidCourse, traits: Traits, times_h: Floats) -> Path:
    """pH along a course, by time and not by sugar used."""
    path = ph_along(must, course, traits, every=EVERY)
    return Path(times_h, path.ph, path.interpolation_error)


def _fed_potassium(plan: FeedingPlan | None) -> float:
    if plan is None:
        return 0.0
    row = next(r for r in plan.balance if r.nutrient == "potassium")
    return row.plan_mg_l.value + row.rehydration_mg_l.value


@dataclass(frozen=True)
class Bent:
    """Members after pH readings.

    Parameters
    ----------
    rows : ndarray
        Which of the members, some more than once, so that all are equally likely.
    effective : float or None
        How many equal ones they are worth; None without readings.
    used : int
        Readings that were used.
    odd : tuple of str
        Readings that were left out, and why.
    odd_at : tuple of int
        Their places among the readings.
    """

    rows: Rows
    effective: float | None
    used: int
    odd: tuple[str, ...]
    odd_at: tuple[int, ...] = ()


def bent(path: Path, readings: Sequence[MustReading], seed: int) -> Bent:
    """Members of a path by time, weighed by pH readings."""
    everyone = np.arange(path.ph.shape[0])
    meter = reading_sd("meter")
    asked: list[tuple[float, float, float]] = []
    odd: dict[int, str] = {}
    for place, reading in enumerate(readings):
        if reading.ph is None:
            continue
        sd = reading.sd_ph or meter
        words = _odd(path, reading.t_h, reading.ph, sd)
        if words:
            odd[place] = words
        else:
            asked.append((reading.t_h, reading.ph, sd))
    left_out = (tuple(odd.values()), tuple(odd))
    if not asked:
        return Bent(everyone, None, 0, *left_out)
    weights = reading_weights(path, asked)
    while effective_members(weights) < FEW and min(sd for _, _, sd in asked) < 1.0:
        asked = [(t, ph, 1.25 * s) for t, ph, s in asked]
        weights = reading_weights(path, asked)
    effective = effective_members(weights)
    rng = np.random.default_rng(seed + 49979687)
    places = (rng.uniform() + everyone) / everyone.size
    drawn = np.minimum(np.searchsorted(np.cumsum(weights), places), everyone.size - 1)
    return Bent(np.asarray(drawn, dtype=np.int64), effective, len(asked), *left_out)


def _odd(path: Path, t_h: float, ph: float, sd: float) -> str:
    here = path.at(t_h)
    low, high = quantile(here, 0.005) - 3 * sd, quantile(here, 0.995) + 3 * sd
    if low <= ph <= high:
        return ""
    words = (
        literal(
            "The pH of {ph:g} at {hours:g} h is below all that the runs show ({low:.1f} to "
            "{high:.1f}); it is left out. Check the meter in fresh buffer, and whether an acid or "
            "a salt went in that the sheet does not know."
        )
        if ph < low
        else literal(
            "The pH of {ph:g} at {hours:g} h is above all that the runs show ({low:.1f} to "
            "{high:.1f}); it is left out. Check the meter in fresh buffer, and whether an acid or "
            "a salt went in that the sheet does not know."
        )
    )
    return words.format(ph=ph, hours=t_h, low=max(low, 0.0), high=high)
