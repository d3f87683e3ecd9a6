"""Is a salt needed, which dose keeps the floor, and when: judged once, for plan and acid page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mustwright.must.acidity.claims import claims_data
from mustwright.must.acidity.course import AcidCourse, Traits
from mustwright.must.acidity.dose import (
    Schedule,
    Trial,
    after_start,
    before_yeast,
    try_dose,
    with_dose,
    with_feeds,
)
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.path import Path
from mustwright.must.acidity.salts import Allowance, Salt, all_salts, allowance, salt_called
from mustwright.nutrition.feeding_plan import Setting
from mustwright.nutrition.shelf import Shelf
from mustwright.planning.acidity.feed_acid import shelf_most

USUAL_SALT = "potassium_bicarbonate"


@dataclass(frozen=True)
class SaltAsk:
    """What a dose is judged on.

    Parameters
    ----------
    course : AcidCourse
        Without a salt.
    salt : Salt
        A base.
    floor : float
        pH to keep.
    schedules : tuple of Schedule
        Moments it may go in, the one preferred first.
    allowed : Allowance
        By law, label and stock.
    step_g_l : float
        What the scale can show, per litre of must [g/L].
    feeds_acid : bool
        Whether the feeds leave acid behind, as ammonium does.
    """

    must: MustMembers
    course: AcidCourse
    traits: Traits
    salt: Salt
    floor: float
    schedules: tuple[Schedule, ...]
    allowed: Allowance
    step_g_l: float
    feeds_acid: bool

    @property
    def gentle(self) -> tuple[Schedule, ...]:
        """Moments once the ferment has begun."""
        return tuple(one for one in self.schedules if one.id != "before_yeast")

    def tried(self, salt: Salt, schedule: Schedule, most_g_l: float) -> Trial:
        """The smallest dose of a salt at some moments that keeps the floor."""
        return try_dose(
            self.must, self.course, self.traits, salt, self.floor, schedule,
            wanted=_chance_wanted(), most_g_l=most_g_l, step_g_l=self.step_g_l,
        )  # fmt: skip


@dataclass(frozen=True)
class Judged:
    """A dose and why.

    Parameters
    ----------
    needed : bool
        Whether the floor would be broken too often without it, and a meter could tell.
    is_slight : bool
        Whether so little would do that none is advised.
    trial : Trial
        The dose at the best of its moments, within what is allowed.
    free : Trial
        What it would take if nothing but the planning maximum held it back.
    """

    needed: bool
    is_slight: bool
    trial: Trial
    free: Trial


def shelf_salt(shelf: Shelf) -> Salt:
    """The salt a maker has, or the usual one."""
    jar = next((one for one in shelf.nutrients if one.group == "buffer"), None)
    return salt_called(USUAL_SALT if jar is None else jar.class_id)


def salt_ask(
    must: MustMembers,
    course: AcidCourse,
    traits: Traits,
    salt: Salt,
    floor: float,
    feeds: Sequence[tuple[float, float]],
    setting: Setting,
) -> SaltAsk:
    """What a dose is judged on, within law, label and stock.

    Parameters
    ----------
    salt : Salt
        An acid is answered by the usual base.
    feeds : sequence of (float, float)
        Part of the sugar used and acid load [meq/L] of each.
    """
    base = salt if not salt.is_acid else all_salts()[USUAL_SALT]
    allowed = allowance(base, setting.profile.id, quantile(must.titratable_g_l(), 0.05))
    held = shelf_most(setting, base)
    if held is not None and held[0] < allowed.most_g_l:
        allowed = Allowance(held[0], allowed.statements, held[1])
    step = setting.shelf.scale_g / setting.must.volume_l.value
    acid = any(load > 0 for _, load in feeds)
    return SaltAsk(must, course, traits, base, floor, _schedules(feeds), allowed, step, acid)


def is_low(path: Path, floor: float) -> bool:
    """Whether a path breaks the floor more often than is wanted."""
    return chance(path.trough() < floor) > 1 - _chance_wanted()


def judge_salt(ask: SaltAsk, path: Path) -> Judged:
    """The smallest dose that keeps the floor with the chance wanted, at the best moments for it.

    Parameters
    ----------
    ask : SaltAsk
    path : Path
        The pH without a salt.
    """
    trial = _best_trial(ask)
    most = ask.allowed.most_g_l
    free = trial if most > 0 else ask.tried(ask.salt, ask.schedules[0], ask.salt.max_g_l)
    slight = free.wanted_g_l < float(claims_data()["least_dose_g_l"])
    low = is_low(path, ask.floor)
    return Judged(low and not slight, low and slight, trial, free)


def wished_salt(ask: SaltAsk, g_l: float) -> Judged | None:
    """A dose that is wished for its potassium; None where it would overshoot.

    Parameters
    ----------
    ask : SaltAsk
    g_l : float
        Rounded down to the scale and to what is allowed [g/L].
    """
    steps = int(min(g_l, ask.allowed.most_g_l) / ask.step_g_l + 1e-9)
    dose, schedule = steps * ask.step_g_l, ask.schedules[0]
    given = schedule.given(ask.course.sugar_used)
    path = with_dose(ask.must, ask.course, ask.traits, ask.salt, dose, given)
    used = np.broadcast_to(path.sugar_used, path.ph.shape)
    first = schedule.moments[0][0] - 1e-9
    highest = np.where(used >= first, path.ph, -np.inf).max(axis=1)
    if dose <= 0 or quantile(highest, 0.95) > float(claims_data()["comfortable_high"]):
        return None
    kept = chance(path.trough(first) >= ask.floor - 1e-3)
    dip = chance(np.where(used < first, path.ph, np.inf).min(axis=1) < ask.floor)
    trial = Trial(
        ask.salt, schedule, dose, dose, kept, dip, path, highest, np.full(ask.must.size, dose)
    )
    return Judged(True, False, trial, trial)


def _chance_wanted() -> float:
    return float(claims_data()["chance_wanted"])


def _schedules(feeds: Sequence[tuple[float, float]]) -> tuple[Schedule, ...]:
    along = with_feeds(feeds)
    found = [after_start(float(claims_data()["start_after_sugar_used"]))]
    if along is not None and len(along.moments) > 1:
        found.append(along)
    return (*found, before_yeast())


def _best_trial(ask: SaltAsk) -> Trial:
    """The first that keeps the floor without overshooting; else the one likeliest to keep it.

    Not before the yeast: a must is least sour then, so a dose overshoots there if it does later.
    """
    comfortable, trials = float(claims_data()["comfortable_high"]), []
    for schedule in ask.gentle:
        one = ask.tried(ask.salt, schedule, ask.allowed.most_g_l)
        is_kept = one.chance_kept >= _chance_wanted() - 1e-9
        if is_kept and quantile(one.highest, 0.95) <= comfortable:
            return one
        trials.append(one)
    return max(trials, key=lambda one: round(one.chance_kept, 2))
