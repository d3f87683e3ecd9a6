"""What will this batch do: its kinetic ensemble, bent to its readings and summed up."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.batch.forecast_record import FeedForeseen, Foreseen, Releases
from mustwright.batch.kinetic_inputs import LONGEST_H, KineticCase, case_of
from mustwright.batch.log import Standing
from mustwright.batch.ph_additions import after, put_in
from mustwright.batch.ph_forecast import foresee_ph, ph_case
from mustwright.batch.progress import Progress
from mustwright.batch.quantiles import Along, Quantiles
from mustwright.errors import InputError
from mustwright.kinetics.bands import Band, band
from mustwright.kinetics.counterfactual import freed
from mustwright.kinetics.ensemble_setting import BENT_MEMBERS, MEMBERS, SEED
from mustwright.kinetics.forecast import Drawn, Forecast, fermentations, sum_up
from mustwright.kinetics.inputs import NitrogenPulse, PulseTrigger
from mustwright.kinetics.parameters import population_of_house
from mustwright.kinetics.reading_verdict import ReadingVerdict
from mustwright.kinetics.simulate import DRY_G_L
from mustwright.planning.kinetic_inputs import with_acid
from mustwright.planning.likeness import HOUSE_NOTE, HouseFor, likeness_of
from mustwright.texts import say

FRACTIONS = (*(round(0.02 * k, 2) for k in range(1, 50)), 0.99, 1.0)
RELEASES_AFTER = 2  # readings after pitch that causes are asked of
Floats = NDArray[Any]


def foresee(
    now: Progress,
    stands: Sequence[Standing],
    version: int,
    members: int | None = None,
    house: HouseFor | None = None,
) -> Foreseen:
    """The forecast of a batch from its log.

    Parameters
    ----------
    now : Progress
    stands : sequence of Standing
    version : int
        Of the batch, whose log this is.
    members : int or None
        Runs in the ensemble; the setting of every page when None.
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.

    Raises
    ------
    InputError, ImpossibleError
        If the must cannot be forecast.
    """
    case = case_of(now, stands)
    if case.must.sugar_g_l < DRY_G_L:
        raise InputError(
            "must.gravity", say("needs sugar to forecast a fermentation"), say("no sugar")
        )
    if members is None:
        members = BENT_MEMBERS if case.readings else MEMBERS
    onset = NitrogenPulse(
        PulseTrigger(end_of_lag=True)
    )  # brings nothing: shows when each run starts to work
    feeds = (*_brought(case, now, stands), onset)
    acid = ph_case(case, now, stands)
    own = None if house is None else house(likeness_of(case.ground))
    drawn = fermentations(
        case.must, feeds, case.conditions, members, SEED, _times(case), case.readings or None,
        population_of_house(case.must.medium, own),
        also_h=None if acid is None else acid.times_h,
    )  # fmt: skip
    told = sum_up(drawn)
    explained, met, odd, message = _fit(case, drawn.verdict)
    return Foreseen(
        version=version,
        plan=now.plan.number,
        from_h=round(case.from_h, 2),
        until_h=round(case.readings[-1].t_h, 2) if case.readings else None,
        readings=len(case.readings),
        members=members,
        seed=SEED,
        times_h=tuple(float(t) for t in drawn.times_h),
        gravity=_along(told.gravity, 5),
        fractions=FRACTIONS,
        used_h=_along(_used(drawn), 1),
        onset_h=_quantiles(told.feeds[-1].expected_h, 1),
        hours_to_dry=_quantiles(told.hours_to_dry, 1),
        chance_of_sticking=round(told.chance_of_sticking, 4),
        chance_of_dry=round(told.chance_of_dry, 4),
        residual_sugar_g_l=_quantiles(told.residual_sugar_g_l, 2),
        residual_yan_mg_l=_quantiles(told.residual_yan_mg_l, 2),
        stops_sweet=round(told.chance_of_stopping_sweet, 4),
        chance_not_modelled=round(told.chance_not_modelled, 4),
        peak_gas_l_h=_quantiles(told.peak_gas_l_h, 3),
        feeds=_feeds(case, told),
        explained=explained,
        met=met,
        odd_entry=odd,
        message=message,
        releases=_releases(case, drawn),
        notes=case.notes if own is None else (*case.notes, HOUSE_NOTE),
        house="" if own is None else own.key,
        ph=None if acid is None else foresee_ph(acid, case, drawn, feeds, now),
    )


def _brought(
    case: KineticCase, now: Progress, stands: Sequence[Standing]
) -> tuple[NitrogenPulse, ...]:
    """Feeds with the base and potassium they bring; then the salts that went in, at their hours."""
    if now.pitched is None:
        return case.feeds
    things = put_in(now, stands)
    fed = [with_acid(f, one) for f, one in zip(case.feeds, things.feeds, strict=True)]
    for salt in things.salts:
        trigger = PulseTrigger(at_h=min(after(salt.hours), LONGEST_H))
        fed.append(with_acid(NitrogenPulse(trigger), salt.addition(np.zeros(1))))
    return tuple(fed)


def _feeds(case: KineticCase, told: Forecast) -> tuple[FeedForeseen, ...]:
    """Those still ahead: after the ones given, before the one that marks the onset."""
    ahead = told.feeds[len(case.given) : len(case.feeds)]
    return tuple(
        FeedForeseen(
            key,
            _quantiles(one.expected_h, 1),
            round(one.chance_never, 4),
            round(one.chance_left_out, 4),
        )
        for key, one in zip(case.open_keys, ahead[: len(case.open_keys)], strict=True)
    )


def _fit(case: KineticCase, verdict: ReadingVerdict | None) -> tuple[bool, bool, str | None, str]:
    """Whether readings are explained, whether met, which entry is odd, and that in words."""
    if verdict is None:
        return True, True, None, say("No reading yet: the forecast is that of musts like this.")
    odd = None if verdict.odd_reading is None else case.entries[verdict.odd_reading]
    return verdict.explained, verdict.is_met, odd, verdict.message


def _times(case: KineticCase) -> NDArray[np.float64]:
    """Times of the bands: close while the ferment runs, wide in its tail, and at each reading."""
    end = case.conditions.horizon_h
    steps = [np.arange(0.0, 240.0, 4.0), np.arange(240.0, 504.0, 8.0), np.arange(504.0, end, 24.0)]
    asked = [*steps, [case.from_h, end], [r.t_h for r in case.readings]]
    return np.unique(np.round(np.concatenate([np.asarray(a, float) for a in asked]), 1))


def _used(drawn: Drawn) -> Band:
    """When each fraction of the sugar is gone, over the members; inf for never."""
    sugar = drawn.run.sugar_g_l.astype(float)
    gone = 1 - sugar / np.maximum(sugar[0], 1e-9)
    dry = 1 - DRY_G_L / np.maximum(sugar[0], DRY_G_L)  # what counts as all of it
    gone = np.minimum(np.maximum.accumulate(gone, axis=0) / dry, 1.0)
    return band(np.stack([_crossing(drawn.run.times_h, gone, f) for f in FRACTIONS]))


def _crossing(times: Floats, gone: Floats, fraction: float) -> Floats:
    """First time a fraction is reached, by member, on straight lines between the kept times."""
    over = gone >= fraction - 1e-9
    at = np.argmax(over, axis=0)
    before = np.maximum(at - 1, 0)
    members = np.arange(gone.shape[1])
    low, high = gone[before, members], gone[at, members]
    part = np.where(high > low, (fraction - low) / np.maximum(high - low, 1e-12), 1.0)
    hours = times[before] + np.clip(part, 0.0, 1.0) * (times[at] - times[before])
    return np.where(over.any(axis=0), hours, np.inf)


def _releases(case: KineticCase, drawn: Drawn) -> Releases | None:
    """What would have kept it going, looked at when it was last read."""
    after = [r.t_h for r in case.readings if r.t_h >= 1]
    if len(after) < RELEASES_AFTER:
        return None
    at = float(after[-1])
    found = freed(case.must, case.given, drawn.conditions, drawn.z, drawn.who, case.right, at)
    share = {name: round(value, 4) for name, value in found.share.items()}
    return Releases(round(at, 2), round(found.held_up, 4), share)


def _quantiles(values: Band, digits: int) -> Quantiles:
    return Quantiles(*(_plain(v, digits) for v in _five(values)))


def _along(values: Band, digits: int) -> Along:
    return Along(*(tuple(_plain(v, digits) for v in row) for row in _five(values)))


def _five(values: Band) -> Iterable[Any]:
    return (values.p05, values.p25, values.p50, values.p75, values.p95)


def _plain(value: Any, digits: int) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None
