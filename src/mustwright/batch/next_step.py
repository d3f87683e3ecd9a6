"""What do I do next: one action, its amount, when, and one reason, agreeing with the assessment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta, tzinfo

from mustwright.batch.alert import Finding
from mustwright.batch.alerts_ph import is_dose_due
from mustwright.batch.assessment import (
    AT_END,
    BOTTLED,
    ENDED,
    FINISHED,
    NOT_PITCHED,
    SLOWING,
    STOPPED,
    WAITING,
    Assessment,
    assess,
)
from mustwright.batch.clock import NOW, clock
from mustwright.batch.diagnosis import Diagnosis
from mustwright.batch.duration_text import hours_words
from mustwright.batch.feed_step import feeding, is_overdue
from mustwright.batch.feed_triggers import hours_of_feeds_passed, next_feed
from mustwright.batch.finishing_due import finishing_due
from mustwright.batch.legal_alerts import FED, LABEL, LAW, STOCK
from mustwright.batch.log import Standing
from mustwright.batch.one_step import (
    NextStep,
    act_step,
    caution_text,
    check_step,
    finish_step,
    plain_step,
    reading_step,
    timed,
)
from mustwright.batch.outlook import BatchOutlook
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import Progress
from mustwright.batch.replan import Proposal
from mustwright.batch.restart import RestartPlan
from mustwright.batch.salt_advice import salt_advice
from mustwright.batch.salt_reading import salt_reading
from mustwright.batch.stopped_steps import restart_act, salt_act, stopped_act
from mustwright.batch.withdrawn_feeds import withdrawn_words
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import capital, say
from mustwright.yeast.pitch import small_amount

READ_EVERY_H: dict[str, float] = {
    WAITING: 12.0, SLOWING: 48.0, AT_END: 168.0, FINISHED: 168.0,
}  # fmt: skip
WORKING_READ_H = 24.0
READING_SHOWS: dict[str, str] = {
    WAITING: say("the first fall in gravity shows that the yeast is working"),
    SLOWING: say("the next readings show where it ends"),
    AT_END: say("two weeks at the same gravity in the warm mean it is done"),
    FINISHED: say("two weeks at the same gravity in the warm mean it is stable"),
}
ABOVE = (FED, LABEL, STOCK)  # said above the next step, which stays what it is
NO_STEP = ("no_start", *ABOVE)
REREAD = ("implausible", "gravity_rising", "ph_implausible")


def next_step(
    now: Progress,
    outlook: BatchOutlook,
    findings: Sequence[Finding],
    zone: tzinfo,
    proposal: Proposal | None = None,
    stands: Sequence[Standing] = (),
    *,
    assessed: Assessment | None = None,
    diagnosis: Diagnosis | None = None,
    restart: RestartPlan | None = None,
    ph: PhForeseen | None = None,
) -> NextStep:
    """The one thing to do next.

    Parameters
    ----------
    now : Progress
        With its withdrawn feeds marked.
    stands : sequence of Standing
        Events and finishing steps of the log.
    assessed : Assessment or None
        None assesses it here.
    diagnosis, restart : Diagnosis or RestartPlan or None
        Of one that has stopped short.
    ph : PhForeseen or None
        What the acid model says, where it knows the latest pH reading.

    Notes
    -----
    In this order: what law forbids; a reading in doubt; a restart under way; knowledge too old to
    act on; a stop; what is urgent; a feed that is late; the pH at the moment of the plan's salt; a
    salt that a pH read just now calls for; a feed; what a salt did; what is less urgent; finishing;
    the next reading.
    """
    of = assessed or assess(now, stands, outlook)
    made = _ends(of, now) or _doubts(findings)
    if made is None:
        made = _course(now, of, outlook, findings, zone, stands, diagnosis, restart, ph)
    if made is None:
        feed = feeding(now, of, outlook, zone, proposal)
        waits = feed is not None and is_overdue(now, outlook)  # yeast goes hungry meanwhile
        salt = salt_reading(now, of, outlook) or _dose_due(now, of, findings, zone, ph)
        made = feed if waits else salt or feed
        made = _after_salt(now, of, zone, ph, made)
    if made is None:
        late = next((f for f in findings if f.severity >= 50 and not _is_said(f, of)), None)
        due = None if late else finishing_due(now, findings, stands, zone, of)
        if late is not None and late.rule == "sluggish" and _is_fresh(of.ages.temperature_h):
            late = replace(late, act=say("Read pH of the must"))
        made = (
            check_step(late) if late
            else finish_step(due, now, zone) if due
            else _read_on(now, of, zone, findings)
        )  # fmt: skip
    return _with_withdrawn(made, now)


def _with_withdrawn(made: NextStep, now: Progress) -> NextStep:
    words = withdrawn_words(now) if made.kind != "none" else ""
    return replace(made, withdrawn=words) if words else made


def _is_said(finding: Finding, of: Assessment) -> bool:
    """Whether a finding has no action of its own: it stands above, or what it asks for was read."""
    fresh = _is_fresh(of.ages.temperature_h) and _is_fresh(of.ages.ph_h)
    unfed = finding.rule == "unfed" and not of.is_stale  # what never went in cannot be made good
    return finding.rule in ABOVE or unfed or (finding.rule == "sluggish" and fresh)


def _is_fresh(age_h: float | None) -> bool:
    return age_h is not None and age_h <= WORKING_READ_H


def _ends(of: Assessment, now: Progress) -> NextStep | None:
    if of.phase in (BOTTLED, ENDED):
        return plain_step("none", say("This batch is closed."), say("It was bottled or ended."))
    if of.phase == NOT_PITCHED:
        grams = small_amount(now.plan.yeast.grams, 1)
        return plain_step(
            "pitch",
            say("Rehydrate {grams} g of yeast, pitch it and record it here.", grams=grams),
            say("Feeds and forecast count from the pitch."),
            lead=say("Rehydrate {grams} g of yeast and pitch it", grams=grams),
            caution=caution_text("yeast_heat"),
            is_due=True,
        )
    return None


def _doubts(findings: Sequence[Finding]) -> NextStep | None:
    """What law forbids, and a reading that cannot be trusted."""
    first = next((f for f in findings if f.rule == LAW), None)
    first = first or next((f for f in findings if f.rule in REREAD), None)
    return None if first is None else check_step(first)


def _course(
    now: Progress,
    of: Assessment,
    outlook: BatchOutlook,
    findings: Sequence[Finding],
    zone: tzinfo,
    stands: Sequence[Standing],
    diagnosis: Diagnosis | None,
    restart: RestartPlan | None,
    ph: PhForeseen | None,
) -> NextStep | None:
    """A restart, knowledge that is too old, a stop, and what is urgent."""
    act = restart_act(now, of, restart, zone)
    if act is not None:
        return act_step(act, now, zone)
    if of.is_stale:
        return _read_first(now, of, outlook)
    if of.phase == STOPPED:
        return act_step(stopped_act(now, of, stands, diagnosis, restart, ph), now, zone)
    if of.may_have_stopped:
        return _perhaps_stopped(now, of, zone)
    urgent = next((f for f in findings if f.severity >= 60 and f.rule not in NO_STEP), None)
    if urgent is None:
        return None
    if urgent.rule == "ph_low" and urgent.sure:
        return act_step(salt_act(salt_advice(now, of, ph), urgent.why), now, zone)
    return _dose_due(now, of, [urgent], zone, ph) or check_step(urgent)


def _dose_due(
    now: Progress,
    of: Assessment,
    findings: Sequence[Finding],
    zone: tzinfo,
    ph: PhForeseen | None,
) -> NextStep | None:
    """The salt against a pH that is heading low, where it was read just now."""
    falls = next((f for f in findings if f.rule == "ph_falling"), None)
    if falls is None or not is_dose_due(now, ph):
        return None
    found = salt_advice(now, of, ph)
    return act_step(salt_act(found, falls.why), now, zone) if found.kind == "add" else None


def _after_salt(
    now: Progress, of: Assessment, zone: tzinfo, ph: PhForeseen | None, made: NextStep | None
) -> NextStep | None:
    """The reading that shows what a salt did, before anything that is not due yet."""
    found = salt_advice(now, of, ph)
    if of.is_over or found.kind != "read" or found.at is None:
        return made
    if made is not None and (made.is_due or made.at is None or made.at <= found.at):
        return made
    return act_step(salt_act(found, ""), now, zone)


def _read_first(now: Progress, of: Assessment, outlook: BatchOutlook) -> NextStep:
    age = of.ages.gravity_h
    why = (
        say("the last reading is {time} old", time=hours_words(age))
        if age is not None and age < (now.hours or 0.0)
        else say(
            "nothing was read in the {time} since the pitch",
            time=hours_words(now.hours or 0.0),
        )
    )
    if next_feed(now, outlook) is not None and not hours_of_feeds_passed(now):
        why = say("{why}, and the next feed waits for one", why=why)
    lead = say("Read gravity and temperature")
    return reading_step(now, lead, timed(lead, NOW, why), why, now.now)


def _perhaps_stopped(now: Progress, of: Assessment, zone: tzinfo) -> NextStep:
    """Likely enough to ask about: a reading a day later, or a sugar test where it stands long."""
    level = None if of.gravity is None else gravity_text(of.gravity)
    if of.stood_h >= 168 and of.chance_finished > 0.1:
        why = (
            say("it may be the end or a stop; only a sugar test shows which")
            if level is None
            else say("{level} may be the end or a stop; only a sugar test shows which", level=level)
        )
        lead = say("Test the sugar that is left")
        return NextStep(
            "finish", timed(lead, NOW, why), lead, None, None, None, None, (), why,
            caution_text("pressure_glass"), None, True, "stable",
        )  # fmt: skip
    at = (now.last_reading_at or now.now) + timedelta(hours=24)
    lead = say("Read gravity again, stirred and degassed")
    why = (
        say("it may have stopped")
        if level is None
        else say("it may have stopped at {level}", level=level)
    )
    when = NOW if at <= now.now else clock(at, now.now, zone)
    said = say("{lead}, {when}: {why}.", context="next step", lead=lead, when=when, why=why)
    return reading_step(now, lead, capital(said), why, max(at, now.now))


def _read_on(now: Progress, of: Assessment, zone: tzinfo, findings: Sequence[Finding]) -> NextStep:
    every = READ_EVERY_H.get(of.phase, WORKING_READ_H)
    last = now.last_reading_at or now.pitched or now.now
    at = last + timedelta(hours=every)
    when = NOW if at <= now.now else clock(at, now.now, zone)
    why = READING_SHOWS.get(of.phase, say("one reading a day shows its pace"))
    unfed = next((f for f in findings if f.rule == "unfed"), None)
    if unfed is not None and now.sugar_used <= now.plan.last_moment:
        why = say("{why}: it may stop short", why=unfed.why)
    lead = say("Read gravity and temperature")
    caution = "" if of.is_over else caution_text("carbon_dioxide_room")
    made = reading_step(now, lead, timed(lead, when, why), why, max(at, now.now))
    return replace(made, caution=caution, is_due=at <= now.now)
