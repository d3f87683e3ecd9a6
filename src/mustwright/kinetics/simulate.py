"""Run the kernel: from members, feeds and surroundings to trajectories."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.constants import CO2_PER_ETHANOL_G_G, POTASSIUM_G_MOL
from mustwright.kinetics import model, observe
from mustwright.kinetics.conditions import HEAT_PASSAGE_W_M2_K, Conditions, VesselInRoom, profile_at
from mustwright.kinetics.feeds import NitrogenPulse, PulseTrigger
from mustwright.kinetics.members import Members
from mustwright.kinetics.parameters import TRAITS, typical
from mustwright.kinetics.thread_affinity import every_core
from mustwright.time_budget import spend

Floats = NDArray[np.float64]
STEP_H = 0.5
DRY_G_L = 2.0  # glucose and fructose below this: dry (brief of the project)
READY = 0.9  # readiness at which the lag counts as over
_NEVER = 1e9
_ABSENT, _COLUMNS = 2e9, 10  # as in `ensemble`, which is imported when it runs
# One of Numba's thread pools ends the process when two threads enter it; a run lasts a tenth of a
# second, so requests queue here.
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class Run:
    """Trajectories, times by members, and what happened to each member.

    Parameters
    ----------
    times_h : ndarray
        Where the trajectories were kept [h].
    kept : ndarray
        `ensemble.KEPT` by times by members (float32).
    members : Members
        What went in.
    fed_at_h : ndarray
        Feeds by members: when given [h]; inf never due, -1 left out.
    dry_at_h : ndarray
        When each member had less than 2 g/L of sugar [h]; inf never.
    peaks : ndarray
        `ensemble.PEAKS` by members, over all steps.
    feeds : tuple of NitrogenPulse
        The plan it ran under.
    """

    times_h: Floats
    kept: NDArray[np.float32]
    members: Members
    fed_at_h: Floats
    dry_at_h: Floats
    peaks: Floats
    feeds: tuple[NitrogenPulse, ...] = ()

    @property
    def ph(self) -> NDArray[np.float32]:
        """PH of the one acid that stands for all (docs/kinetics.md)."""
        return np.asarray(np.float32(3.0) - np.log10(self.kept[8]))

    @property
    def peak_gas_g_l_h(self) -> Floats:
        """Fastest making of CO2, by member [g/L/h]."""
        return np.asarray(self.peaks[0])

    @property
    def peak_temperature_c(self) -> Floats:
        """Warmest the must becomes, by member [°C]."""
        return np.asarray(self.peaks[1])

    @property
    def lowest_ph(self) -> Floats:
        """Lowest pH, by member."""
        return np.asarray(3.0 - np.log10(self.peaks[2]))

    @property
    def sugar_g_l(self) -> NDArray[np.float32]:
        """Glucose and fructose."""
        return np.asarray(self.kept[0] + self.kept[1])

    @property
    def ethanol_g_l(self) -> NDArray[np.float32]:
        """Ethanol."""
        return np.asarray(self.kept[2])

    @property
    def yan_mg_l(self) -> NDArray[np.float32]:
        """Assimilable nitrogen left in the must."""
        return np.asarray((self.kept[3] + self.kept[4]) * np.float32(1000))

    @property
    def taken_n_g_l(self) -> Floats:
        """Nitrogen taken up since the pitch, times by members [g N/L]."""
        there = (self.kept[3] + self.kept[4]).astype(float)
        had = (self._start("ammonium_n") + self._start("amino_n")).astype(float)
        given = np.zeros_like(there)
        for feed, at in zip(self.feeds, self.fed_at_h, strict=True):
            amount = (feed.ammonium_n_mg_l + feed.amino_n_mg_l) / 1000
            given += amount * ((at >= 0) & (at <= self.times_h[:, None] + 1e-6))
        if self.members.unrecorded_n_g_l is not None:
            late = self.times_h >= typical()["fed_at"] - 1e-6
            given += late[:, None] * self.members.unrecorded_n_g_l
        return np.asarray(np.maximum(had + given - there, 0.0))

    @property
    def temperature_c(self) -> NDArray[np.float32]:
        """Temperature of the must."""
        return np.asarray(self.kept[7])

    @property
    def co2_g_l(self) -> NDArray[np.float32]:
        """CO2 made so far, dissolved or gone."""
        return np.asarray((self.ethanol_g_l - self._start("ethanol")) * CO2_PER_ETHANOL_G_G)

    @property
    def extract_g_l(self) -> NDArray[np.float32]:
        """Dissolved matter other than ethanol."""
        shares = model.yields(self.traits)
        other = (shares["glycerol"] + shares["byproducts"]) / shares["ethanol"]
        made = (self.ethanol_g_l - self._start("ethanol")) * other.astype(np.float32)
        return np.asarray(self.sugar_g_l + made + self._start("solids"))

    @property
    def gravity(self) -> NDArray[np.float32]:
        """Apparent gravity 20/20, without error of reading."""
        return np.asarray(observe.gravity(self.extract_g_l, self.ethanol_g_l), np.float32)

    @property
    def traits(self) -> dict[str, Floats]:
        """Traits by name."""
        return dict(zip(TRAITS, self.members.traits, strict=True))

    def _start(self, name: str) -> NDArray[np.float32]:
        from mustwright.kinetics.ensemble import START

        return np.asarray(self.members.start[START.index(name)], np.float32)


def step_grid(
    horizon_h: float, wanted_h: Floats, feeds: Sequence[NitrogenPulse], step_h: float = STEP_H
) -> Floats:
    """Ends of the steps: every half hour, and every time something is wanted or fed.

    Parameters
    ----------
    horizon_h : float
        24 to 4000 [h].
    wanted_h : ndarray
        Times to keep, rising [h].
    feeds : sequence of NitrogenPulse
        Those by the clock have a step of their own.
    step_h : float
        Longest step, 0.05 to 2 [h].

    Returns
    -------
    ndarray
        Rising from 0 [h].
    """
    timed = [f.trigger.at_h for f in feeds if f.trigger.at_h is not None]
    early = [f.trigger.not_before_h for f in feeds]
    regular = np.arange(0, horizon_h + step_h / 2, step_h)
    asked = np.array([t for t in [*timed, *early] if t < horizon_h])
    nodes = np.unique(np.round(np.concatenate([regular, wanted_h, asked, [horizon_h]]), 6))
    return np.asarray(nodes[nodes <= max(horizon_h, float(wanted_h.max(initial=0.0))) + 1e-6])


def feed_table(feeds: Sequence[NitrogenPulse], gravity_0: float) -> Floats:
    """Feeds as rows of `ensemble.FEED_COLUMNS`."""
    rows = [_feed_row(feed, gravity_0) for feed in feeds]
    return np.array(rows, float).reshape(len(feeds), _COLUMNS)


def _feed_row(feed: NitrogenPulse, gravity_0: float) -> list[float]:
    t: PulseTrigger = feed.trigger
    gravity = [t.gravity_below] if t.gravity_below is not None else []
    if t.gravity_drop is not None:
        gravity.append(gravity_0 - t.gravity_drop)
    return [
        _NEVER if t.at_h is None else t.at_h,
        t.not_before_h,
        max(gravity, default=-_NEVER),
        -1.0 if t.sugar_left_fraction is None else t.sugar_left_fraction,
        1 / READY - 1 if t.end_of_lag else -1.0,
        t.skip_below_sugar_fraction,
        feed.ammonium_n_mg_l / 1000,
        feed.amino_n_mg_l / 1000,
        feed.base,
        feed.potassium_mg_l / POTASSIUM_G_MOL,
    ]


def _tables(
    plans: Sequence[Sequence[NitrogenPulse]], gravity_0: float, each: int,
    unrecorded: Floats | None,
) -> Floats:  # fmt: skip
    """Feeds by `ensemble.FEED_COLUMNS` by members, plan after plan; the unrecorded feed last."""
    most = max((len(plan) for plan in plans), default=0)
    absent = np.zeros(_COLUMNS)
    absent[0] = 2 * _ABSENT
    table = np.repeat(absent[None, :, None], most, axis=0).repeat(each * len(plans), axis=2)
    for place, plan in enumerate(plans):
        mine = slice(place * each, (place + 1) * each)
        table[: len(plan), :, mine] = feed_table(plan, gravity_0)[:, :, None]
    if unrecorded is None:
        return table
    fixed = typical()
    untold = NitrogenPulse(PulseTrigger(at_h=fixed["fed_at"]), 500.0, 500.0)
    extra = np.repeat(feed_table((untold,), gravity_0)[:, :, None], each * len(plans), axis=2)
    extra[:, 6:9] *= np.tile(unrecorded, len(plans))
    return np.concatenate([table, extra])


@dataclass(frozen=True)
class WarmthCourse:
    """What acts on the temperature: per step, and room by node."""

    slope_k_h: Floats
    room_c: Floats
    loss_per_h: Floats
    heating: Floats
    cool_above_c: float = _NEVER
    cool_max_k_h: float = 0.0


def surroundings(conditions: Conditions, nodes_h: Floats) -> WarmthCourse:
    """Imposed slopes, room, heat loss and cooler along the steps.

    A measured temperature (`Conditions.measured_c`) is followed as long as it lasts; then the
    planned temperature or the vessel takes over.
    """
    vessel, known = conditions.vessel, conditions.measured_c
    steps = nodes_h.size - 1
    width = np.diff(nodes_h)
    if vessel is None:
        slope = np.diff(planned_c(conditions, nodes_h)) / width
        zero = np.zeros(steps)
        return WarmthCourse(slope, np.zeros(steps + 1), zero, zero)
    measured = nodes_h[1:] <= (known[-1][0] + 1e-9 if known else -1.0)
    course = profile_at(known, nodes_h) if known else np.zeros(steps + 1)
    free = (~measured).astype(float)
    return WarmthCourse(
        np.where(measured, np.diff(course) / width, 0.0),
        profile_at(vessel.room_c, nodes_h),
        free * loss_per_h(vessel),
        free,
        vessel.cool_above_c,
        vessel.cooling_w * 3.6 / (model.MUST_HEAT_CAPACITY_KJ_L_K * vessel.volume_l),
    )


def planned_c(conditions: Conditions, times_h: Floats) -> Floats:
    """Prescribed temperature: what was measured, then back to the plan within half a day."""
    plan = profile_at(conditions.temperature_c, times_h)
    known = conditions.measured_c
    if not known:
        return plan
    last, value = known[-1]
    away = value - float(profile_at(conditions.temperature_c, np.array([last]))[0])
    after = plan + away * np.clip(1 - (times_h - last) / 12.0, 0.0, 1.0)
    return np.where(times_h <= last, profile_at(known, times_h), after)


def loss_per_h(vessel: VesselInRoom) -> float:
    """Heat passage over heat capacity [1/h] of an upright cylinder as high as wide.

    Notes
    -----
    Surface ``5.54 V^(2/3)`` (geometry); passage of `HEAT_PASSAGE_W_M2_K` (from memory).
    """
    surface_m2 = float(5.54 * (vessel.volume_l / 1000) ** (2 / 3))
    passage = float(HEAT_PASSAGE_W_M2_K[vessel.material])
    return passage * surface_m2 * 3.6 / (model.MUST_HEAT_CAPACITY_KJ_L_K * vessel.volume_l)


def run(
    members: Members,
    conditions: Conditions,
    feeds: Sequence[NitrogenPulse] = (),
    at_h: Floats | None = None,
    gravity_0: float = 1.1,
    step_h: float = STEP_H,
) -> Run:
    """Simulate every member.

    Parameters
    ----------
    members : Members
    conditions : Conditions
        Its horizon is passed over when `at_h` reaches further.
    feeds : sequence of NitrogenPulse
    at_h : ndarray or None
        Times to keep [h], rising; every two hours when None.
    gravity_0 : float
        Gravity at pitch, for feeds triggered by a drop [-].
    step_h : float
        Longest step, 0.05 to 1 [h].

    Returns
    -------
    Run
    """
    return run_plans(members, conditions, (feeds,), at_h, gravity_0, step_h)[0]


def run_plans(
    members: Members,
    conditions: Conditions,
    plans: Sequence[Sequence[NitrogenPulse]],
    at_h: Floats | None = None,
    gravity_0: float = 1.1,
    step_h: float = STEP_H,
) -> list[Run]:
    """Simulate every member under several feeding plans, in one call of the kernel.

    Parameters
    ----------
    members : Members
        The same under each plan, so that plans can be compared member by member.
    conditions : Conditions
        Its horizon is passed over when `at_h` reaches further.
    plans : sequence of sequences of NitrogenPulse
        1 to as many as memory holds: members times plans run.
    at_h : ndarray or None
        Times to keep [h], rising; every two hours when None.
    gravity_0 : float
        Gravity at pitch, for feeds triggered by a drop [-].
    step_h : float
        Longest step, 0.05 to 1 [h].

    Returns
    -------
    list of Run
        One for each plan.
    """
    from mustwright.kinetics import ensemble

    spend()
    horizon = conditions.horizon_h
    wanted = np.arange(0, horizon + 1, 2.0) if at_h is None else np.asarray(at_h, float)
    horizon = max(horizon, float(wanted.max(initial=0.0)))
    nodes = step_grid(horizon, wanted, [f for plan in plans for f in plan], step_h)
    keep_at = np.searchsorted(nodes, np.round(wanted, 6) - 1e-9)
    assert keep_at.max(initial=0) < nodes.size, "a time to keep lies behind the last step"
    count = members.count
    each = count + -count % ensemble.LANES
    padding = ((0, 0), (0, each - count))
    traits = np.tile(np.pad(members.traits, padding, mode="edge"), (1, len(plans)))
    start = np.tile(np.pad(members.start, padding, mode="edge"), (1, len(plans)))
    unrecorded = members.unrecorded_n_g_l
    if unrecorded is not None:
        unrecorded = np.pad(unrecorded, padding[1], mode="edge")
    table = _tables(plans, gravity_0, each, unrecorded)
    all_of_them = each * len(plans)
    out = np.empty((len(ensemble.KEPT), wanted.size, all_of_them), np.float32)
    fed_at = np.full((table.shape[0], all_of_them), np.inf)
    dry_at, peaks = np.empty(all_of_them), np.empty((len(ensemble.PEAKS), all_of_them))
    course = surroundings(conditions, nodes)
    with _ONE_AT_A_TIME, every_core():
        ensemble.run_blocks(
            traits, start, np.diff(nodes), course.slope_k_h, course.room_c, course.loss_per_h,
            course.heating, course.cool_above_c, course.cool_max_k_h,
            table, keep_at, observe.gravity_coefficients(), DRY_G_L,
            out, fed_at, dry_at, peaks,
        )  # fmt: skip
    return [
        Run(wanted, out[:, :, mine], members, fed_at[: len(plan), mine], dry_at[mine],
            peaks[:, mine], tuple(plan))
        for plan, mine in (
            (plan, slice(k * each, k * each + count)) for k, plan in enumerate(plans)
        )
    ]  # fmt: skip
