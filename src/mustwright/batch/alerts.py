"""Is it going well: the rules that look at a running batch, each with evidence and a way out."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, tzinfo

from mustwright.batch.alert import Finding, finding, threshold
from mustwright.batch.alerts_ph import watch_ph
from mustwright.batch.assessment import AT_END, FINISHED, STOPPED, WAITING, Assessment, assess
from mustwright.batch.corrected_readings import Point
from mustwright.batch.duration_text import hours_words
from mustwright.batch.entries import ADDS_SUGAR
from mustwright.batch.log import Standing, is_event
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import CLOSED, FINISHING, PLANNED, Progress, slope_of
from mustwright.batch.restart_course import COMBINED
from mustwright.batch.stability import settled
from mustwright.nutrition.triggers import THIRD
from mustwright.unit_system import degrees

OLD = 0.6  # how far what was read long ago is still believed (assumed)


def watch(
    now: Progress,
    stands: Sequence[Standing] = (),
    zone: tzinfo = UTC,
    ph: PhForeseen | None = None,
    assessed: Assessment | None = None,
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
    assessed : Assessment or None
        None assesses it here.

    Notes
    -----
    The rules on the course are statements about the assessment; where the latest reading is in
    doubt, about one made without it, so that the ferment does not look stopped or fast by it.
    """
    if now.phase in (PLANNED, CLOSED) or now.hours is None:
        return ()
    if now.phase == FINISHING:
        woken = _woken(now, stands, zone)
        return () if woken is None else (woken,)
    found = [f for rule in (_implausible, _rising) if (f := rule(now, stands))]
    trusted, of = now, assessed or assess(now, stands)
    if found:
        trusted = _without_latest(now)
        of = assess(trusted, stands)
    found += [f for rule in RULES if (f := rule(trusted, of))]
    found += watch_ph(trusted, of, ph)
    if (still := _finished(trusted, stands, zone, of)) is not None:
        found.append(still)
    if any(f.rule == "stuck" for f in found):
        found = [f for f in found if f.rule != "sluggish"]
    return tuple(sorted(found, key=lambda f: (-f.severity * (0.5 + f.confidence / 2), f.rule)))


def _without_latest(now: Progress) -> Progress:
    points = now.points[:-1]
    used = max(float(points.used[-1]), 0.0) if points and points.hours[-1] > 0 else 0.0
    return replace(
        now,
        points=points,
        slope=slope_of(points, threshold("sluggish", "window_h")),
        gravity=float(points.gravity[-1]) if points else None,
        gravity_sd=float(points.gravity_sd[-1]) if points else None,
        last_reading_at=points[-1].at if points else None,
        sugar_used=used,
    )


def _no_start(now: Progress, of: Assessment) -> Finding | None:
    assert now.hours is not None
    cold = threshold("no_start", "per_10_c_cooler") ** ((20.0 - now.temperature_c) / 10.0)
    allowed = threshold("no_start", "after_h") * min(max(cold, 0.5), 4.0)
    if of.phase != WAITING or now.hours < allowed:
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


def _sluggish(now: Progress, of: Assessment) -> Finding | None:
    slope = now.slope
    if slope is None or now.gravity is None or (of.sugar_left_g_l.p50 or 0.0) < _left_that_counts():
        return None
    starting = now.sugar_used < 0.05 and (now.hours or 0) < 72
    if of.phase in (WAITING, AT_END, FINISHED) or starting:
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
    why = f"gravity falls by only {max(slope.per_day, 0):.4f} a day"
    return finding("sluggish", 50, chance * (OLD if old else 1), words, sure=not old, why=why)


def _stuck(now: Progress, of: Assessment) -> Finding | None:
    """More sugar left than counts, and no fall: by the assessment."""
    sure = of.phase == STOPPED
    if now.gravity is None or not (sure or of.may_have_stopped):
        return None
    left, end = of.sugar_left_g_l, of.end
    words = (
        f"Gravity {now.gravity:.3f} has not fallen for {hours_words(of.stood_h)} over "
        f"{of.stood_count} readings. This must may end at {end.low:.3f} to {end.high:.3f}: "
        f"{left.p05 or 0:.0f} to {left.p95 or 0:.0f} g/L of sugar is left."
    )
    if of.restart is not None and of.restart.state == COMBINED:
        words += " A restart starter was added; gravity has not fallen since."
    old = _old_h(now, "stuck", of.stood_h)
    words += _read_ago(old)
    believed = of.chance_stopped_short * (OLD if old else 1)
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


