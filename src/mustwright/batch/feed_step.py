"""The next feed as the next step: amount and moment, or the changed plan that comes before it."""

from __future__ import annotations

from datetime import tzinfo

from mustwright.batch.assessment import STOPPED, Assessment
from mustwright.batch.clock import clock
from mustwright.batch.duration_text import hours_words
from mustwright.batch.feed_triggers import is_due, next_feed, trigger_gravity
from mustwright.batch.one_step import DoseNow, NextStep, caution_text, reading_step
from mustwright.batch.outlook import BatchOutlook, Span
from mustwright.batch.plan import PlannedFeed, listed, once_each
from mustwright.batch.progress import Progress
from mustwright.batch.replan import KEPT, MOVED, Proposal

SOON_H = 12.0
MOST_WORDS = 25


def feeding(
    now: Progress,
    of: Assessment,
    outlook: BatchOutlook,
    zone: tzinfo,
    proposal: Proposal | None,
) -> NextStep | None:
    """The open feed that is due or comes next, or the changed plan; None where nothing is fed."""
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
    grams = listed([f"{d.grams:g} g {_lower(d.name)}" for d in feed.doses])
    if not due and at < now.now:
        return _read_for_feed(now, feed, gravity, grams)
    sign = f", when gravity reaches {gravity:.3f}" if gravity is not None else ""
    if gravity is None and feed.rule.kind in ("onset", "after_onset") and now.onset_h is None:
        sign = ", once it works"
    sign = "" if due else sign
    when = "now" if due else clock(at, now.now, zone)
    said = f"Feed {grams} {when}{sign}{_overdue(now, span, due)}"
    # Most jars say it themselves; once is enough.
    powder = () if "erupt" in feed.caution else (caution_text("powder_in_gassy_must"),)
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
    return reading_step(now, lead, f"{lead} now: {why}.", why, now.now, gravity, feed.key)


def _overdue(now: Progress, span: Span, due: bool) -> str:
    late = (now.hours or 0.0) - span.expected_h
    return f" ({hours_words(late)} late)" if due and late > SOON_H else ""


def _lower(name: str) -> str:
    plain = name.split(" (")[0]
    return plain if plain.isupper() else plain[0].lower() + plain[1:]
