"""What does the model need to know about a running batch: must, feeds, temperature, readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mustwright.batch.corrected_readings import Point
from mustwright.batch.early_readings import counts_from_h
from mustwright.batch.entries import Event, Reading
from mustwright.batch.log import Standing
from mustwright.batch.ph_additions import salts_to_come
from mustwright.batch.plan import BatchPlan, PlannedFeed
from mustwright.batch.progress import Progress
from mustwright.errors import InputError
from mustwright.kinetics import inputs as model
from mustwright.kinetics.counterfactual import Right
from mustwright.must.acidity.calibrate import reading_sd
from mustwright.must.gravity import brix_from_gravity, sugar_g_l_from_brix
from mustwright.nutrition.last_moment import too_late_below
from mustwright.planning.acidity.ph_course import START_H
from mustwright.planning.kinetic_inputs import (
    MODEL_RANGE,
    conditions_of,
    dissolved_times,
    must_at_pitch,
    pulse,
    trigger_of,
    within_model,
)
from mustwright.planning.must_setup import Ground, ground_of
from mustwright.planning.plan_forecast import doubts
from mustwright.texts import say

HORIZON_H, LOOK_ON_H, LONGEST_H = 1008.0, 336.0, 4000.0
MOST_POINTS = 40  # readings the model bends to; more of them within a span are taken together
FEW_POINTS = 12  # this many are taken one by one, however close they lie
UNKNOWN_N_MG_L = (10.0, 80.0)  # nitrogen of a must that nobody calculated or measured (assumed)
LEAST_SPAN_H = 2.0
MOVE_H = 12.0  # until a moved vessel has reached its new temperature (assumed)
SUGAR_NOTE = say(
    "Honey, fruit or water that went in on the way is counted as if there from the start."
)
NITROGEN_NOTE = say(
    "The must's own nitrogen is not known: {low:g} to {high:g} mg N/L was assumed.",
    low=UNKNOWN_N_MG_L[0],
    high=UNKNOWN_N_MG_L[1],
)
FACTS_NOTE = say("The must's sheet cannot be read any more: its plain figures were used.")


@dataclass(frozen=True)
class KineticCase:
    """A batch as the model wants it.

    Parameters
    ----------
    readings : tuple of Reading
        In order of time, several close together taken as one.
    entries : tuple of str
        The entry that stands for each reading.
    given, open : tuple of Feed
        Fed already at their hours, and still ahead with their triggers.
    open_keys : tuple of str
        Keys of the feeds still ahead.
    ground : Ground or None
        The must of the plan's sheet, where that can be read.
    acid : tuple of Reading
        Those of pH, in the order of time.
    """

    must: model.MustAtPitch
    conditions: model.Conditions
    readings: tuple[model.MustReading, ...]
    entries: tuple[str, ...]
    given: tuple[model.NitrogenPulse, ...]
    open: tuple[model.NitrogenPulse, ...]
    open_keys: tuple[str, ...]
    right: Right
    from_h: float
    notes: tuple[str, ...]
    ground: Ground | None = None
    acid: tuple[model.MustReading, ...] = ()

    @property
    def feeds(self) -> tuple[model.NitrogenPulse, ...]:
        """All of them, those given first."""
        return (*self.given, *self.open)


def case_of(now: Progress, stands: Sequence[Standing]) -> KineticCase:
    """A batch as the model wants it.

    Parameters
    ----------
    now : Progress
    stands : sequence of Standing
        Its log; what does not count is ignored.

    Raises
    ------
    InputError, ImpossibleError
        Where the must cannot be forecast.
    """
    plan = now.plan
    ground = _ground(plan.sheet)
    notes: list[str] = [] if ground else [FACTS_NOTE]
    if now.original_gravity != plan.must.gravity:
        notes.append(SUGAR_NOTE)
    if not _nitrogen_known(now, ground):
        notes.append(NITROGEN_NOTE)
    notes += doubts(ground) if ground else []
    from_h = round(min(max(now.hours or 0.0, 0.0), LONGEST_H - LOOK_ON_H), 2)
    conditions = _conditions(now, stands, ground, from_h)
    readings, entries = _readings(now)
    acid = ph_readings(now, stands)
    start = acid[0].ph if acid and acid[0].t_h <= START_H else now.plan.must.ph
    ahead = [s.feed for s in now.feeds if s.state == "ahead"]
    return KineticCase(
        _must(now, ground, start),
        conditions,
        readings,
        entries,
        tuple(_given(now)),
        (*(_ahead(now, feed, from_h) for feed in ahead), *_salts_ahead(now)),
        tuple(feed.key for feed in ahead),
        Right(
            plan.nitrogen.demand_mg_l, plan.yeast.temperature_low_c, plan.yeast.temperature_high_c
        ),
        from_h,
        tuple(notes),
        ground,
        tuple(acid),
    )


def _salts_ahead(now: Progress) -> list[model.NitrogenPulse]:
    """The plan's salt that is still to come, after the feeds: base and potassium, no nitrogen."""
    return [
        pulse(trigger_of(part.rule, now.plan.must.brix), 0.0, 0.0, addition)
        for part, addition in salts_to_come(now)
    ]


