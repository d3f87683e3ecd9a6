"""What do I do next: one sentence with grams, clock time, the gravity that triggers it, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from mustwright import data
from mustwright.batch.alert import Finding
from mustwright.batch.corrected_readings import must_course
from mustwright.batch.duration_text import hours_words
from mustwright.batch.finishing_due import FinishingDue, finishing_due
from mustwright.batch.legal_alerts import FED, LABEL, STOCK
from mustwright.batch.log import Standing
from mustwright.batch.outlook import BatchOutlook, Span
from mustwright.batch.plan import PlannedFeed, once_each
from mustwright.batch.progress import CLOSED, DRY, FINISHING, LAG, PLANNED, Progress
from mustwright.batch.replan import KEPT, MOVED, Proposal
from mustwright.must.gravity import gravity_from_brix
from mustwright.nutrition.triggers import Trigger

READ_EVERY_H = {"lag": 12.0, "first third": 24.0, "middle": 24.0, "tail": 72.0}
LATE_READING_H = 168.0
SOON_H = 12.0
NO_STEP = ("no_start", FED, LABEL, STOCK)  # said above the next step, which stays what it is


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
        ``pitch``, ``feed``, ``replan``, ``read``, ``check``, ``finish`` or ``none``.
    sentence : str
        All of it in one sentence.
    lead : str
        The same without clock time and reason.
    at, earliest, latest : datetime or None
        When, with its range (about 90 %).
    gravity : float or None
        The one that triggers it.
    feed : str or None
        Key of the planned feed.
    is_due : bool
        Whether its moment has come by what is known now.
    finish : str or None
        The step of the finishing bench it leads to; empty for all of them.
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


def next_step(
    now: Progress,
    outlook: BatchOutlook,
    findings: Sequence[Finding],
    zone: tzinfo,
    proposal: Proposal | None = None,
    stands: Sequence[Standing] = (),
) -> NextStep:
    """The one thing to do next.

    Parameters
    ----------
    stands : sequence of Standing
        Events and finishing steps of the log, for what is due once it is dry.
    """
    if now.phase == CLOSED:
        return _plain("none", "This batch is closed.", "It was bottled or ended.")
    if now.phase == PLANNED:
        return _plain(
            "pitch",
            f"Wake {now.plan.yeast.grams:.1f} g of yeast and pitch it, then write it down here.",
            "Feeds and forecast count from the pitch.",
            caution=str(data.load("cautions")["yeast_heat"]["text"]),
            is_due=True,
        )
    urgent = next((f for f in findings if f.severity >= 60 and f.rule not in NO_STEP), None)
    if urgent is not None:
        return _check(urgent)
    over = now.phase in (DRY, FINISHING)  # nothing is left to feed on
    feed = None if over else next_feed(now, outlook)
    if feed is not None and _changes(proposal, feed[0]):
        assert proposal is not None
        return _replan_step(proposal)
    if feed is not None:
        return _feed_step(now, *feed, zone)
    late = next(
        (f for f in findings if f.severity >= 50 and f.rule not in (FED, LABEL, STOCK)), None
    )
    if late is not None:
        return _check(late)
    finishing = finishing_due(now, findings, stands, zone)
    return _finish(finishing, now, zone) if finishing is not None else _read_on(now, zone)


def _changes(proposal: Proposal | None, feed: PlannedFeed) -> bool:
    """Whether a proposed plan changes more of a feed than its hour."""
    changes = proposal.changes if proposal else ()
    return any(c.key == feed.key and c.what not in (KEPT, MOVED) for c in changes)


def _replan_step(proposal: Proposal) -> NextStep:
    reason = proposal.reasons[0].rstrip(".")
    return NextStep(
        "replan",
        f"Look over the changed plan before you feed, because {reason[0].lower()}{reason[1:]}.",
        "Look over the changed plan before you feed",
        None,
        None,
        None,
        None,
        (),
        " ".join(proposal.reasons),
        " ".join(proposal.cautions),
        None,
        True,
    )


def next_feed(now: Progress, outlook: BatchOutlook) -> tuple[PlannedFeed, Span] | None:
    """The open feed to give next: the first that is due, else the first of the plan."""
    spans = [(s.feed, outlook.due(s.feed.rule)) for s in now.feeds if s.state == "ahead"]
    due = [pair for pair in spans if is_due(now, pair[0].rule, pair[1])]
    return next(iter(due or spans), None)


def is_due(now: Progress, trigger: Trigger, span: Span) -> bool:
    """Whether a trigger has come true by the readings and the clock."""
    assert now.hours is not None
    if trigger.kind == "first_of":
        return any(is_due(now, t, span) for t in trigger.either)
    if trigger.kind in ("pitch", "after_pitch"):
        return now.hours >= trigger.amount
    if trigger.kind in ("onset", "after_onset"):
        return now.onset_h is not None and now.hours >= now.onset_h + trigger.amount
    return bool(now.points) and now.sugar_used >= trigger_used(now, trigger) - 0.01


def trigger_used(now: Progress, trigger: Trigger) -> float:
    """Fraction of the sugar at which a sugar or gravity trigger comes true; 1 for others."""
    if trigger.kind == "sugar_used":
        return trigger.amount
    gravity = trigger_gravity(now, trigger)
    course = must_course(now.plan.must)
    return 1.0 if gravity is None else float(course.used_at_gravity(gravity))


def trigger_gravity(now: Progress, trigger: Trigger) -> float | None:
    """The hydrometer's gravity at which a trigger comes true, if gravity is what it waits for."""
    if trigger.kind == "sugar_used":
        return float(must_course(now.plan.must).gravity_at(trigger.amount))
    if trigger.kind == "gravity_drop":
        return float(gravity_from_brix(max(now.plan.must.brix - trigger.amount, -4.0)))
    if trigger.kind == "first_of":
        found = [g for t in trigger.either if (g := trigger_gravity(now, t)) is not None]
        return max(found, default=None)
    return None


