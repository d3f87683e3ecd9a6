"""What do I do next: one action, its amount, when, and one reason, agreeing with the assessment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo

from mustwright import data
from mustwright.batch.alert import Finding
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
from mustwright.batch.clock import clock, day_words
from mustwright.batch.diagnosis import Diagnosis
from mustwright.batch.duration_text import hours_words
from mustwright.batch.feed_triggers import is_due, next_feed, trigger_gravity
from mustwright.batch.finishing_due import FinishingDue, finishing_due
from mustwright.batch.legal_alerts import FED, LABEL, LAW, STOCK
from mustwright.batch.log import Standing
from mustwright.batch.outlook import BatchOutlook, Span
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.plan import PlannedFeed, once_each
from mustwright.batch.progress import Progress
from mustwright.batch.replan import KEPT, MOVED, Proposal
from mustwright.batch.restart import RestartPlan
from mustwright.batch.stopped_steps import Act, read_after_salt, restart_act, salt_act, stopped_act
from mustwright.batch.withdrawn_feeds import withdrawn_words

READ_EVERY_H = {WAITING: 12.0, SLOWING: 48.0, AT_END: 168.0, FINISHED: 168.0}
WORKING_READ_H = 24.0
SOON_H = 12.0
ABOVE = (FED, LABEL, STOCK)  # said above the next step, which stays what it is
NO_STEP = ("no_start", *ABOVE)
MOST_WORDS = 25
REREAD = ("implausible", "gravity_rising", "ph_implausible")


@dataclass(frozen=True)
class DoseNow:
    """A weighed amount of one nutrient."""

    nutrient: str
    name: str
    grams: float


@dataclass(frozen=True)
class NextStep:
    """The next thing to do.

    Parameters
    ----------
    kind : str
        ``pitch``, ``feed``, ``replan``, ``read``, ``check``, ``restart``, ``finish`` or ``none``.
    sentence : str
        All of it in one sentence.
    lead : str
        The same without clock time and reason.
    at, earliest, latest : datetime or None
        When, with its range (about 90 %); `at` is never before the moment it was made.
    gravity : float or None
        The one that triggers it.
    feed : str or None
        Key of the planned feed.
    is_due : bool
        Whether its moment has come by what is known now.
    finish : str or None
        The step of the finishing bench it leads to; empty for all of them.
    withdrawn : str
        The feeds of the plan that must not go in any more, by name.
    """

    kind: str
    sentence: str
    lead: str
    at: datetime | None
    earliest: datetime | None
    latest: datetime | None
    gravity: float | None
    doses: tuple[DoseNow, ...]
    why: str
    caution: str
    feed: str | None
    is_due: bool
    finish: str | None = None
    withdrawn: str = ""


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
    act on; a stop; what is urgent; a feed; what is less urgent; finishing; the next reading.
    """
    of = assessed or assess(now, stands, outlook)
    made = _ends(of, now) or _doubts(findings)
    if made is None:
        made = _course(now, of, outlook, findings, zone, stands, diagnosis, restart, ph)
    if made is None:
        made = _feeding(now, of, outlook, zone, proposal)
    if made is None:
        late = next((f for f in findings if f.severity >= 50 and f.rule not in ABOVE), None)
        due = None if late else finishing_due(now, findings, stands, zone, of)
        made = (
            _check(late) if late
            else _finish(due, now, zone) if due
            else _read_on(now, of, zone)
        )  # fmt: skip
    return _with_withdrawn(made, now)


def _with_withdrawn(made: NextStep, now: Progress) -> NextStep:
    words = withdrawn_words(now) if made.kind != "none" else ""
    return replace(made, withdrawn=words) if words else made


def _ends(of: Assessment, now: Progress) -> NextStep | None:
    if of.phase in (BOTTLED, ENDED):
        return _plain("none", "This batch is closed.", "It was bottled or ended.")
    if of.phase == NOT_PITCHED:
        return _plain(
            "pitch",
            f"Wake {now.plan.yeast.grams:.1f} g of yeast and pitch it, then write it down here.",
            "Feeds and forecast count from the pitch.",
            caution=_caution("yeast_heat"),
            is_due=True,
        )
    return None


def _doubts(findings: Sequence[Finding]) -> NextStep | None:
    """What law forbids, and a reading that cannot be trusted."""
    first = next((f for f in findings if f.rule == LAW), None)
    first = first or next((f for f in findings if f.rule in REREAD), None)
    return None if first is None else _check(first)


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
        return _act(act, now, zone)
    if of.is_stale:
        return _read_first(now, of, outlook)
    if of.phase == STOPPED:
        return _act(stopped_act(now, of, stands, diagnosis, restart, ph), now, zone)
    if of.may_have_stopped:
        return _perhaps_stopped(now, of, zone)
    urgent = next((f for f in findings if f.severity >= 60 and f.rule not in NO_STEP), None)
    if urgent is None:
        return None
    if urgent.rule == "ph_low" and urgent.sure:
        return _act(read_after_salt(now) or salt_act(now, of, ph, urgent.why), now, zone)
    return _check(urgent)