def _ground(sheet: str) -> Ground | None:
    """The must of a plan's sheet; None for one that cannot be read (any more)."""
    try:
        return ground_of(sheet, "must") if sheet else None
    except InputError:
        return None


# The must ---------------------------------------------------------------------------------------


def _must(now: Progress, ground: Ground | None, start_ph: float | None) -> model.MustAtPitch:
    """The must at pitch; the model was fitted with pH at the start, so later ones do not count."""
    must = must_at_pitch(ground) if ground else _from_facts(now.plan)
    # what was fed stands in the log
    must = replace(must, feeding_known=True if must.feeding_known is None else must.feeding_known)
    if now.original_gravity != now.plan.must.gravity:
        brix = float(brix_from_gravity(now.original_gravity))
        factor = float(sugar_g_l_from_brix(max(brix, 0.1))) / must.extract_g_l
        most = MODEL_RANGE["sugar_g_l"][1] / max(must.sugar_g_l, 1e-9)
        must = dissolved_times(must, min(max(factor, 0.05), most))
    if not _nitrogen_known(now, ground):
        low, high = UNKNOWN_N_MG_L
        middle = (low * high) ** 0.5 + now.plan.nitrogen.rehydration_mg_l
        must = replace(must, amino_n_mg_l=middle, amino_n_range_mg_l=UNKNOWN_N_MG_L)
    if start_ph is not None:
        must = replace(must, ph=within_model("ph", start_ph), ph_range=None)
    return must


def _nitrogen_known(now: Progress, ground: Ground | None) -> bool:
    """Whether the must's own nitrogen was measured, or calculated from what is in it."""
    if ground is None:
        return now.plan.nitrogen.must_mg_l > 0
    return bool(ground.primary) or ground.sheet.measured.yan_mg_l is not None


def _from_facts(plan: BatchPlan) -> model.MustAtPitch:
    nitrogen = plan.nitrogen.must_mg_l + plan.nitrogen.rehydration_mg_l
    return model.MustAtPitch.from_brix(
        min(max(plan.must.brix, 0.5), 42.0),
        within_model("volume_l", plan.must.volume_l),
        amino_n_mg_l=within_model("pool_n_mg_l", nitrogen),
        medium="unknown",
    )


# Warmth -----------------------------------------------------------------------------------------


def _conditions(
    now: Progress, stands: Sequence[Standing], ground: Ground | None, from_h: float
) -> model.Conditions:
    """The sheet's yeast and vessel, the temperatures read, and the last of them from then on."""
    if ground:
        conditions = conditions_of(ground)
    else:
        yeast = now.plan.yeast
        conditions = model.Conditions(
            temperature_c=_warm(now.plan.must.temperature_c),
            strain=model.StrainTraits(within_model("tolerance_pct", yeast.tolerance_pct)),
            pitch_g_l=within_model("pitch_g_l", yeast.grams_l),
        )
    plain = conditions.vessel is None and not isinstance(conditions.temperature_c, tuple)
    measured, moved = _temperatures(now, stands, _start_c(conditions))
    if measured and (plain or moved):
        conditions = replace(conditions, vessel=None, temperature_c=_warm(now.temperature_c))
    spread = now.gravity_sd if now.gravity_sd is not None else conditions.reading_sd_gravity
    return replace(
        conditions,
        measured_c=measured,
        horizon_h=min(max(HORIZON_H, from_h + LOOK_ON_H), LONGEST_H),
        reading_sd_gravity=min(spread, 0.01),
    )


def _start_c(conditions: model.Conditions) -> float:
    if conditions.vessel is not None:
        return conditions.vessel.start_c
    steps = conditions.temperature_c
    return steps[0][1] if isinstance(steps, tuple) else steps