def _too_warm(now: Progress, of: Assessment) -> Finding | None:
    high = now.plan.yeast.temperature_high_c
    margin = threshold("too_warm", "margin_c")
    over = now.temperature_c - high
    if not now.temperature_read or over <= 0 or of.is_over:
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
    here, most = (degrees(c, sheet) for c in (now.temperature_c, high))
    why = f"{here} in the must, and this yeast likes at most {most}"
    act = f"Cool the must slowly to {degrees(high, sheet, 0)} or less"
    return finding("too_warm", 95 if hot else 70, believed, words, sure=sure, act=act, why=why)


def _unplanned_warmth(now: Progress, of: Assessment) -> Finding | None:
    """Warmer than the plan, though the yeast bears it: the pace and the feeds go by it."""
    planned, over = now.plan.must.temperature_c, now.temperature_c - now.plan.must.temperature_c
    margin = threshold("unplanned_warmth", "margin_c")
    within = now.temperature_c <= now.plan.yeast.temperature_high_c
    if not now.temperature_read or over < margin or not within or of.is_over:
        return None
    sheet = now.plan.sheet
    age = of.ages.temperature_h or 0.0
    is_old = age > threshold("unplanned_warmth", "fresh_h")
    here, wanted = degrees(now.temperature_c, sheet), degrees(planned, sheet)
    since_read = f", read {hours_words(age)} ago" if is_old else ""
    words = f"{here} in the must{since_read}; {wanted} was planned."
    chance = 0.5 * (1 + math.erf((over - margin / 2) / (margin / 2 * math.sqrt(2))))
    return finding(
        "unplanned_warmth", 52, chance * (OLD if is_old else 1), words, sure=not is_old,
        act=f"Bring the must back to {wanted}", why=f"it is at {here} and ferments faster than "
            f"planned",
    )  # fmt: skip


def _unfed(now: Progress, of: Assessment) -> Finding | None:
    """Past the third of the sugar with hardly anything of what was planned to be fed."""
    planned = sum(f.nitrogen_mg_l for f in now.plan.feeds if f.doses)
    fed, used = now.fed_mg_l, now.sugar_used
    enough = threshold("unfed", "least_share") * planned
    if planned <= 0 or used < THIRD or fed >= enough or of.is_over:
        return None
    words = (
        f"{fed:.0f} of {planned:.0f} mg N/L planned was fed, and {used:.0%} of the sugar is gone."
    )
    why = f"{used:.0%} of the sugar is gone, with {fed:.0f} of {planned:.0f} mg N/L fed"
    return finding("unfed", 51, 0.9, words, why=why)


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
        f"{rise / sd:.1f} times the error of two readings, and no addition is recorded."
    )
    sure = 1 - 0.5 * math.erfc(rise / sd / math.sqrt(2))
    why = f"{last.gravity:.3f} after {before.gravity:.3f}, and no addition is recorded"
    return finding("gravity_rising", 60, sure, words, why=why)


def _implausible(now: Progress, _stands: Sequence[Standing]) -> Finding | None:
    after = now.points.past_hour(0.0)
    if not after:
        return None
    last = after[-1]
    reason = _outside(now, last) or _too_fast(now, after)
    if not reason:
        return None
    why = f"{last.gravity:.3f} {reason}"
    return finding("implausible", 65, 0.9, f"{why}.", why=why)


def _outside(now: Progress, last: Point) -> str:
    room = threshold("implausible", "above_start") + 2 * last.gravity_sd
    if last.gravity > last.original_gravity + room:
        return f"is above the gravity at pitch, {last.original_gravity:.3f}"
    if last.gravity < now.plan.must.dry_gravity - room:
        return f"is below what a dry mead would read, {now.plan.must.dry_gravity:.3f}"
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
        return f"is {before - last.gravity:.3f} lower than the one {24 * days:.0f} h before"
    return ""


def _leftover(now: Progress, _of: Assessment) -> Finding | None:
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


def _finished(
    now: Progress, stands: Sequence[Standing], zone: tzinfo, of: Assessment
) -> Finding | None:
    """Gravity stands still by the judgement of the finishing bench, with hardly any sugar left."""
    if of.phase not in (AT_END, FINISHED):
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
            else f", but at {degrees(now.temperature_c, now.plan.sheet, 0)}: prove it in the warm."
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
        f"{found.days_watched.value:.0f} days since something went in; it should be steady."
    )
    return finding("woken", 90, found.chance_moving.value / 100, words)


RULES: tuple[Callable[[Progress, Assessment], Finding | None], ...] = (
    _no_start,
    _sluggish,
    _stuck,
    _too_warm,
    _unplanned_warmth,
    _unfed,
    _leftover,
)
