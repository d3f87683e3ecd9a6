"""What to do with a batch that has stopped short, step by step until it works again or is given up.

First the measurement that tells the likeliest causes apart; then what it asks for; then, if that
does not set it going, the restart as a course of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from mustwright import data
from mustwright.batch.alert import threshold
from mustwright.batch.assessment import Assessment
from mustwright.batch.clock import day_words
from mustwright.batch.diagnosis import COOLED_C, Diagnosis
from mustwright.batch.duration_text import hours_words
from mustwright.batch.log import Standing, is_event
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import Progress
from mustwright.batch.restart import COMBINE, RestartPlan, seldom_takes
from mustwright.batch.restart_course import COMBINED, GIVEN_UP, STARTER
from mustwright.batch.salt_advice import SHOWS, SaltAdvice, salt_advice, salted_since
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import say
from mustwright.unit_system import degrees, volume

WARM_H = 72.0  # how long a temperature of the must is believed (assumed)
SHOWS_AFTER_H = 48.0  # until a change shows whether it was that (assumed)
GIVE_UP = say("Stop the restart: blend the mead, or stabilise it and keep it sweet")
TWO_DAYS = {
    "moved": say("two days show whether warmth set it going"),
    "ph_adjusted": say("two days show whether pH set it going"),
}
REMEDIES = ("moved", "ph_adjusted", "stirred", "aerated")
MEASURE = {
    "ph_potassium": (
        say("Read pH with a calibrated meter"),
        say("it has stopped short, and low pH is a likely cause"),
    ),
    "temperature": (
        say("Read the temperature in the middle of the must"),
        say("it has stopped short, and cold or heat is a likely cause"),
    ),
    "instrument": (
        say("Read gravity again, stirred and degassed"),
        say("only two readings say that it has stopped"),
    ),
}


@dataclass(frozen=True)
class Act:
    """One action, when (None for now), and one reason; `timed` where the time follows the lead."""

    kind: str
    lead: str
    why: str
    at: datetime | None = None
    caution: str = ""
    gravity: float | None = None
    finish: str | None = None
    timed: bool = True


def stopped_act(
    now: Progress,
    of: Assessment,
    events: Sequence[Standing],
    diagnosis: Diagnosis | None,
    restart: RestartPlan | None,
    ph: PhForeseen | None,
) -> Act:
    """What comes next for one that has stopped short."""
    tried = _tried(now, of, events)
    if tried is not None:
        return tried
    missing = _missing(of, diagnosis)
    if missing is not None:
        return missing
    return _low_ph(now, of, ph) or _out_of_range(now) or _start_again(of, restart)


def _tried(now: Progress, of: Assessment, events: Sequence[Standing]) -> Act | None:
    """Something was changed after the last reading: it gets time to show."""
    if salted_since(now, of) is not None:
        return salt_act(salt_advice(now, of, None), "")
    done = [(s.at, s.what.what) for s in events if is_event(s, *REMEDIES) and s.at <= now.now]
    if now.salted_at is not None:
        done.append((now.salted_at, "ph_adjusted"))
    read = now.last_reading_at
    if not done or read is None:
        return None
    last, what = max(done)
    at = last + timedelta(hours=SHOWS_AFTER_H)
    if read >= at or last < read - timedelta(hours=SHOWS_AFTER_H):
        return None
    why = TWO_DAYS.get(what, say("two days show whether stirring set it going"))
    return Act("read", say("Read gravity and temperature"), why, at)


def _missing(of: Assessment, diagnosis: Diagnosis | None) -> Act | None:
    """The measurement that the likeliest causes wait for, of those made at home."""
    causes = [c.cause for c in diagnosis.causes[:3]] if diagnosis else ["ph_potassium"]
    lacking = {
        "ph_potassium": not _within(of.ages.ph_h, of.stood_h + (of.ages.gravity_h or 0.0) + 48),
        "temperature": not _within(of.ages.temperature_h, WARM_H),
        "instrument": of.stood_count < 3,
    }
    cause = next((c for c in causes if lacking.get(c)), None)
    return None if cause is None else Act("check", *MEASURE[cause])


def _within(age_h: float | None, most_h: float) -> bool:
    return age_h is not None and age_h <= most_h


def _low_ph(now: Progress, of: Assessment, ph: PhForeseen | None) -> Act | None:
    if now.ph is None or now.ph_at is None or now.ph >= threshold("ph_low", "floor"):
        return None
    why = say("at pH {ph:.2f} yeast hardly works", ph=now.ph)
    found = salt_advice(now, of, ph)
    if found.kind != "none":
        return salt_act(found, why)
    if now.ph >= threshold("ph_low", "restart_low"):
        return None
    return Act("check", found.words, why, caution=found.caution)


def salt_act(found: SaltAdvice, why: str) -> Act:
    """The advice against a low pH as the next step."""
    if found.kind == "read":
        return Act("read", found.words, SHOWS, found.at)
    return Act("check", found.words, why, caution=found.caution, timed=False)


def _out_of_range(now: Progress) -> Act | None:
    yeast, warm, sheet = now.plan.yeast, now.temperature_c, now.plan.sheet
    if not now.temperature_read:
        return None
    middle = (yeast.temperature_low_c + yeast.temperature_high_c) / 2
    if warm < yeast.temperature_low_c + 1:
        said = say(
            "{temperature} is at the low end of what this yeast works at",
            temperature=degrees(warm, sheet),
        )
        return Act(
            "check",
            say("Warm the must to {temperature} over a day", temperature=degrees(middle, sheet, 0)),
            said,
            timed=False,
        )
    planned = now.plan.must.temperature_c
    if warm < planned - COOLED_C:
        wanted = degrees(planned, sheet, 0)
        said = say(
            "{temperature} is cooler than planned, and cooling stops some ferments",
            temperature=degrees(warm, sheet),
        )
        return Act(
            "check", say("Warm the must to {wanted} over a day", wanted=wanted), said, timed=False
        )
    if warm > yeast.temperature_high_c:
        said = say("{temperature} is more than this yeast likes", temperature=degrees(warm, sheet))
        return Act(
            "check",
            say("Cool the must to {temperature} over a day", temperature=degrees(middle, sheet, 0)),
            said,
            timed=False,
        )
    return None


def _start_again(of: Assessment, restart: RestartPlan | None) -> Act:
    left = of.sugar_left_g_l
    level = gravity_text(of.gravity) if of.gravity is not None else say("this gravity")
    if restart is not None and seldom_takes(of.alcohol_pct):
        why = (
            say("at {alcohol:.1f} % vol a restart seldom takes", alcohol=of.alcohol_pct)
            if restart.worth_it
            else say("at {alcohol:.1f} % vol no yeast can go on", alcohol=of.alcohol_pct)
        )
        lead = say("Blend it, or stabilise it and keep it sweet")
        return Act("finish", lead, why, finish="", timed=False)
    stood = of.stood_h + (of.ages.gravity_h or 0.0)
    why = say(
        "it has stood at {level} for {time} with about {sugar:.0f} g/L of sugar left",
        level=level,
        time=hours_words(stood),
        sugar=left.p50 or 0,
    )
    caution = data.load("cautions")["powder_in_gassy_must"]["text"]
    return Act("restart", say("Set up the restart starter"), why, caution=caution)


# The restart ------------------------------------------------------------------------------------


def restart_act(
    now: Progress, of: Assessment, restart: RestartPlan | None, zone: tzinfo
) -> Act | None:
    """The next step of a restart under way; None without one, and once it has taken."""
    course = of.restart
    if course is None or of.is_over:
        return None
    if course.state == STARTER:
        return _next_of_starter(course.doublings, course.since, restart, now.plan.sheet)
    if course.state == COMBINED:
        return _after_combining(now, of, zone)
    if course.state == GIVEN_UP:
        days = float(data.load("watch")["restart"]["give_up_days"]["value"])
        why = say("no fall in the {days:.0f} days since the starter went in", days=days)
        return Act("finish", GIVE_UP, why, finish="", timed=False)
    return None


def _next_of_starter(
    doublings: int, since: datetime, restart: RestartPlan | None, sheet: str
) -> Act:
    steps = restart.steps if restart else ()
    done, coming = steps[: doublings + 1], steps[doublings + 1 :]
    if not coming:
        lead = say("Combine the starter with the batch, and record it here")
        return Act("restart", lead, say("it is as large as the plan has it"), timed=False)
    before, step = done[-1], coming[0]
    at = since + timedelta(hours=before.hours)
    why = say(
        "once the starter reads {gravity} or less",
        gravity=gravity_text(before.move_on_at),
    )
    if step.name == COMBINE:
        return Act(
            "restart",
            say("Rack the other {amount} onto the starter", amount=volume(step.mead_l, sheet)),
            why,
            at,
        )
    more = volume(step.mead_l, sheet, 2)
    return Act("restart", say("Double the starter with {more} of the mead", more=more), why, at)


def _after_combining(now: Progress, of: Assessment, zone: tzinfo) -> Act:
    course = of.restart
    assert course is not None
    assert course.give_up_at is not None
    last = now.last_reading_at
    base = last if last is not None and last > course.since else course.since
    fall = float(data.load("watch")["restart"]["taken_fall"]["value"])
    if course.level is None or base == course.since:
        why = say("a first fall shows whether the restart has taken")
    else:
        end = day_words(course.give_up_at, now.now, zone)
        why = say(
            "{gravity} or less shows that the restart has taken; give up {end}",
            gravity=gravity_text(course.level - fall),
            end=end,
        )
    return Act("read", say("Read gravity"), why, base + timedelta(hours=24))