def _feed_step(now: Progress, feed: PlannedFeed, span: Span, zone: tzinfo) -> NextStep:
    gravity = trigger_gravity(now, feed.rule)
    due = is_due(now, feed.rule, span)
    at, low, high = (now.moment(h) for h in (span.expected_h, span.low_h, span.high_h))
    grams = " and ".join(f"{d.grams:g} g {_lower(d.name)}" for d in feed.doses)
    sign = f", when gravity reaches {gravity:.3f}" if gravity is not None and not due else ""
    when = "now" if due else f"{clock(at, now.now, zone)}{_between(low, high, now.now, zone)}"
    if not due and at < now.now:
        seen = "it" if gravity is None else f"gravity {gravity:.3f} or less"
        when, sign = f"as soon as a reading shows {seen}", ""
    why = _feed_why(now, feed, due)
    overdue = _overdue(now, span, due)
    # Most jars say it themselves; once is enough.
    powder = () if "erupt" in feed.caution else (_caution("powder_in_gassy_must"),)
    return NextStep(
        "feed",
        f"Feed {grams} {when}{sign}{overdue}: {why}.",
        f"Feed {grams}",
        at,
        low,
        high,
        gravity,
        tuple(DoseNow(d.nutrient, d.name, d.grams) for d in feed.doses),
        why,
        once_each((feed.caution, *powder, *feed.notes)),
        feed.key,
        due,
    )


def _caution(name: str) -> str:
    return str(data.load("cautions")[name]["text"])


def _feed_why(now: Progress, feed: PlannedFeed, due: bool) -> str:
    part = f"feed '{feed.name}' of protocol '{now.plan.protocol_name}'"
    if due and now.points and now.hours and now.hours > 0 and feed.rule.kind not in ("pitch",):
        part += f", and {now.sugar_used:.0%} of the sugar is gone"
    return f"{part}, bringing {feed.nitrogen_mg_l:.0f} mg N/L"


