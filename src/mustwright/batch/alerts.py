"""Is it going well: the rules that look at a running batch, each with evidence and a way out."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, tzinfo

from mustwright.batch.alert import Finding, finding, rule_of, threshold
from mustwright.batch.alerts_ph import watch_ph
from mustwright.batch.alerts_readings import implausible, rising
from mustwright.batch.assessment import AT_END, FINISHED, STOPPED, WAITING, Assessment, assess
from mustwright.batch.duration_text import hours_words
from mustwright.batch.early_readings import early_finding
from mustwright.batch.log import Standing
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import CLOSED, FINISHING, PLANNED, Progress, slope_of
from mustwright.batch.restart_course import COMBINED
from mustwright.batch.stability import settled
from mustwright.must.gravity_text import gravity_sign, gravity_span, gravity_step, gravity_text
from mustwright.nutrition.triggers import THIRD
from mustwright.texts import Text, say
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
    early = early_finding(now.early, zone)
    if now.phase == FINISHING:
        return tuple(f for f in (_woken(now, stands, zone), early) if f is not None)
    found = [f for rule in (implausible, rising) if (f := rule(now, stands))]
    trusted, of = now, assessed or assess(now, stands)
    if found:
        trusted = _without_latest(now)
        of = assess(trusted, stands)
    found += [f for rule in RULES if (f := rule(trusted, of))]
    found += watch_ph(trusted, of, ph)
    if (still := _finished(trusted, stands, zone, of)) is not None:
        found.append(still)
    if early is not None:
        found.append(early)
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
        words = say(
            "Nothing was read in the {time} since pitch at {warm}; "
            "signs are usual within {allowed:.0f} h.",
            time=hours_words(now.hours),
            warm=warm,
            allowed=allowed,
        )
        return finding("no_start", 80, 0.3, words, sure=False)
    last = after[-1]
    fall = last.original_gravity - last.gravity
    words = say(
        "Gravity {gravity}, read {hours:.0f} h after pitch, has fallen by "
        "{step}; at {warm} signs are usual within {allowed:.0f} h.",
        gravity=gravity_text(last.gravity),
        hours=last.hours,
        step=gravity_step(max(fall, 0), last.gravity),
        warm=warm,
        allowed=allowed,
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
    if of.alcohol_pct >= now.plan.yeast.tolerance_pct:  # there it ends slowly, and may end sweet
        return None
    high = now.gravity > threshold("sluggish", "boundary")
    least = threshold("sluggish", "fall_per_day_high" if high else "fall_per_day_low")
    chance = slope.chance_below(least)
    if chance < 0.7:
        return None
    daily = gravity_step(max(slope.per_day, 0), now.gravity, 4)
    under = (
        say("{least:g}", least=least) if not gravity_sign() else gravity_step(least, now.gravity, 4)
    )
    words = say(
        "Gravity falls by {daily} a day (error {error}) over {hours:.0f} h at {gravity}; "
        "under {under} counts as sluggish here.",
        daily=daily,
        error=gravity_step(slope.sd, now.gravity, 4),
        hours=slope.hours,
        gravity=gravity_text(now.gravity),
        under=under,
    )
    old = _old_h(now, "sluggish", slope.hours)
    words = _and_read(words, old)
    why = say("gravity falls by only {daily} a day", daily=daily)
    return finding("sluggish", 50, chance * (OLD if old else 1), words, sure=not old, why=why)


def _stuck(now: Progress, of: Assessment) -> Finding | None:
    """More sugar left than counts, and no fall: by the assessment."""
    sure = of.phase == STOPPED
    if now.gravity is None or not (sure or of.may_have_stopped):
        return None
    left, end = of.sugar_left_g_l, of.end
    words = say(
        "Gravity {gravity} has not fallen for {time} over {count} readings. "
        "This must may end at {span}: {low:.0f} to {high:.0f} g/L of sugar is left.",
        gravity=gravity_text(now.gravity),
        time=hours_words(of.stood_h),
        count=of.stood_count,
        span=gravity_span(end.low, end.high),
        low=left.p05 or 0,
        high=left.p95 or 0,
    )
    if of.restart is not None and of.restart.state == COMBINED:
        words += " " + say("A restart starter was added; gravity has not fallen since.")
    old = _old_h(now, "stuck", of.stood_h)
    words = _and_read(words, old)
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


def _and_read(words: Text, hours: float) -> Text:
    """With a sentence about the last reading, if that is long ago."""
    if not hours:
        return words
    return words + " " + say("Last read {time} ago.", time=hours_words(hours))


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
    here, most = (degrees(c, sheet) for c in (now.temperature_c, high))
    words = (
        say(
            "{here} in the must, read {time} ago; this yeast likes at most {most}.",
            here=here,
            time=hours_words(hours),
            most=most,
        )
        if is_old
        else say("{here} in the must; this yeast likes at most {most}.", here=here, most=most)
    )
    if hot:
        limit = degrees(threshold("too_warm", "sluggish_above_c"), sheet)
        words += " " + say("Above {temperature} it turns sluggish.", temperature=limit)
    believed = chance * (OLD if is_old else 1)
    sure = over > margin and not is_old
    why = say("{here} in the must, and this yeast likes at most {most}", here=here, most=most)
    act = say("Cool the must slowly to {temperature} or less", temperature=degrees(high, sheet, 0))
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
    words = (
        say(
            "{here} in the must, read {time} ago; {wanted} was planned.",
            here=here,
            time=hours_words(age),
            wanted=wanted,
        )
        if is_old
        else say("{here} in the must; {wanted} was planned.", here=here, wanted=wanted)
    )
    chance = 0.5 * (1 + math.erf((over - margin / 2) / (margin / 2 * math.sqrt(2))))
    return finding(
        "unplanned_warmth", 52, chance * (OLD if is_old else 1), words, sure=not is_old,
        act=say("Bring the must back to {wanted}", wanted=wanted),
        why=say("it is at {here} and ferments faster than planned", here=here),
    )  # fmt: skip


def _unfed(now: Progress, of: Assessment) -> Finding | None:
    """Past the third of the sugar with hardly anything of what was planned to be fed."""
    planned = sum(f.nitrogen_mg_l for f in now.plan.feeds if f.doses)
    fed, used = now.fed_mg_l, now.sugar_used
    enough = threshold("unfed", "least_share") * planned
    over = of.is_over or of.phase == STOPPED  # what has stopped is not fed: the stop says why
    if planned <= 0 or used < THIRD or fed >= enough or over:
        return None
    words = say(
        "{fed:.0f} of {planned:.0f} mg N/L planned was fed, and {used:.0%} of the sugar is gone.",
        fed=fed,
        planned=planned,
        used=used,
    )
    why = say(
        "{used:.0%} of the sugar is gone, with {fed:.0f} of {planned:.0f} mg N/L fed",
        used=used,
        fed=fed,
        planned=planned,
    )
    do = rule_of("unfed")["do_late"] if used > now.plan.last_moment else ""
    return finding("unfed", 51, 0.9, words, why=why, do=do)


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
    words = say(
        "The must held and was fed {held:.0f} mg N/L; this yeast takes about {demand:.0f} for so "
        "little sugar, so some {left:.0f} may be left at {alcohol:.1f} % vol.",
        held=held,
        demand=n.demand_mg_l,
        left=left,
        alcohol=plan.must.potential_alcohol_pct,
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
    stood = say(
        "{gravity} has stood for {days:.0f} days over {readings} readings",
        gravity=gravity_text(found.gravity_now.value),
        days=found.days_watched.value,
        readings=len(judged.ask.readings),
    )
    words = (
        stood + "."
        if warm
        else say(
            "{stood}, but at {temperature}: prove it in the warm.",
            stood=stood,
            temperature=degrees(now.temperature_c, now.plan.sheet, 0),
        )
    )
    kept = of.held.stabilised not in ("", "no")
    rule = "finished" if found.bottle_still or kept else "settled"
    words = _and_read(words, _old_h(now, rule))
    return finding(rule, 5, chance if warm else chance * 0.5, words, sure=warm)


def _woken(now: Progress, stands: Sequence[Standing], zone: tzinfo) -> Finding | None:
    """After sweetening or blending: gravity falls again."""
    judged = settled(now, stands, zone)
    if judged is None or judged.found.verdict != "moving":
        return None
    found = judged.found
    falls = gravity_step(found.fall_per_day.value, found.gravity_now.value, 4)
    words = say(
        "Gravity falls by {falls} a day over {days:.0f} days since something went in; "
        "it should be steady.",
        falls=falls,
        days=found.days_watched.value,
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
