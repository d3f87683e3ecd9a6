"""What will it do: a forecast of a sheet's must under a protocol, or bent to readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from mustwright.errors import InputError
from mustwright.kinetics import forecast as model
from mustwright.kinetics.bands import Band
from mustwright.kinetics.counterfactual import odds_by_acid
from mustwright.kinetics.ensemble_setting import BENT_MEMBERS, MEMBERS, SEED
from mustwright.kinetics.forecast import Forecast
from mustwright.kinetics.inputs import Conditions, MustAtPitch, MustReading, NitrogenPulse
from mustwright.kinetics.simulate import Run
from mustwright.kinetics.update import measured
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import Protocol, protocol_called
from mustwright.plain_data import picked
from mustwright.planning.acidity.ph_course import (
    PhForecast,
    follow,
    measured_start,
    ph_times,
    rows_of,
)
from mustwright.planning.acidity.ph_course_json import ph_data
from mustwright.planning.acidity.plan_salt import with_salt
from mustwright.planning.acidity.prior import acid_must
from mustwright.planning.kinetic_inputs import (
    conditions_of,
    feeds_of,
    must_at_pitch,
    nothing_to_ferment,
)
from mustwright.planning.likeness import HOUSE_NOTE, HouseFor, at_home, population_at
from mustwright.planning.must_setup import Ground, ground_of
from mustwright.planning.plan_forecast import doubts, recommended_on
from mustwright.planning.readings_csv import read_readings
from mustwright.texts import say

NO_FEED = "none"
STEP_H = 6.0
QUANTITIES = (
    "gravity",
    "brix",
    "sugar_g_l",
    "ethanol_g_l",
    "co2_g_l",
    "yan_mg_l",
    "temperature_c",
)
COSTS = ("peak_gas_l_h", "peak_temperature_c")


@dataclass(frozen=True)
class ForecastResult:
    """A forecast and what it was made of.

    Parameters
    ----------
    plan : FeedingPlan or None
        None when nothing is fed.
    ph : PhForecast or None
        None where it was not asked for, or where nothing honest can be said of it.
    with_ph : bool
        Whether it was asked for.
    odds_by_acid : float
        On the odds of sticking, by acid and potassium; within the chance of sticking [-].
    """

    name: str
    ground: Ground
    plan: FeedingPlan | None
    must: MustAtPitch
    conditions: Conditions
    forecast: Forecast
    members: int
    seed: int
    warnings: tuple[str, ...]
    ph: PhForecast | None = None
    with_ph: bool = False
    odds_by_acid: float = 1.0


def forecast(
    text: str,
    protocol: str | None = None,
    own: Mapping[str, Protocol] | None = None,
    *,
    readings: str | None = None,
    at_h: Sequence[float] | None = None,
    members: int | None = None,
    seed: int = SEED,
    name: str = "must",
    with_ph: bool = True,
    house: HouseFor | None = None,
) -> ForecastResult:
    """Forecast the must of a sheet.

    Parameters
    ----------
    text : str
        The sheet, TOML.
    protocol : str or None
        Id of a protocol, ``none`` for no feed at all, None for the recommended one.
    readings : str or None
        CSV text, see `readings.read_readings`.
    at_h : sequence of float or None
        Hours after pitch to forecast for; every six hours to six weeks when None.
    members : int or None
        Fermentations in the ensemble, 32 to 100000; the setting of every page when None.
    seed : int
        0 to 2^31; the same seed gives the same answer.
    with_ph : bool
        Follow the acid as well; no other band depends on it.
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    ground = at_home(ground_of(text, name), house)
    if nothing_to_ferment(ground):
        raise InputError(
            "must.gravity", say("needs sugar to forecast a fermentation"), say("no sugar")
        )
    seen = read_readings(readings) if readings is not None else None
    plan = _plan(ground, protocol, own or {}, seen or ())
    must, conditions = must_at_pitch(ground), conditions_of(ground)
    feeds = feeds_of(plan, ground) if plan else ()
    if not 0 <= seed < 2**31:
        raise InputError("seed", say("needs a whole number from 0 to 2147483647"), seed)
    gravities, conditions = _split(seen, conditions)
    if members is None:
        members = BENT_MEMBERS if gravities else MEMBERS
    times = _times(at_h, conditions)
    end = max(conditions.horizon_h, float(times.max()))
    drawn = model.fermentations(
        must, feeds, conditions, members, seed, times, gravities, population_at(ground),
        also_h=ph_times(end) if with_ph else None,
    )  # fmt: skip
    found = model.sum_up(drawn)
    ph = _ph(ground, plan, feeds, drawn.run, seed, seen or ()) if with_ph else None
    warnings = (*ground.warnings, *(plan.warnings if plan else ()), *doubts(ground))
    if found.verdict is not None and not found.verdict.explained:
        warnings += (found.verdict.message,)
    return ForecastResult(
        ground.sheet.name, ground, plan, must, conditions, found, members, seed, warnings, ph,
        with_ph, odds_by_acid(drawn) if with_ph else 1.0,
    )  # fmt: skip