def _read_first(now: Progress, of: Assessment, outlook: BatchOutlook) -> NextStep:
    age = of.ages.gravity_h
    why = (
        f"the last reading is {hours_words(age)} old"
        if age is not None and age < (now.hours or 0.0)
        else f"nothing was read in the {hours_words(now.hours or 0.0)} since the pitch"
    )
    waits = next_feed(now, outlook)
    if waits is not None:
        why += f", and feed '{waits[0].name}' waits for one"
    lead = "Read gravity and temperature"
    return _reading(now, lead, f"{lead} now: {why}.", why, now.now)


def _perhaps_stopped(now: Progress, of: Assessment, zone: tzinfo) -> NextStep:
    """Likely enough to ask about: a reading a day later, or a sugar test where it stands long."""
    level = f"{of.gravity:.3f}" if of.gravity is not None else "it"
    if of.stood_h >= 168 and of.chance_finished > 0.1:
        why = f"{level} may be its end or a stop, and only a sugar test tells"
        lead = "Test the sugar that is left"
        return NextStep(
            "finish", f"{lead} now: {why}.", lead, None, None, None, None, (), why,
            _caution("pressure_glass"), None, True, "stable",
        )  # fmt: skip
    at = (now.last_reading_at or now.now) + timedelta(hours=24)
    lead, why = "Read gravity again, stirred and degassed", f"it may have stopped at {level}"
    when = "now" if at <= now.now else clock(at, now.now, zone)
    return _reading(now, lead, f"{lead}, {when}: {why}.", why, max(at, now.now))


# Feeds ------------------------------------------------------------------------------------------


def _feeding(
    now: Progress,
    of: Assessment,
    outlook: BatchOutlook,
    zone: tzinfo,
    proposal: Proposal | None,
) -> NextStep | None:
    if of.is_over or of.phase == STOPPED:
        return None
    replaced = proposal is not None and any(
        s.state == "withdrawn" and _changes(proposal, s.feed) for s in now.feeds
    )
    feed = next_feed(now, outlook)
    if replaced or (feed is not None and _changes(proposal, feed[0])):
        assert proposal is not None
        return _replan_step(proposal)
    return None if feed is None else _feed_step(now, *feed, zone)


def _changes(proposal: Proposal | None, feed: PlannedFeed) -> bool:
    """Whether a proposed plan changes more of a feed than its hour."""
    changes = proposal.changes if proposal else ()
    return any(c.key == feed.key and c.what not in (KEPT, MOVED) for c in changes)


def _replan_step(proposal: Proposal) -> NextStep:
    reason = proposal.reasons[0].partition(". ")[0].partition(":")[0].rstrip(".")
    lead = "Look over the changed plan before you feed"
    return NextStep(
        "replan", f"{lead}: {reason[0].lower()}{reason[1:]}.", lead, None, None, None, None, (),
        " ".join(proposal.reasons), " ".join(proposal.cautions), None, True,
    )  # fmt: skip


def _feed_step(now: Progress, feed: PlannedFeed, span: Span, zone: tzinfo) -> NextStep:
    gravity = trigger_gravity(now, feed.rule)
    due = is_due(now, feed.rule, span)
    at, low, high = (now.moment(h) for h in (span.expected_h, span.low_h, span.high_h))
    grams = " and ".join(f"{d.grams:g} g {_lower(d.name)}" for d in feed.doses)
    if not due and at < now.now:
        return _read_for_feed(now, feed, gravity, grams)
    sign = f", when gravity reaches {gravity:.3f}" if gravity is not None and not due else ""
    when = "now" if due else clock(at, now.now, zone)
    said = f"Feed {grams} {when}{sign}{_overdue(now, span, due)}"
    # Most jars say it themselves; once is enough.
    powder = () if "erupt" in feed.caution else (_caution("powder_in_gassy_must"),)
    return NextStep(
        "feed",
        f"{said}: {_feed_reason(now, feed, said)}.",
        f"Feed {grams}",
        max(at, now.now),
        max(low, now.now),
        max(high, now.now),
        gravity,
        tuple(DoseNow(d.nutrient, d.name, d.grams) for d in feed.doses),
        f"feed '{feed.name}' of protocol '{now.plan.protocol_name}', "
        f"bringing {feed.nitrogen_mg_l:.0f} mg N/L",
        once_each((feed.caution, *powder, *feed.notes)),
        feed.key,
        due,
    )


