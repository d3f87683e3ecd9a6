"""Is it going well: the rules that look at a running batch, each with evidence and a way out."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, tzinfo

from mustwright.batch.alert import Finding, finding, threshold
from mustwright.batch.alerts_ph import watch_ph
from mustwright.batch.corrected_readings import Point
from mustwright.batch.duration_text import hours_words
from mustwright.batch.entries import ADDS_SUGAR
from mustwright.batch.log import Standing, is_event
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import CLOSED, FINISHING, LAG, PLANNED, Progress, Slope, slope_of
from mustwright.batch.series import Series
from mustwright.batch.stability import settled
from mustwright.batch.temperature_text import degrees

OLD = 0.6  # how far what was read long ago is still believed (assumed)


def watch(
    now: Progress,
    stands: Sequence[Standing] = (),
    zone: tzinfo = UTC,
    ph: PhForeseen | None = None,
) -> tuple[Finding, ...]:
    """Everything the rules find, worst first.

    Parameters
    ----------
    stands : sequence of Standing
        Events and finishing steps, in the order of time.
    zone : tzinfo
        Where days are counted.
    ph : PhForeseen or None
        What the acid model says, where it knows the latest pH reading.
    """
    if now.phase in (PLANNED, CLOSED) or now.hours is None:
        return ()
    if now.phase == FINISHING:
        woken = _woken(now, stands, zone)
        return () if woken is None else (woken,)
    found = [f for rule in (_implausible, _rising) if (f := rule(now, stands))]
    trusted = now
    if found:  # a reading in doubt must not make the ferment look stuck or fast
        points = now.points[:-1]
        window = threshold("sluggish", "window_h")
        trusted = replace(now, points=points, slope=slope_of(points, window))
    found += [f for rule in RULES if (f := rule(trusted))]
    found += watch_ph(trusted, ph)
    if (still := _finished(trusted, stands, zone)) is not None:
        found.append(still)
    if any(f.rule == "stuck" and f.sure for f in found):
        found = [f for f in found if f.rule != "sluggish"]
    return tuple(sorted(found, key=lambda f: (-f.severity * (0.5 + f.confidence / 2), f.rule)))


def _no_start(now: Progress) -> Finding | None:
    assert now.hours is not None
    cold = threshold("no_start", "per_10_c_cooler") ** ((20.0 - now.temperature_c) / 10.0)
    allowed = threshold("no_start", "after_h") * min(max(cold, 0.5), 4.0)
    if now.phase != LAG or now.hours < allowed:
        return None
    after = now.points.past_hour(0.0)
    warm = degrees(now.temperature_c, now.plan.sheet, 0)
    if not after:
        words = (
            f"Nothing was read in the {now.hours:.0f} h since pitch at {warm}; signs are usual "
            f"within {allowed:.0f} h."
        )
        return finding("no_start", 80, 0.3, words, sure=False)
    last = after[-1]
    fall = last.original_gravity - last.gravity
    words = (
        f"Gravity {last.gravity:.3f}, read {last.hours:.0f} h after pitch, has fallen by "
        f"{max(fall, 0):.3f}; at {warm} signs are usual within {allowed:.0f} h."
    )
    still = 0.5 * (1 + math.erf((0.003 - fall) / (last.gravity_sd * 2)))
    old = _old_h(now, "no_start")
    return finding("no_start", 80, still * (OLD if old else 1), words, sure=not old)


def _sluggish(now: Progress) -> Finding | None:
    slope = now.slope
    if slope is None or now.gravity is None or now.sugar_left_g_l < _left_that_counts():
        return None
    starting = now.sugar_used < 0.05 and (now.hours or 0) < 72
    if now.phase == LAG or starting:
        return None
    high = now.gravity > threshold("sluggish", "boundary")
    least = threshold("sluggish", "fall_per_day_high" if high else "fall_per_day_low")
    chance = slope.chance_below(least)
    if chance < 0.7:
        return None
    words = (
        f"Gravity falls by {max(slope.per_day, 0):.4f} a day (error {slope.sd:.4f}) over "
        f"{slope.hours:.0f} h at {now.gravity:.3f}; under {least:g} counts as sluggish here."
    )
    old = _old_h(now, "sluggish", slope.hours)
    words += _read_ago(old)
    return finding("sluggish", 50, chance * (OLD if old else 1), words, sure=not old)


def still_stretch(points: Series) -> Slope | None:
    """Slope over the run of latest readings, a day or more, that best shows that nothing falls."""
    after = points.past_hour(0.0)
    at = after.hours.tolist()
    hours = threshold("stuck", "still_h") - 2.0  # two evenings are seldom 24 h apart to the minute
    limit = threshold("stuck", "fall_per_day")
    best: Slope | None = None
    for start in range(len(after) - 2, -1, -1):
        if at[-1] - at[start] < hours:
            continue
        slope = slope_of(after[start:], 1e9)
        if slope is None or slope.per_day > limit + 3 * slope.sd:
            break
        if best is None or slope.chance_below(limit) > best.chance_below(limit):
            best = slope
    return best


def _stuck(now: Progress) -> Finding | None:
    if now.phase == LAG or now.sugar_left_g_l < _left_that_counts():
        return None
    slope = still_stretch(now.points)
    if slope is None or now.gravity is None:
        return None
    chance = slope.chance_below(threshold("stuck", "fall_per_day"))
    borne_out = slope.count >= 3 or slope.hours >= 44
    sure = borne_out and chance >= threshold("stuck", "sure")
    if not sure and chance < 0.4:
        return None
    words = (
        f"Gravity stands at {now.gravity:.3f} over {slope.count} readings in {slope.hours:.0f} h "
        f"(fall {max(slope.per_day, 0):.4f} a day, error {slope.sd:.4f}) with about "
        f"{now.sugar_left_g_l:.0f} g/L of sugar left."
    )
    old = _old_h(now, "stuck", slope.hours)
    words += _read_ago(old)
    believed = chance * (1 if borne_out else 0.6) * (OLD if old else 1)
    return finding("stuck", 90, believed, words, sure=sure and not old)


def _old_h(now: Progress, rule: str, seen_h: float = 0.0) -> float:
    """How long ago the last reading was, where that is too long for the rule; else 0 [h].

    Readings over a stretch speak for as long again.
    """
    if now.last_reading_at is None:
        return 0.0
    hours = (now.now - now.last_reading_at).total_seconds() / 3600
    return hours if hours > max(threshold(rule, "fresh_h"), seen_h) else 0.0


def _read_ago(hours: float) -> str:
    """A sentence about it, if that is long ago."""
    return f" Last read {hours_words(hours)} ago." if hours else ""


def _left_that_counts() -> float:
    return threshold("stuck", "sugar_left_g_l")


def _too_warm(now: Progress) -> Finding | None:
    high = now.plan.yeast.temperature_high_c
    margin = threshold("too_warm", "margin_c")
    over = now.temperature_c - high
    if not now.temperature_read or over <= 0 or now.sugar_used > 0.985:
        return None
    chance = 0.5 * (1 + math.erf(over / (margin * math.sqrt(2))))
    hot = now.temperature_c >= threshold("too_warm", "sluggish_above_c")
    sheet = now.plan.sheet
    since = now.now - (now.temperature_at or now.now)
    hours = since.total_seconds() / 3600
    is_old = hours > threshold("too_warm", "fresh_h")
    words = (
        f"{degrees(now.temperature_c, sheet)} in the must"
        f"{f', read {hours_words(hours)} ago' if is_old else ''}; this yeast likes at most "
        f"{degrees(high, sheet)}."
    )
    if hot:
        limit = threshold("too_warm", "sluggish_above_c")
        words += f" Above {degrees(limit, sheet)} it turns sluggish."
    believed = chance * (OLD if is_old else 1)
    sure = over > margin and not is_old
    return finding("too_warm", 95 if hot else 70, believed, words, sure=sure)


def _rising(now: Progress, stands: Sequence[Standing]) -> Finding | None:
    if len(now.points) < 2 or now.points.hours[-2] < 0:
        return None
    before, last = now.points[-2:]
    if any(before.at <= s.at <= last.at and is_event(s, *ADDS_SUGAR) for s in stands):
        return None
    rise = last.gravity - before.gravity
    sd = math.hypot(before.gravity_sd, last.gravity_sd)
    least = threshold("gravity_rising", "least_rise")
    if rise < max(threshold("gravity_rising", "rise_sds") * sd, least):
        return None
    words = (
        f"{last.gravity:.3f} after {before.gravity:.3f}: up by {rise:.3f}, "
        f"{rise / sd:.1f} times the error of two readings, and no addition is written down."
    )
    return finding("gravity_rising", 60, 1 - 0.5 * math.erfc(rise / sd / math.sqrt(2)), words)


def _implausible(now: Progress, _stands: Sequence[Standing]) -> Finding | None:
    after = now.points.past_hour(0.0)
    if not after:
        return None
    last = after[-1]
    reason = _outside(now, last) or _too_fast(now, after)
    if not reason:
        return None
    return finding("implausible", 65, 0.9, f"{last.gravity:.3f} {reason}.")


def _outside(now: Progress, last: Point) -> str:
    room = threshold("implausible", "above_start") + 2 * last.gravity_sd
    if last.gravity > last.original_gravity + room:
        return f"lies above the gravity at pitch, {last.original_gravity:.3f}"
    if last.gravity < now.plan.must.dry_gravity - room:
        return f"lies below what dry would read, {now.plan.must.dry_gravity:.3f}"
    return ""


def _too_fast(now: Progress, after: Sequence[Point]) -> str:
    last = after[-1]
    before_h, before = 0.0, now.plan.must.gravity
    sd = last.gravity_sd
    if len(after) > 1:
        before_h, before = after[-2].hours, after[-2].gravity
        sd = math.hypot(sd, after[-2].gravity_sd)
    days = max(last.hours - before_h, 0.5) / 24
    most = (
        threshold("implausible", "fastest_per_day") * days
        + threshold("implausible", "off_sds") * sd
    )
    if before - last.gravity > most:
        return f"is {before - last.gravity:.3f} under the one {24 * days:.0f} h before"
    return ""


def _leftover(now: Progress) -> Finding | None:
    plan = now.plan
    weak = plan.must.potential_alcohol_pct < threshold("leftover_nitrogen", "weak_below_pct")
    if not weak or now.sugar_used < threshold("leftover_nitrogen", "near_end"):
        return None
    n = plan.nitrogen
    held = n.must_mg_l + n.rehydration_mg_l + now.fed_mg_l
    left = held - n.demand_mg_l
    least = threshold("leftover_nitrogen", "left_mg_l")
    if left < least:
        return None
    sd = max((n.must_high_mg_l - n.must_low_mg_l) / 3.29, 0.2 * n.demand_mg_l, 1.0)
    words = (
        f"The must held and was fed {held:.0f} mg N/L; this yeast takes about "
        f"{n.demand_mg_l:.0f} for so little sugar, so some {left:.0f} may be left at "
        f"{plan.must.potential_alcohol_pct:.1f} % vol."
    )
    chance = 0.5 * (1 + math.erf((left - least / 2) / (sd * math.sqrt(2))))
    return finding("leftover_nitrogen", 30, chance, words)


def _finished(now: Progress, stands: Sequence[Standing], zone: tzinfo) -> Finding | None:
    """Gravity stands still by the judgement of the finishing bench, with hardly any sugar left."""
    if now.sugar_left_g_l > threshold("finished", "sugar_left_g_l"):
        return None
    judged = settled(now, stands, zone)
    if judged is None or not judged.is_settled:
        return None
    found = judged.found
    warm = now.temperature_c >= threshold("finished", "warm_c")
    chance = 1 - found.chance_moving.value / 100
    words = (
        f"{found.gravity_now.value:.3f} has stood for {found.days_watched.value:.0f} days over "
        f"{len(judged.ask.readings)} readings"
        + (
            "."
            if warm
            else f", but at {degrees(now.temperature_c, now.plan.sheet, 0)}: prove it warm."
        )
    )
    rule = "finished" if found.bottle_still else "settled"
    words += _read_ago(_old_h(now, rule))
    return finding(rule, 5, chance if warm else chance * 0.5, words, sure=warm)


def _woken(now: Progress, stands: Sequence[Standing], zone: tzinfo) -> Finding | None:
    """After sweetening or blending: gravity falls again."""
    judged = settled(now, stands, zone)
    if judged is None or judged.found.verdict != "moving":
        return None
    found = judged.found
    words = (
        f"Gravity falls by {found.fall_per_day.value:.4f} a day over "
        f"{found.days_watched.value:.0f} days since something went in; it should stand still."
    )
    return finding("woken", 90, found.chance_moving.value / 100, words)


RULES: tuple[Callable[[Progress], Finding | None], ...] = (
    _no_start,
    _sluggish,
    _stuck,
    _too_warm,
    _leftover,
)