def _split(
    seen: Sequence[MustReading] | None, conditions: Conditions
) -> tuple[Sequence[MustReading] | None, Conditions]:
    """Readings for the kinetic members; if only pH was read, just the temperatures."""
    if seen is None or any(r.as_gravity is not None for r in seen):
        return seen, conditions
    if any(r.ph is not None for r in seen):
        return None, measured(conditions, seen)
    return seen, conditions


def _ph(
    ground: Ground,
    plan: FeedingPlan | None,
    feeds: Sequence[NitrogenPulse],
    run: Run,
    seed: int,
    seen: Sequence[MustReading],
) -> PhForecast | None:
    start, later = measured_start(ground, seen)
    acid = acid_must(ground, rows_of(run.members.count).size, seed, start)
    if acid is None:
        return None
    return follow(ground, plan, feeds, run, acid, seed, later)


def _plan(
    ground: Ground,
    protocol: str | None,
    own: Mapping[str, Protocol],
    seen: Sequence[MustReading],
) -> FeedingPlan | None:
    """The feeds with their salt, which goes by the pH before yeast wherever that was written."""
    if protocol == NO_FEED:
        return None
    if protocol is None:
        plan = recommended_on(ground, own).plan
    else:
        plan = plan_feeding(ground.setting, protocol_called(protocol, own))
    sheet = ground.sheet
    known = replace(sheet.measured, ph=measured_start(ground, seen)[0])
    return with_salt(replace(ground, sheet=replace(sheet, measured=known)), plan)


def _times(at_h: Sequence[float] | None, conditions: Conditions) -> Any:
    if at_h is None:
        return np.arange(0.0, conditions.horizon_h + 1, STEP_H)
    times = np.asarray(sorted(set(at_h)), float)
    if times.size == 0 or times.size > 2000 or times.min() < 0 or times.max() > 4000:
        raise InputError("at", say("needs one to 2000 hours from 0 to 4000"), list(at_h)[:5])
    return times


def forecast_data(result: ForecastResult) -> dict[str, Any]:
    """A forecast as one JSON object; what never happens is null."""
    run = result.forecast
    bands = (*QUANTITIES, "hours_to_dry", "residual_sugar_g_l", "residual_yan_mg_l")
    data: dict[str, Any] = {
        "name": result.name,
        "protocol": result.plan.protocol if result.plan else NO_FEED,
        **picked(result, "members seed"),
        "medium": result.must.medium,
        "times_h": run.times_h.tolist(),
        **{name: band_data(getattr(run, name)) for name in bands},
        **picked(run, "chance_of_sticking chance_of_dry chance_not_modelled"),
        "stops_sweet": run.chance_of_stopping_sweet,
        **{name: band_data(getattr(run, name)) for name in COSTS},
        "nitrogen_use": {
            name: band_data(getattr(run.nitrogen, name))
            for name in ("unused_ammonium_mg_l", "unused_amino_mg_l", "share_while_growing")
        },
        "aeration": result.conditions.aeration,
    }
    if result.with_ph:
        data |= ph_data(result.ph, run.times_h, run.chance_of_sticking, result.odds_by_acid)
    data["feeds"] = _feeds_data(result)
    if run.verdict is not None:
        data["readings"] = {
            **picked(run.verdict, "explained odd_reading message"),
            "scaled_miss": [_finite(m) for m in run.verdict.scaled_miss],
        }
    data["warnings"] = list(result.warnings)
    if result.ground.house is not None:
        data["house"] = HOUSE_NOTE
    return data


def _feeds_data(result: ForecastResult) -> list[dict[str, Any]]:
    if result.plan is None:
        return []
    return [
        {
            **picked(feed, "name trigger"),
            "expected_h": band_data(outcome.expected_h),
            "chance_never": outcome.chance_never,
            "nitrogen_mg_l": feed.nitrogen_mg_l.value,
            "items": [{"nutrient": i.nutrient, "grams": i.grams.value} for i in feed.items],
        }
        for feed, outcome in zip(
            result.plan.feeds, result.forecast.feeds[: len(result.plan.feeds)], strict=True
        )
    ]


def band_data(band: Band) -> dict[str, Any]:
    """Quantiles as plain numbers or lists; null for what is not finite."""
    return {name: _plain(getattr(band, name)) for name in Band.__dataclass_fields__}


def _plain(values: Any) -> Any:
    if isinstance(values, float | int):
        return _finite(float(values))
    return [_finite(float(v)) for v in np.asarray(values)]


def _finite(value: float) -> float | None:
    return float(f"{value:.6g}") if np.isfinite(value) else None