def _feed_reason(now: Progress, feed: PlannedFeed, said: str) -> str:
    """Which feed it is, and its nitrogen where the sentence has room for it."""
    number = [f.key for f in now.plan.feeds].index(feed.key) + 1
    for reason in (f"feed '{feed.name}', {feed.nitrogen_mg_l:.0f} mg N/L", f"feed '{feed.name}'"):
        if len(f"{said} {reason}".split()) <= MOST_WORDS:
            return reason
    return f"feed {number} of {len(now.plan.feeds)}"


def _read_for_feed(now: Progress, feed: PlannedFeed, gravity: float | None, grams: str) -> NextStep:
    """Its hour has passed, and no reading has shown its gravity yet."""
    lead = "Read gravity and temperature"
    sign = "once it works" if gravity is None else f"at {gravity:.3f} or less"
    why = f"feed '{feed.name}', {grams}, goes in {sign}"
    return _reading(now, lead, f"{lead} now: {why}.", why, now.now, gravity, feed.key)


def _overdue(now: Progress, span: Span, due: bool) -> str:
    late = (now.hours or 0.0) - span.expected_h
    return f" ({hours_words(late)} late)" if due and late > SOON_H else ""


# Everything else --------------------------------------------------------------------------------


def _caution(name: str) -> str:
    return str(data.load("cautions")[name]["text"])


def _check(finding: Finding) -> NextStep:
    lead = finding.act or f"{finding.title}: {finding.check[0].lower()}{finding.check[1:]}"
    lead = lead.rstrip(".")
    said = f"{lead} now: {finding.why}." if finding.act else f"{lead}."
    return NextStep(
        "check", said, lead, None, None, None, None, (), finding.evidence, finding.do, None, True
    )


def _act(act: Act, now: Progress, zone: tzinfo) -> NextStep:
    due = act.at is None or act.at <= now.now
    when = clock(act.at, now.now, zone) if act.at and not due else "now"
    said = f"{act.lead} {when}" if act.timed else act.lead
    return NextStep(
        act.kind, f"{said}: {act.why}.", act.lead, None if due else act.at,
        None if due else act.at, None, act.gravity, (), act.why, act.caution, None, due, act.finish,
    )  # fmt: skip


def _finish(due: FinishingDue, now: Progress, zone: tzinfo) -> NextStep:
    ahead = due.at is not None and due.at > now.now
    lead = due.lead
    said = f"{lead} {day_words(due.at, now.now, zone)}" if ahead and due.at else f"{lead} now"
    at = max(due.at, now.now) if due.at is not None else None
    return NextStep(
        "finish" if due.at is None else "read", f"{said}: {due.why}.", due.lead, at, at,
        None if at is None else at + timedelta(days=1), None, (), due.why,
        _caution("pressure_glass") if due.pressure else "", None, not ahead, due.step,
    )  # fmt: skip


def _read_on(now: Progress, of: Assessment, zone: tzinfo) -> NextStep:
    every = READ_EVERY_H.get(of.phase, WORKING_READ_H)
    last = now.last_reading_at or now.pitched or now.now
    at = last + timedelta(hours=every)
    when = "now" if at <= now.now else clock(at, now.now, zone)
    why = {
        WAITING: "the first fall of gravity shows that the yeast is at work",
        AT_END: "two weeks at the same gravity, warm, mean it is done",
        FINISHED: "two weeks at the same gravity, warm, mean it is done",
    }.get(of.phase, "two readings tell its pace")
    lead = "Read gravity and temperature"
    caution = "" if of.is_over else _caution("carbon_dioxide_room")
    made = _reading(now, lead, f"{lead} {when}: {why}.", why, max(at, now.now))
    return replace(made, caution=caution, is_due=at <= now.now)


def _reading(
    now: Progress,
    lead: str,
    sentence: str,
    why: str,
    at: datetime,
    gravity: float | None = None,
    feed: str | None = None,
) -> NextStep:
    return NextStep(
        "read", sentence, lead, at, at, at + timedelta(hours=12), gravity, (), why,
        _caution("carbon_dioxide_room"), feed, at <= now.now,
    )  # fmt: skip


def _plain(
    kind: str, sentence: str, why: str, *, caution: str = "", is_due: bool = False
) -> NextStep:
    lead = sentence.rstrip(".")
    return NextStep(kind, sentence, lead, None, None, None, None, (), why, caution, None, is_due)


def _lower(name: str) -> str:
    plain = name.split(" (")[0]
    return plain if plain.isupper() else plain[0].lower() + plain[1:]
