"""Is it done, and will it stay so: the chance that gravity still moves, and a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from mustwright.constants import CO2_PER_HEXOSE_G_G, CO2_VOLUME_G_L
from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import ARITHMETIC, ASSUMED, TYPED, Figure, typed
from mustwright.finishing.movement import (
    SIGMA_PER_90_PCT,
    GravityReading,
    Movement,
    movement,
    next_check,
)
from mustwright.finishing.step import Recorded, cautions, finishing_data, published, within
from mustwright.must.alcohol import Fermented, alcohol_from_gravities, ferment
from mustwright.must.gravity import brix_from_gravity, sugar_g_l_from_brix
from mustwright.texts import say

FERMENTABLE_SHARE = (0.88, 0.95, 0.99)  # As `must.blend.measured_figures` takes an unknown must.
STRANGE = 0.01
MOST_READINGS = 500


@dataclass(frozen=True)
class StabilityAsk:
    """What is known; everything but the readings may be left out.

    Parameters
    ----------
    readings : sequence of GravityReading
        Two or more; of different instruments, each with its error.
    reading_error : float or None
        Instrument error, nine times in ten [-].
    original_gravity : float or None
        Of the must.
    residual_sugar_g_l : float or None
        Measured fermentable sugar [g/L].
    tolerance_low_pct, tolerance_high_pct : float or None
        What the yeast reaches [% vol].
    alcohol_pct : float or None
        Known alcohol; worked out from the gravities when left out.
    nitrogen_mg_l : float or None
        Nitrogen left that yeast could use [mg/L].
    sterile : bool
        Pasteurised or filtered sterile since.
    """

    readings: Sequence[GravityReading]
    reading_error: float | None = None
    original_gravity: float | None = None
    residual_sugar_g_l: float | None = None
    tolerance_low_pct: float | None = None
    tolerance_high_pct: float | None = None
    alcohol_pct: float | None = None
    nitrogen_mg_l: float | None = None
    sterile: bool = False


@dataclass(frozen=True)
class Stability:
    """The verdict and what it rests on.

    Parameters
    ----------
    verdict : str
        ``dry and settled``, ``settled, not safe``, ``settled and sterile``, ``moving`` or
        ``too soon to tell``.
    bottle_still : bool
        Whether it may be bottled without gas as it is.
    next_check : str
        The day of the next check, in the count or the dates of the readings.
    """

    verdict: str
    bottle_still: bool
    chance_moving: Figure
    fall_per_day: Figure
    days_watched: Figure
    gravity_now: Figure
    floor_gravity: Figure | None
    residual_sugar_g_l: Figure | None
    alcohol_pct: Figure | None
    chance_past_tolerance: Figure | None
    gas_if_it_wakes_vol: Figure | None
    reasons: tuple[str, ...]
    next_check_days: Figure
    recorded: Recorded = field(default_factory=Recorded)
    next_check: str = ""


def judge_stability(ask: StabilityAsk) -> Stability:
    """Weigh gravity series, residual sugar, alcohol, nitrogen and time into one verdict.

    Raises
    ------
    InputError, ImpossibleError
    """
    readings = _readings(ask)
    record = finishing_data()["stability"]
    error = published(record["reading_error"], say("reading error"), "SG")
    if ask.reading_error is not None:
        within(ask.reading_error, 1e-5, 0.05, "error", say("an instrument error of gravity"))
        error = typed(ask.reading_error, "SG")
    seen = movement(readings, error.value / SIGMA_PER_90_PCT)
    chance = Figure(
        100 * seen.chance,
        "%",
        say("falling against steady, by Bayes' rule, even odds to begin with"),
        str(record["rate_source"]),
        {"reading_error": error, "readings": len(readings), "fall_per_day": seen.fall_per_day},
    )
    span = readings[-1].day - readings[0].day
    now = Figure(
        float(np.mean([r.gravity for r in readings[-2:]])),
        "SG 20/20",
        say("mean of the last two readings"),
        TYPED,
    )
    floor, alcohol, residual = _balance(ask, now.value)
    past = _past_tolerance(ask, alcohol)
    gas = None
    if residual is not None:
        most = residual.high if residual.high is not None else residual.value
        gas = Figure(
            residual.value * CO2_PER_HEXOSE_G_G / CO2_VOLUME_G_L,
            "vol",
            say("residual sugar x 0.48857 / 1.9768"),
            ARITHMETIC,
            {"residual": residual},
            None,
            most * CO2_PER_HEXOSE_G_G / CO2_VOLUME_G_L,
        )
    verdict, good, reasons = _verdict(ask, seen, span, residual, past)
    check = next_check(readings, error.value / SIGMA_PER_90_PCT, verdict)
    return Stability(
        verdict,
        good,
        chance,
        seen.fall_per_day,
        Figure(span, "d", say("last reading - first"), ARITHMETIC),
        now,
        floor,
        residual,
        alcohol,
        past,
        gas,
        reasons,
        check,
        Recorded((), {}, _steps(verdict), (), cautions("pressure_glass")),
    )


def _readings(ask: StabilityAsk) -> list[GravityReading]:
    if not 2 <= len(ask.readings) <= MOST_READINGS:
        raise InputError("reading", say("needs two readings or more"), len(ask.readings))
    gravity, error, time = (
        say("a gravity"), say("an instrument error of gravity"), say("a time in days")
    )  # fmt: skip
    for one in ask.readings:
        within(one.gravity, 0.97, 1.25, "reading", gravity)
        if one.error is not None:
            within(one.error, 1e-5, 0.05, "reading", error)
        within(one.day, -1e5, 1e7, "reading", time)
    if ask.nitrogen_mg_l is not None:
        within(ask.nitrogen_mg_l, 0, 2000, "nitrogen", say("nitrogen in mg/L"))
    if ask.residual_sugar_g_l is not None:
        within(ask.residual_sugar_g_l, 0, 400, "residual_sugar", say("fermentable sugar in g/L"))
    for name, value in (
        ("alcohol", ask.alcohol_pct),
        ("tolerance", ask.tolerance_low_pct),
        ("tolerance", ask.tolerance_high_pct),
    ):
        if value is not None:
            within(value, 0, 25, name, say("an alcohol in % vol"))
    return sorted(ask.readings, key=lambda r: r.day)


def _balance(
    ask: StabilityAsk, gravity: float
) -> tuple[Figure | None, Figure | None, Figure | None]:
    """Gravity the model expects at the end, alcohol now, and fermentable sugar left."""
    alcohol = None if ask.alcohol_pct is None else typed(ask.alcohol_pct, "% vol")
    residual = None if ask.residual_sugar_g_l is None else typed(ask.residual_sugar_g_l, "g/L")
    if ask.original_gravity is None:
        return None, alcohol, residual
    within(ask.original_gravity, 1.0, 1.25, "original", say("a gravity of the must"))
    if gravity > ask.original_gravity:
        raise ImpossibleError(
            "original", say("needs at least the gravity now"), ask.original_gravity
        )
    start = typed(ask.original_gravity, "SG 20/20")
    extract, (high, middle, low) = _ends(ask.original_gravity)
    share = Figure(
        FERMENTABLE_SHARE[1],
        "",
        say("share of the extract that ferments"),
        say("assumed: honey or juice"),
    )
    floor = Figure(
        middle,
        "SG 20/20",
        say("mass balance: all that ferments has fermented"),
        "OIV2012; OIML1975; ICUMSA1998",
        {"original": start, "share": share},
        low,
        high,
    )
    so_far = _so_far(ask.original_gravity, gravity)
    if alcohol is None:
        alcohol = Figure(
            so_far.ethanol_pct_vol,
            "% vol",
            say("mass balance between the two gravities"),
            "OIV2012; OIML1975; ICUMSA1998",
            {"original": start, "now": gravity},
        )
    if residual is None:
        left = [max(0.0, extract * s - so_far.hexose_used_g) for s in FERMENTABLE_SHARE]
        residual = Figure(
            left[1],
            "g/L",
            say("extract x fermentable share - sugar used"),
            ARITHMETIC,
            {"original": start, "share": share, "used_g_l": so_far.hexose_used_g},
            left[0],
            left[2],
        )
    return floor, alcohol, residual


@lru_cache(maxsize=4096)
def _so_far(original_gravity: float, gravity: float) -> Fermented:
    """What has fermented by now; many meads lie between the same two gravities."""
    return alcohol_from_gravities(original_gravity, gravity)


@lru_cache(maxsize=1024)
def _ends(original_gravity: float) -> tuple[float, tuple[float, ...]]:
    """Extract of a must [g/L], and its gravity once all has fermented, by `FERMENTABLE_SHARE`."""
    extract = float(sugar_g_l_from_brix(brix_from_gravity(original_gravity)))
    return extract, tuple(ferment(extract, extract * s).gravity for s in FERMENTABLE_SHARE)


def _past_tolerance(ask: StabilityAsk, alcohol: Figure | None) -> Figure | None:
    """Chance that the alcohol is past what this yeast bears."""
    low, high = ask.tolerance_low_pct, ask.tolerance_high_pct
    if alcohol is None or low is None or high is None:
        return None
    if low > high:
        raise InputError(
            "tolerance", say("needs its low end first"), say("{low} to {high}", low=low, high=high)
        )
    sigma = max((high - low) / 2 / SIGMA_PER_90_PCT, 0.1)
    chance = 100 * float(ndtr((alcohol.value - (low + high) / 2) / sigma))
    return Figure(
        chance,
        "%",
        say("normal curve whose 90 % range is the tolerance, at this alcohol"),
        ASSUMED,
        {"alcohol": alcohol, "low": low, "high": high},
    )


def _verdict(
    ask: StabilityAsk,
    seen: Movement,
    span: float,
    residual: Figure | None,
    past: Figure | None,
) -> tuple[str, bool, tuple[str, ...]]:
    record = finishing_data()["stability"]
    least, settled = float(record["least_days"]), float(record["settled_chance"])
    reasons: list[str] = [
        say(
            "The chance that gravity still falls is {percent}, over {span:.0f} days.",
            percent=_percent(100 * seen.chance),
            span=span,
        )
    ]
    if seen.scatter_chance < STRANGE:
        reasons.append(
            say(
                "The readings scatter, or rise, more than the instrument should: gas, temperature "
                "or pulp? Read again, degassed, at one temperature."
            )
        )
    dry, sugar_known = _sugar_reasons(residual, reasons)
    if past is not None:
        reasons.append(
            say(
                "The chance that alcohol is above this yeast's limit is {percent}. Only a yeast "
                "that stopped with sugar left has shown its limit.",
                percent=_percent(past.value),
            )
        )
    if ask.nitrogen_mg_l is not None and ask.nitrogen_mg_l > record["leftover_nitrogen_mg_l"]:
        reasons.append(
            say(
                "{nitrogen:.0f} mg/L of nitrogen is left: food for yeast and spoilage.",
                nitrogen=ask.nitrogen_mg_l,
            )
        )
    if seen.chance > 0.5:
        return say("moving", context="gravity"), False, tuple(reasons)
    if seen.chance > settled or span < least or seen.scatter_chance < STRANGE:
        if span < least:
            reasons.append(
                say(
                    "Fewer than {least:.0f} days were watched ({source}).",
                    least=least,
                    source=record["least_days_source"],
                )
            )
        return say("too soon to tell"), False, tuple(reasons)
    if ask.sterile:
        return say("settled and sterile"), True, tuple(reasons)
    if dry:
        return say("dry and settled"), True, tuple(reasons)
    if not sugar_known:
        reasons.append(
            say("Type the original gravity, or measure the sugar left: it is not known.")
        )
    return say("settled, not safe"), False, tuple(reasons)


def _percent(value: float) -> str:
    """A chance in words, without certainty that is not there."""
    if value < 1:
        return say("under 1 %")
    return say("over 99 %") if value > 99 else say("{value:.0f} %", value=value)


def _sugar_reasons(residual: Figure | None, reasons: list[str]) -> tuple[bool, bool]:
    """Whether it is dry to yeast, and whether that is known at all; adds the reason."""
    if residual is None:
        return False, False
    limit = float(finishing_data()["stability"]["dry_g_l"])
    most = residual.high if residual.high is not None else residual.value
    if most <= limit:
        reasons.append(
            say("At most {most:.1f} g/L of fermentable sugar is left: dry to yeast.", most=most)
        )
        return True, True
    if residual.value <= limit:
        reasons.append(
            say(
                "About {left:.1f} g/L of fermentable sugar is left, but up to {most:.0f} cannot "
                "be ruled out: a sugar test settles it.",
                left=residual.value,
                most=most,
            )
        )
        return False, True
    if residual.source == TYPED:
        reasons.append(
            say(
                "{left:.1f} g/L of fermentable sugar is left: a steady gravity alone is not safe.",
                left=residual.value,
            )
        )
    else:
        reasons.append(
            say(
                "Worked out from the gravities, {least:.0f} to {most:.0f} g/L of fermentable "
                "sugar may be left, as the share of this must that ferments was not measured. A "
                "sugar test settles it.",
                least=residual.low or 0,
                most=most,
            )
        )
    return False, True


def _steps(verdict: str) -> tuple[str, ...]:
    if verdict == "moving":
        return (say("Leave it under the airlock in the warm: it is fermenting."),)
    if verdict == "too soon to tell":
        return (
            say("Leave it under the airlock at room temperature and read again on the day below."),
        )
    if verdict == "settled, not safe":
        return (
            say(
                "Do not bottle it as it is. Stabilise it (finish sulfite, finish sorbate), or "
                "pasteurise, or keep it under the airlock."
            ),
            say(
                "Put it in a warm place for a week: yeast that rests in the cold ferments again "
                "there."
            ),
        )
    return (say("Rack, let it clear, and bottle. Keep a plastic bottle of the lot as a gauge."),)
