"""What goes into the picture of a batch, and into the list of feeds beneath it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

import numpy as np
from markupsafe import Markup

from mustwright.batch import log_text as words
from mustwright.batch import ph_text
from mustwright.batch.clock import between, clock
from mustwright.batch.entries import Event
from mustwright.batch.feed_triggers import is_due, trigger_gravity
from mustwright.batch.log import Standing
from mustwright.batch.outlook import GravityBand, anchor
from mustwright.batch.paper import without_gravity
from mustwright.batch.progress import CLOSED, FINISHING, FeedState
from mustwright.batch.salt_advice import dose_said
from mustwright.batch.view import BatchView
from mustwright.must.acidity.claims import lowest_shown
from mustwright.must.course import Floats
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import say
from mustwright.unit_system import degrees
from mustwright.web.pictures.batch_line import FeedMark, Scene, Sign, batch_lines, batch_values
from mustwright.web.pictures.batch_ph import batch_ph, ph_values
from mustwright.web.pictures.values import ValueTable

BAND_STEPS = 40
LONGEST_AHEAD_H, SHORTEST_H = 24.0 * 45, 24.0 * 5
MOST_SIGNS = 60


@dataclass(frozen=True)
class FeedRow:
    """One planned feed in words.

    Parameters
    ----------
    state : str
        ``ahead``, ``given``, ``skipped`` or ``dropped``.
    doses : str
        What is planned.
    given : str
        What went in, if it differs from that; "as planned" if it does not.
    when : str
        Clock time given or due, with its range.
    """

    number: int
    key: str
    name: str
    state: str
    trigger: str
    doses: str
    given: str
    when: str
    is_due: bool


@dataclass(frozen=True)
class Pictures:
    """A batch for a laptop and for a phone; its pH beside it, if the model knows it."""

    wide: Markup
    narrow: Markup
    behind: ValueTable
    ph: PhShown | None


def pictures(view: BatchView) -> Pictures:
    """All pictures of a batch that was pitched, on one time axis."""
    scene = scene_of(view)
    return pictures_of(scene, ph_of(view, scene))


def pictures_of(scene: Scene, ph: PhShown | None, now: Sequence[str] | None = None) -> Pictures:
    """The pictures of a scene; `now` as in `batch_lines`."""
    return Pictures(*batch_lines(scene, now), batch_values(scene), ph)


@dataclass(frozen=True)
class PhShown:
    """The pH of a batch as its page shows it: pictures, sentences, and what to do."""

    wide: Markup
    narrow: Markup
    stands: str
    ahead: str
    dose: str
    caution: str
    worth: tuple[str, ...]
    notes: tuple[str, ...]
    behind: ValueTable


def ph_of(view: BatchView, scene: Scene) -> PhShown | None:
    """The pH of a batch that still ferments; none if the acid model says nothing."""
    ph = view.ph
    if ph is None or view.assessed.is_over:
        return None
    now_h, end_h = scene.now_h, scene.end_h
    is_low = ph.is_read and ph.chance_low_ahead > 0.1
    dose, caution = dose_said(view.progress, view.assessed, ph) if is_low else ("", "")
    return PhShown(
        batch_ph(ph, now_h, end_h),
        batch_ph(ph, now_h, end_h, narrow=True),
        ph_text.stands_words(ph),
        ph_text.ahead_words(ph, now_h),
        dose,
        caution,
        ph_text.worth_words(ph),
        (
            *ph.odd,
            *ph.notes,
            say(
                "This says nothing about a pH below {lowest_shown:g}.", lowest_shown=lowest_shown()
            ),
        ),
        ph_values(ph, scene.end_h),
    )


def scene_of(view: BatchView) -> Scene:
    """All that the picture shows."""
    state = view.progress
    now_h = state.hours or 0.0
    band = band_of(view)
    feeds = _marks(view)
    end = max(now_h * 1.04, SHORTEST_H, *(f.hours * 1.05 for f in feeds if f.state == "ahead"), 0)
    if band is not None:
        end = max(end, band.hours[-1])
    yeast = state.plan.yeast
    return Scene(
        points=state.points,
        band=band,
        feeds=feeds,
        signs=_signs(view)[-MOST_SIGNS:],
        warmth=_warmth(view),
        warmth_range=(yeast.temperature_low_c, yeast.temperature_high_c),
        warmth_words=tuple(
            degrees(t, state.plan.sheet, 0)
            for t in (yeast.temperature_low_c, yeast.temperature_high_c)
        ),
        now_h=now_h,
        end_h=end,
        start_gravity=state.plan.must.gravity,
        dry_gravity=state.plan.must.dry_gravity,
    )


def band_of(view: BatchView) -> GravityBand | None:
    """Gravity from the last reading until it is expected dry; none for a closed batch."""
    state = view.progress
    if state.phase in (FINISHING, CLOSED):
        return None
    start, _ = anchor(state.points)
    dry = view.outlook.used(0.97)
    wanted = max(dry.expected_h * 1.15, (state.hours or 0.0) + 24, start + 48, SHORTEST_H)
    end = min(max(wanted, min(dry.high_h, 1.6 * wanted)), start + LONGEST_AHEAD_H)
    hours = [start + (end - start) * k / BAND_STEPS for k in range(BAND_STEPS + 1)]
    return view.outlook.band(hours)


def _hours(view: BatchView, stand: Standing) -> float:
    return (stand.at - view.progress.moment(0.0)).total_seconds() / 3600


def _marks(view: BatchView) -> list[FeedMark]:
    state, plan = view.progress, view.progress.plan
    numbers = {feed.key: i for i, feed in enumerate(plan.feeds, 1)}
    found = []
    extra = len(numbers)
    for stand in view.feeds:
        what = stand.what
        if what.skipped:
            continue
        number = numbers.get(what.feed or "")
        if number is None:
            extra += 1
            number = extra
        feed = plan.feed(what.feed)
        name = feed.name if feed else say("not in the plan")
        brought = _nitrogen(view, what.items)
        found.append(
            FeedMark(name, _hours(view, stand), None, None, *brought, number=number, state="given")
        )
    for one in state.feeds:
        if one.state in ("skipped", "ahead"):
            span = view.outlook.due(one.feed.rule)
            at = max(span.expected_h, state.hours or 0.0)
            if one.given_at is not None:
                at = (one.given_at - state.moment(0.0)).total_seconds() / 3600
            low = min(max(span.low_h, state.hours or 0.0), at)
            brought = _nitrogen(view, one.feed.doses)
            found.append(
                FeedMark(
                    one.feed.name, at, low, span.high_h, *brought,
                    number=numbers[one.feed.key], state=one.state,
                )
            )  # fmt: skip
    return found


def _nitrogen(view: BatchView, items: tuple[object, ...]) -> tuple[float, float]:
    """Ammonium and amino nitrogen of some grams [mg N/L]."""
    plan = view.progress.plan
    ammonium = amino = 0.0
    for item in items:
        jar = plan.jar(getattr(item, "nutrient", ""))
        if jar is not None:
            grams_l = getattr(item, "grams", 0.0) / plan.must.volume_l
            ammonium += grams_l * jar.mg_g.get("ammonium_n", 0.0)
            amino += grams_l * jar.mg_g.get("amino_n", 0.0)
    return ammonium, amino


def _signs(view: BatchView) -> list[Sign]:
    return [
        Sign(_hours(view, s), words.said(s.what, view.progress.plan))
        for s in view.events
        if isinstance(s.what, Event) and s.what.what != "pitched"
    ]


def _warmth(view: BatchView) -> tuple[Floats, Floats]:
    hours, values = view.warmth.since(view.progress.moment(0.0))
    first = int(np.searchsorted(hours, -1.0, "left"))
    return hours[first:], values[first:]


def feed_rows(view: BatchView, zone: tzinfo) -> list[FeedRow]:
    """Every planned feed, in the order of the plan."""
    return [_row(view, i, one, zone) for i, one in enumerate(view.progress.feeds, 1)]


def _row(view: BatchView, number: int, one: FeedState, zone: tzinfo) -> FeedRow:
    state, feed = view.progress, one.feed
    planned = words.feed_words(feed, state.plan)
    due, given, when = False, "", ""
    if one.state == "withdrawn":
        when = say("never given") if view.assessed.is_over else say("no longer: {why}", why=one.why)
    elif one.state == "ahead" and state.pitched is not None and view.assessed.is_stale:
        when = say("once a new reading shows that it is due")
    elif one.state == "ahead" and state.pitched is not None:
        span = view.outlook.due(feed.rule)
        due = is_due(state, feed.rule, span)
        when = say("due now") if due else _when_due(view, one, zone)
    elif one.state == "ahead":
        when = say("after the pitch")
    elif one.given_at is not None:
        at = words.moment(one.given_at, zone, state.now)
        when = say("skipped {at}", at=at) if one.state == "skipped" else say("given {at}", at=at)
        given = _given(view, one)
    trigger = without_gravity(feed.words)
    return FeedRow(number, feed.key, feed.name, one.state, trigger, planned, given, when, due)


def _when_due(view: BatchView, one: FeedState, zone: tzinfo) -> str:
    state = view.progress
    span = view.outlook.due(one.feed.rule)
    if span.expected_h > 24 * 120:
        return say("not foreseen")
    at, low, high = (state.moment(h) for h in (span.expected_h, span.low_h, span.high_h))
    said = say("due {clock}", clock=clock(max(at, state.now), state.now, zone))
    if span.high_h - span.low_h >= 1:
        said += between(low, high, state.now, zone)
    gravity = trigger_gravity(state, one.feed.rule)
    return (
        said
        if gravity is None
        else say(
            "{said}, when gravity reaches {gravity_text}",
            said=said,
            gravity_text=gravity_text(gravity),
        )
    )


def _given(view: BatchView, one: FeedState) -> str:
    stand = next((s for s in reversed(view.feeds) if s.what.feed == one.feed.key), None)
    if stand is None or stand.what.skipped:
        return ""
    if words.is_as_planned(stand.what.items, one.feed.doses):
        return say("as planned")
    return say("gave {doses_words}", doses_words=words.doses_words(stand.what.items))
