"""Which salt keeps the pH of a batch up, how little of it will do, and what a reading saves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.batch.clock import NOW
from mustwright.batch.ph_additions import PutIn
from mustwright.batch.ph_forecast_record import ReadingWorth, SaltDose
from mustwright.batch.progress import Progress
from mustwright.must.acidity.calibrate import reading_sd
from mustwright.must.acidity.claims import claims_data
from mustwright.must.acidity.course import AcidCourse, Traits
from mustwright.must.acidity.dose import OUT_OF_REACH, Schedule, Trial, after_start, try_dose
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.path import Path
from mustwright.must.acidity.reading import worth_of_reading
from mustwright.must.acidity.salts import Salt, all_salts, allowance
from mustwright.nutrition.feeding_plan import Setting
from mustwright.planning.acidity.feed_acid import shelf_most
from mustwright.texts import join, say

Floats = NDArray[np.float64]
SALTS = ("potassium_bicarbonate", "potassium_carbonate", "calcium_carbonate")  # gentlest first
MOST_POINTS = 14  # moments ahead a dose is tried at; a trough is flat
WORKING_TO = 0.985  # of the sugar: what comes after it no longer matters to the yeast


@dataclass(frozen=True)
class Ahead:
    """Members, equally likely, from a moment on.

    Parameters
    ----------
    times_h : ndarray
        [h after pitch].
    path : Path
        Their pH, by sugar used.
    """

    times_h: Floats
    must: MustMembers
    course: AcidCourse
    traits: Traits
    path: Path

    def at_few(self) -> tuple[AcidCourse, Floats]:
        """Its course at a few moments while most runs still work, and the pH there."""
        used = np.broadcast_to(self.course.sugar_used, self.path.ph.shape)
        working = int(np.sum(np.median(used, axis=0) < WORKING_TO))
        last = max(min(working, self.times_h.size - 1), 0)
        points = np.unique(np.round(np.linspace(0, last, MOST_POINTS)).astype(np.int64))
        everyone = np.arange(self.must.size)
        return self.course.part(everyone, points), self.path.ph[:, points]


def salt_dose(
    ahead: Ahead, now: Progress, setting: Setting, things: PutIn, floor: float
) -> tuple[SaltDose | None, Floats]:
    """The smallest dose that keeps the floor with the chance wanted, and what each run needs [g/L].

    None if the floor is kept without one, or if so little would do that no meter shows it. Of the
    salts the law allows, the gentlest.
    """
    claims = claims_data()
    wanted, start = float(claims["chance_wanted"]), float(claims["start_after_sugar_used"])
    course, ph = ahead.at_few()
    if chance(ph.min(axis=1) < floor) <= 1 - wanted:
        return None, np.zeros(ahead.must.size)
    acid = quantile(ahead.must.titratable_g_l(), 0.05)
    salt, most, limit = _salt_and_most(now, setting, things, acid)
    schedule = after_start(start)
    volume = now.plan.must.volume_l

    def tried(most_g_l: float) -> Trial:
        return try_dose(
            ahead.must, course, ahead.traits, salt, floor, schedule,
            wanted=wanted, most_g_l=most_g_l, step_g_l=now.plan.scale_g / volume,
        )  # fmt: skip

    trial = tried(most)
    held = trial.wanted_g_l > most + 1e-9
    if not held and trial.wanted_g_l < float(claims["least_dose_g_l"]):
        return None, trial.each_g_l
    would = trial.wanted_g_l if held and trial.wanted_g_l < OUT_OF_REACH else None
    return (
        SaltDose(
            salt=salt.id,
            name=salt.name,
            g_l=round(trial.g_l, 4) + 0.0,  # no minus sign before a zero
            grams=round(trial.g_l * volume, 4) + 0.0,
            when=_when(ahead, schedule, start),
            chance_kept=round(trial.chance_kept, 4),
            wanted_g_l=None if would is None else round(would, 3),
            limit=limit if held else "",
            highest=round(_highest(trial), 2),
            caution=_caution(salt, now),
        ),
        trial.each_g_l,
    )


def _caution(salt: Salt, now: Progress) -> str:
    """What to mind with a salt, and that it is not at hand where the plan knows the shelf."""
    jars = now.plan.jars
    if not jars or any(jar.class_id == salt.id for jar in jars):
        return salt.caution
    return join(" ", (salt.caution, say("It is not on your shelf.")))


def _highest(trial: Trial) -> float:
    """Highest pH that 95 of 100 runs stay below once it is in; of all moments where it never is."""
    seen = trial.highest[np.isfinite(trial.highest)]
    return quantile(seen if seen.size else trial.path.ph.max(axis=1), 0.95)


def _when(ahead: Ahead, schedule: Schedule, start: float) -> str:
    used = float(np.median(np.broadcast_to(ahead.course.sugar_used, ahead.path.ph.shape)[:, 0]))
    return NOW if used >= start else schedule.words


def _salt_and_most(
    now: Progress, setting: Setting, things: PutIn, acid_g_l: float
) -> tuple[Salt, float, str]:
    """The gentlest salt that may still go in, how much of it [g/L], and what limits that."""
    known = all_salts()
    found = [(known[id], *_most(now, setting, things, known[id], acid_g_l)) for id in SALTS]
    return next((one for one in found if one[1] > 0), found[0])


def _most(
    now: Progress, setting: Setting, things: PutIn, salt: Salt, acid_g_l: float
) -> tuple[float, str]:
    """What law, label and stock leave of a salt after the base that went in [g/L]; and which."""
    allowed = allowance(salt, now.plan.profile, acid_g_l)
    gone = sum(s.g_l * s.salt.base_meq_g for s in things.salts) / salt.base_meq_g
    words = allowed.binding or say(
        "{most:g} g/L is the most that is planned of this salt", most=allowed.most_g_l
    )
    left = [(allowed.most_g_l - gone, words)]
    shelf = shelf_most(setting, salt)
    if shelf is not None:
        used = sum(s.g_l for s in things.salts if s.salt is salt)
        left.append((shelf[0] - used, shelf[1]))
    most, why = min(left)
    return max(most, 0.0), why


def worth_of(ahead: Ahead, each_g_l: Floats) -> tuple[ReadingWorth, ...]:
    """What a pH reading made now would tell, by strip and by meter."""
    ph = ahead.at_few()[1]
    trough, here = ph.min(axis=1), ph[:, 0]
    salt = all_salts()[SALTS[0]]
    found = []
    for kind, words in (
        ("strip", say("pH now with a paper strip")),
        ("meter", say("pH now with a meter")),
    ):
        worth = worth_of_reading(
            words, here, reading_sd(kind), each_g_l, trough, most_g_l=salt.max_g_l
        )
        found.append(
            ReadingWorth(
                worth.name, round(worth.width, 2), round(worth.width_after, 2),
                round(worth.saved_g_l, 3),
            )
        )  # fmt: skip
    return tuple(found)