def _overdue(now: Progress, span: Span, due: bool) -> str:
    late = (now.hours or 0.0) - span.expected_h
    return f" ({hours_words(late)} late)" if due and late > SOON_H else ""


def _check(finding: Finding) -> NextStep:
    lead = f"{finding.title}: " + finding.check[0].lower() + finding.check[1:].rstrip(".")
    return NextStep(
        "check",
        f"{lead}, because {finding.evidence[0].lower()}{finding.evidence[1:]}",
        lead,
        None,
        None,
        None,
        None,
        (),
        finding.evidence,
        finding.do,
        None,
        True,
    )


def _finish(due: FinishingDue, now: Progress, zone: tzinfo) -> NextStep:
    lead = due.lead
    if due.at is not None and due.at > now.now:
        lead += f" {clock(due.at, now.now, zone).partition(' about')[0]}"
    return NextStep(
        "finish" if due.at is None else "read",
        f"{lead}: {due.why}.",
        due.lead,
        due.at,
        due.at,
        None if due.at is None else due.at + timedelta(days=1),
        None,
        (),
        due.why,
        _caution("pressure_glass") if due.pressure else "",
        None,
        due.at is None or due.at <= now.now,
        due.step,
    )


def _read_on(now: Progress, zone: tzinfo) -> NextStep:
    every = READ_EVERY_H.get(now.phase, LATE_READING_H)
    last = now.last_reading_at or now.pitched or now.now
    at = last + timedelta(hours=every)
    due = at <= now.now
    when = "now" if due else clock(at, now.now, zone)
    why = {
        LAG: "the first fall of gravity shows that the yeast is at work",
        DRY: "two weeks at the same gravity, warm, mean it is done",
    }.get(now.phase, "two readings tell its pace")
    return NextStep(
        "read",
        f"Read gravity and temperature {when}: {why}.",
        "Read gravity and temperature",
        at,
        at,
        at + timedelta(hours=every / 2),
        None,
        (),
        why,
        _caution("carbon_dioxide_room") if now.phase not in (DRY,) else "",
        None,
        due,
    )


def _plain(
    kind: str, sentence: str, why: str, *, caution: str = "", is_due: bool = False
) -> NextStep:
    lead = sentence.rstrip(".")
    return NextStep(kind, sentence, lead, None, None, None, None, (), why, caution, None, is_due)


def clock(moment: datetime, now: datetime, zone: tzinfo) -> str:
    """A moment as people say it: today about 18:00, Friday 3 May about 07:00.

    Examples
    --------
    >>> from datetime import UTC
    >>> clock(datetime(2031, 5, 1, 17, 55, tzinfo=UTC), datetime(2031, 5, 1, 8, tzinfo=UTC), UTC)
    'today about 18:00'
    """
    local, here = _to_half_hour(moment.astimezone(zone)), now.astimezone(zone)
    days = (local.date() - here.date()).days
    named = {-1: "yesterday", 0: "today", 1: "tomorrow"}.get(days)
    day = named or f"{local:%A} {local.day} {local:%B}"
    return f"{day} about {local:%H:%M}"


def _to_half_hour(moment: datetime) -> datetime:
    plain = moment.replace(minute=0, second=0, microsecond=0)
    return plain + timedelta(minutes=30 * round((moment - plain).total_seconds() / 1800))


def _between(low: datetime, high: datetime, now: datetime, zone: tzinfo) -> str:
    if (high - low) < timedelta(hours=1):
        return ""
    low = max(low, now)
    first, last = (clock(m, now, zone).replace("about ", "") for m in (low, max(high, low)))
    day, _, hour = last.rpartition(" ")
    same = first.startswith(day)
    return f" (between {first} and {hour if same else last})"


def _lower(name: str) -> str:
    plain = name.split(" (")[0]
    return plain if plain.isupper() else plain[0].lower() + plain[1:]
