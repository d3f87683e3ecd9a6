"""The next feed as the next step: amount and moment, or the changed plan that comes before it."""

from __future__ import annotations

from datetime import tzinfo

from mustwright.batch.assessment import STOPPED, Assessment
from mustwright.batch.clock import NOW, clock
from mustwright.batch.duration_text import hours_words
from mustwright.batch.feed_triggers import is_due, next_feed, trigger_gravity
from mustwright.batch.one_step import DoseNow, NextStep, caution_text, reading_step, timed
from mustwright.batch.outlook import BatchOutlook, Span
from mustwright.batch.plan import PlannedFeed, once_each
from mustwright.batch.progress import Progress
from mustwright.batch.replan import KEPT, MOVED, Proposal
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import Text, capital, join, listed, literal, say, uncapital

SOON_H = 12.0
SHORT_NAMES = (  # of nutrients whose names go on in brackets: the wordings `_lower` looks up
    say("Ammonium phosphate"),
    say("Complex blend"),
    say("Rehydration nutrient"),
    say("Yeast hulls"),
    say("Magnesium sulfate"),
    say("Zinc sulfate"),
    say("Thiamine hydrochloride"),
)
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
    lead = say("Look over the changed plan before you feed")
    return NextStep(
        "replan", say("{lead}: {why}.", lead=lead, why=proposal.because), lead, None, None, None,
        None, (), join(" ", proposal.reasons), join(" ", proposal.cautions), None, True,
    )  # fmt: skip


def _feed_step(now: Progress, feed: PlannedFeed, span: Span, zone: tzinfo) -> NextStep:
    gravity = trigger_gravity(now, feed.rule)
    due = is_due(now, feed.rule, span)
    at, low, high = (now.moment(h) for h in (span.expected_h, span.low_h, span.high_h))
    grams, spooned = _amounts(now, feed), _amounts(now, feed, spooned=True)
    if not due and at < now.now:
        return _read_for_feed(now, feed, gravity, grams)
    when = "" if due else clock(at, now.now, zone)
    late = _late_h(now, span, due)
    unseen = feed.rule.kind in ("onset", "after_onset") and now.onset_h is None
    said = _feed_words(spooned, when, gravity, late, unseen=unseen)
    if len(f"{said}: feed 1 of 9".split()) > MOST_WORDS:
        said = _feed_words(grams, when, gravity, late, unseen=unseen)
    # Most jars say it themselves; once is enough.
    powder = () if "erupt" in feed.caution else (caution_text("powder_in_gassy_must"),)
    return NextStep(
        "feed",
        capital(say("{feed}: {why}.", feed=said, why=_feed_reason(now, feed, said))),
        say("Feed {amounts}", amounts=spooned),
        max(at, now.now),
        max(low, now.now),
        max(high, now.now),
        gravity,
        tuple(DoseNow(d.nutrient, d.name, d.grams) for d in feed.doses),
        say(
            "feed '{feed}' of protocol '{protocol}', bringing {nitrogen:.0f} mg N/L",
            feed=literal(feed.name),
            protocol=literal(now.plan.protocol_name),
            nitrogen=feed.nitrogen_mg_l,
        ),
        once_each((feed.caution, *powder, *feed.notes)),
        feed.key,
        due,
    )


def _feed_words(
    amounts: Text, when: str, gravity: float | None, late_h: float, *, unseen: bool
) -> Text:
    """What goes in and when, by which sign; how late it is, where it is late.

    Parameters
    ----------
    when : str
        Empty for now.
    unseen : bool
        Whether it waits for the yeast to work.
    """
    if not when:
        if not late_h:
            return say("Feed {amounts} now", amounts=amounts)
        return say("Feed {amounts} now ({time} late)", amounts=amounts, time=hours_words(late_h))
    if gravity is not None:
        return say(
            "Feed {amounts} {when}, when gravity reaches {gravity}",
            amounts=amounts,
            when=when,
            gravity=gravity_text(gravity),
        )
    if unseen:
        return say("Feed {amounts} {when}, once it works", amounts=amounts, when=when)
    return say("Feed {amounts} {when}", amounts=amounts, when=when)


def _amounts(now: Progress, feed: PlannedFeed, *, spooned: bool = False) -> Text:
    """What goes in, in grams; in teaspoons beside them where they are asked for."""
    rows = []
    for dose in feed.doses:
        row = say("{grams:g} g {nutrient}", grams=dose.grams, nutrient=_lower(dose.name))
        rows.append(row + now.plan.spoons(dose.nutrient, dose.grams) if spooned else row)
    return listed(rows)


def _feed_reason(now: Progress, feed: PlannedFeed, said: str) -> str:
    """Which feed it is, and its nitrogen where the sentence has room for it."""
    number = [f.key for f in now.plan.feeds].index(feed.key) + 1
    for reason in (
        say(
            "feed '{feed}', {nitrogen:.0f} mg N/L",
            feed=literal(feed.name),
            nitrogen=feed.nitrogen_mg_l,
        ),
        say("feed '{feed}'", feed=literal(feed.name)),
    ):
        if len(f"{said} {reason}".split()) <= MOST_WORDS:
            return reason
    return say("feed {number} of {count}", number=number, count=len(now.plan.feeds))


def _read_for_feed(now: Progress, feed: PlannedFeed, gravity: float | None, grams: str) -> NextStep:
    """Its hour has passed, and no reading has shown its gravity yet."""
    lead = say("Read gravity and temperature")
    why = (
        say("feed '{feed}', {grams}, goes in once it works", feed=literal(feed.name), grams=grams)
        if gravity is None
        else say(
            "feed '{feed}', {grams}, goes in at {gravity} or less",
            feed=literal(feed.name),
            grams=grams,
            gravity=gravity_text(gravity),
        )
    )
    return reading_step(now, lead, timed(lead, NOW, why), why, now.now, gravity, feed.key)


def is_overdue(now: Progress, outlook: BatchOutlook) -> bool:
    """Whether a feed is due and its hour passed so long ago that it is called late."""
    found = next_feed(now, outlook)
    if found is None:
        return False
    feed, span = found
    return _late_h(now, span, is_due(now, feed.rule, span)) > 0


def _late_h(now: Progress, span: Span, due: bool) -> float:
    """How late it is, where that is worth a word; else 0 [h]."""
    late = (now.hours or 0.0) - span.expected_h
    return late if due and late > SOON_H else 0.0


def _lower(name: str) -> str:
    """A nutrient within a sentence, without what stands in brackets behind it."""
    plain = literal(name.partition(" (")[0])
    return plain if plain.isupper() else uncapital(plain)