def _temperatures(
    now: Progress, stands: Sequence[Standing], start_c: float
) -> tuple[model.Profile, bool]:
    """What was read of the must's temperature by hours, and whether its latest was a move."""
    if now.pitched is None:
        return (), False
    points: list[tuple[float, float]] = []
    moved = False
    for stand in stands:
        what = stand.what
        if stand.removed or stand.at > now.now or not isinstance(what, (Reading, Event)):
            continue
        if what.temperature_c is None:
            continue
        hours = (stand.at - now.pitched).total_seconds() / 3600
        value = _warm(what.temperature_c)
        moved = isinstance(what, Event)
        if moved and hours > 0:  # it takes a while to get there
            before = points[-1][1] if points else _warm(start_c)
            points += [(hours, before), (hours + MOVE_H, value)]
        else:
            points.append((max(hours, 0.0), value))
    return _rising(points), moved


def _rising(points: Sequence[tuple[float, float]]) -> model.Profile:
    """Points in order of time, thinned where there are many; what came later replaces a move."""
    found: list[tuple[float, float]] = []
    for t, value in points:
        while found and found[-1][0] > t:
            found.pop()
        found.append((min(t, LONGEST_H), value))
    every = max(len(found) // 200, 1)
    return tuple(found[::-1][::every][::-1])


def _warm(value: float) -> float:
    return min(max(value, 0.0), 45.0)


# Feeds ------------------------------------------------------------------------------------------


def _given(now: Progress) -> list[model.NitrogenPulse]:
    return [
        pulse(
            model.PulseTrigger(at_h=min(max(fed.hours, 0.0), LONGEST_H)),
            fed.ammonium_mg_l,
            fed.amino_mg_l,
        )
        for fed in now.fed
    ]


def _ahead(now: Progress, feed: PlannedFeed, from_h: float) -> model.NitrogenPulse:
    """A feed of the plan that was not given yet: by its trigger, and not before now."""
    plan = now.plan
    volume = plan.must.volume_l
    amounts = {"ammonium_n": 0.0, "amino_n": 0.0}
    for dose in feed.doses:
        jar = plan.jar(dose.nutrient)
        for kind in amounts:
            amounts[kind] += dose.grams * (jar.mg_g.get(kind, 0.0) if jar else 0.0) / volume
    trigger = trigger_of(feed.rule, plan.must.brix)
    return pulse(
        replace(
            trigger,
            not_before_h=max(trigger.not_before_h, from_h),
            skip_below_sugar_fraction=too_late_below(plan.last_moment),
        ),
        amounts["ammonium_n"],
        amounts["amino_n"],
    )


# Readings ---------------------------------------------------------------------------------------


def _readings(now: Progress) -> tuple[tuple[model.MustReading, ...], tuple[str, ...]]:
    """Gravities of the batch, at most `MOST_POINTS`; the middle one replaces those close to it.

    Errors of a model persist over the hours: a hundred readings of a device in one day say little
    more than a few of them. What was read before honey or fruit went in is raised by what that
    added.
    """
    if now.pitched is None:
        return (), ()
    points = [p for p in now.points if p.hours <= LONGEST_H and 0.96 < p.gravity < 1.25]
    readings, entries = [], []
    for group in _close_together(points):
        middle = sorted(group, key=lambda p: p.gravity)[len(group) // 2]
        lift = now.original_gravity - middle.original_gravity
        gravity = min(max(middle.gravity + lift, 0.961), 1.249)
        sd = middle.gravity_sd / len(group) ** 0.5
        readings.append(
            model.MustReading(max(middle.hours, 0.0), gravity=gravity, sd_gravity=max(sd, 1e-4))
        )
        entries.append(middle.id)
    order = np.argsort([r.t_h for r in readings], kind="stable")
    return tuple(readings[k] for k in order), tuple(entries[k] for k in order)


def _close_together(points: Sequence[Point]) -> list[list[Point]]:
    """Readings in spans of even length, the latest span ending with the latest reading."""
    if len(points) <= FEW_POINTS:
        return [[p] for p in points]
    last = points[-1].hours
    span = max((last - min(points[0].hours, 0.0)) / MOST_POINTS, LEAST_SPAN_H)
    groups: dict[int, list[Point]] = {}
    for point in points:
        groups.setdefault(int((last - point.hours) / span), []).append(point)
    return [groups[k] for k in sorted(groups, reverse=True)]


def ph_readings(now: Progress, stands: Sequence[Standing]) -> list[model.MustReading]:
    """pH readings that count, with the error of what they were read with."""
    if now.pitched is None:
        return []
    found = []
    earliest = counts_from_h()
    for stand in stands:
        what = stand.what
        if stand.removed or stand.at > now.now or not isinstance(what, Reading) or what.ph is None:
            continue
        hours = (stand.at - now.pitched).total_seconds() / 3600
        if earliest <= hours <= LONGEST_H:
            found.append(
                model.MustReading(max(hours, 0.0), ph=what.ph, sd_ph=reading_sd(what.ph_by))
            )
    return found
