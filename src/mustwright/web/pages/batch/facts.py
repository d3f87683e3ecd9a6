"""The batch in figures, each with how it came about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from mustwright import data
from mustwright.batch import log_text as words
from mustwright.batch.assessment import BOTTLED, ENDED, FERMENTS, STOPPED, Assessment
from mustwright.batch.clock import day_words
from mustwright.batch.duration_text import hours_words
from mustwright.batch.entries import Reading
from mustwright.batch.progress import FINISHING, Progress
from mustwright.batch.quantiles import Quantiles
from mustwright.batch.reading_text import corrected_words
from mustwright.batch.restart_course import TAKEN
from mustwright.batch.view import BatchView
from mustwright.must.gravity_text import gravity_span, gravity_step, gravity_text
from mustwright.texts import capital, say
from mustwright.unit_system import degrees, short_volume

DRY_SHARE = 0.97
GRAVITY, DONE = say("Gravity"), say("Nearly dry")
GLANCE = (GRAVITY, DONE)  # what stands on the first screen
NOT_KNOWN, UNREAD = say("not known"), say("Nothing has been read since pitch.")


@dataclass(frozen=True)
class Fact:
    """One figure with its range, and how it came about: sentences, then sources."""

    label: str
    value: str
    range: str = ""
    how: tuple[str, ...] = ()
    source: str = ""


def facts_of(view: BatchView, zone: tzinfo, read: Reading | None = None) -> list[Fact]:
    """What is known now, the most asked-for first.

    Parameters
    ----------
    read : Reading or None
        The latest of gravity, as it was read.
    """
    state = view.progress
    of = view.assessed
    found: list[Fact | None] = [
        _gravity(view, zone, read), _used(state, of), _alcohol(state, of), _volume(state, of),
        _fall(state, of), _temperature(state), _ph(state, of, zone), _fed(state), _dry(view, zone),
    ]  # fmt: skip
    return [fact for fact in found if fact is not None]


def _gravity(view: BatchView, zone: tzinfo, read: Reading | None) -> Fact:
    state, of = view.progress, view.assessed
    if of.gravity is None or state.gravity_sd is None or state.last_reading_at is None:
        return Fact(
            GRAVITY,
            say("not read yet"),
            how=(
                say("At pitch {gravity_text}.", gravity_text=gravity_text(state.plan.must.gravity)),
            ),
        )
    if state.gravity is None or abs(of.gravity - state.gravity) > 1e-9:
        said = of.held.how.get("gravity", say("by the balance"))
        how: tuple[str, ...] = (capital(said) + ".",)
        return Fact(GRAVITY, gravity_text(of.gravity), "", how, say("mass balance"))
    as_read = "" if read is None else corrected_words(read, state.gravity, state.plan.sheet)
    how = (
        say(
            "Read {moment}, corrected to {temperature} and, for a refractometer, for the "
            "alcohol made so far.",
            moment=words.moment(state.last_reading_at, zone, state.now),
            temperature=degrees(20.0, state.plan.sheet),
        ),
        *((as_read + ".",) if as_read else ()),
        say("The range is two standard errors of the instrument either way."),
    )
    instrument = data.load("watch")["error"]
    known = {float(v["gravity_sd"]["value"]): v["gravity_sd"]["source"]
             for v in instrument.values() if "gravity_sd" in v}  # fmt: skip
    spread = "±\u00a0" + gravity_step(2 * state.gravity_sd, of.gravity)
    source = known.get(state.gravity_sd, "")
    return Fact(GRAVITY, gravity_text(of.gravity), spread, how, source)


def _used(state: Progress, of: Assessment) -> Fact:
    left, end = of.sugar_left_g_l, of.end
    if of.is_unknown:
        return Fact(say("Sugar left"), NOT_KNOWN, "", (UNREAD,))
    if of.held.residual_sugar_g_l is not None:
        said = of.held.how.get(
            "residual_sugar_g_l", say("by what was tested and what went in since")
        )
        how = (capital(said) + ".",)
        return Fact(
            say("Sugar left, about"), say("{value:.0f} g/L", value=left.p50 or 0), _range(left), how
        )
    how = (
        say(
            "This must, {gravity_text} at the start, may end at {gravity_span}, as "
            "the share that ferments is not known exactly: {value} g/L of its sugar "
            "is left.",
            gravity_text=gravity_text(state.original_gravity),
            gravity_span=gravity_span(end.low, end.high),
            value=_range(left) or say("{sugar:.0f}", sugar=left.p50 or 0),
        ),
    )
    return Fact(
        say("Sugar left, about"),
        say("{value:.0f} g/L", value=left.p50 or 0),
        _range(left),
        how,
        say("mass balance"),
    )


def _range(left: Quantiles) -> str:
    low, high = say("{value:.0f}", value=left.p05 or 0), say("{value:.0f}", value=left.p95 or 0)
    return "" if low == high else say("{low} to {high}", low=low, high=high)


def _alcohol(state: Progress, of: Assessment) -> Fact:
    if of.is_unknown:
        return Fact(say("Alcohol"), NOT_KNOWN, "", (UNREAD,))
    said = of.held.how.get("alcohol_pct", say("the sugar gone so far"))
    dry = say(
        "; dry up to {potential_alcohol_pct:.1f} % vol",
        potential_alcohol_pct=state.plan.must.potential_alcohol_pct,
    )
    how = (say("By {said}{dry}.", said=said, dry="" if of.is_over else dry),)
    name = say("Alcohol when last read, about") if of.is_stale else say("Alcohol, about")
    return Fact(
        name,
        say("{alcohol_pct:.1f} % vol", alcohol_pct=of.alcohol_pct),
        "",
        how,
        say("mass balance"),
    )


def _volume(state: Progress, of: Assessment) -> Fact:
    said = of.held.how.get("volume_l", "")
    how = (capital(said) + ".",) if said else ()
    return Fact(say("In the vessel"), short_volume(of.held.volume_l, state.plan.sheet), "", how)


def _fall(state: Progress, of: Assessment) -> Fact | None:
    if of.phase == STOPPED or of.is_over or of.may_have_stopped:
        past = state.phase == FINISHING or of.phase in (BOTTLED, ENDED)
        if of.gravity is None or of.stood_h <= 0 or past:
            return None
        how = (
            say(
                "{stood_count} readings at {gravity_text} show no fall.",
                stood_count=of.stood_count,
                gravity_text=gravity_text(of.gravity),
            ),
        )
        return Fact(
            say("Pace"),
            say("no fall seen for {hours_words}", hours_words=hours_words(of.stood_h)),
            "",
            how,
        )
    if state.slope is None:
        return None
    s = state.slope
    how = (
        say(
            "Weighted line through {count} readings over {hours:.0f} h; the range is "
            "two standard errors.",
            count=s.count,
            hours=s.hours,
        ),
    )
    fall = round(s.per_day, 4) + 0.0  # no minus sign before a zero
    near = 1.0 if of.gravity is None else of.gravity
    spread = "±\u00a0" + gravity_step(2 * s.sd, near, 4)
    return Fact(
        say("Falls by"),
        say("{gravity_step} a day", gravity_step=gravity_step(fall, near, 4)),
        spread,
        how,
        say("least squares"),
    )


def _temperature(state: Progress) -> Fact:
    yeast = state.plan.yeast
    read = (
        say("As last read or moved to.")
        if state.temperature_read
        else say("As planned: not read yet.")
    )
    low, high = (
        degrees(t, state.plan.sheet) for t in (yeast.temperature_low_c, yeast.temperature_high_c)
    )
    now = degrees(state.temperature_c, state.plan.sheet)
    return Fact(
        say("Must"), now, "", (read, say("This yeast likes {low} to {high}.", low=low, high=high))
    )


def _ph(state: Progress, of: Assessment, zone: tzinfo) -> Fact | None:
    if of.held.ph is None:
        return None
    if of.held.ph != state.ph:
        said = of.held.how.get("ph", "")
        return Fact("pH", say("{ph:.2f}", ph=of.held.ph), "", (capital(said) + ".",))
    when = (
        say("from the must's sheet")
        if state.ph_at is None
        else words.moment(state.ph_at, zone, state.now)
    )
    return Fact("pH", say("{ph:.2f}", ph=state.ph), "", (say("Read {when}.", when=when),))


def _fed(state: Progress) -> Fact:
    n = state.plan.nitrogen
    how = (
        say(
            "Grams recorded, times the nitrogen in a gram. The yeast needs "
            "{demand_mg_l:.0f} mg N/L; the must held {must_mg_l:.0f} "
            "({must_low_mg_l:.0f} to {must_high_mg_l:.0f}), and rehydration brought "
            "{rehydration_mg_l:.0f}.",
            demand_mg_l=n.demand_mg_l,
            must_mg_l=n.must_mg_l,
            must_low_mg_l=n.must_low_mg_l,
            must_high_mg_l=n.must_high_mg_l,
            rehydration_mg_l=n.rehydration_mg_l,
        ),
    )
    return Fact(
        say("Nitrogen fed"),
        say("{fed_mg_l:.0f} mg N/L", fed_mg_l=state.fed_mg_l),
        "",
        how,
        say("label figures"),
    )


def _dry(view: BatchView, zone: tzinfo) -> Fact | None:
    state, of = view.progress, view.assessed
    if of.phase not in (*FERMENTS, STOPPED):
        return None
    if of.phase == STOPPED:
        how = (say("It has stopped short. There is no forecast until it ferments again."),)
        return Fact(DONE, say("not until it ferments again"), "", how)
    if of.may_have_stopped:
        how = (
            say("The readings may show a stop; the forecast does not. The next reading decides."),
        )
        return Fact(DONE, say("open: it may have stopped"), "", how)
    if of.is_stale:
        how = (say("The last reading is too old."),) if of.gravity is not None else (UNREAD,)
        return Fact(DONE, say("not known: read gravity first"), "", how)
    if of.restart is not None and of.restart.state == TAKEN:
        how = (say("At the pace since the restart, in proportion to the sugar left."),)
        days = of.days_to_end
        said = (
            say("not foreseen")
            if days is None
            else say("in {low:.0f} to {high:.0f} days", low=days[0], high=days[1])
        )
        return Fact(DONE, said, "", how)
    span = view.outlook.used(DRY_SHARE)
    if not span.is_foreseen:
        return Fact(
            DONE,
            say("not foreseen"),
            "",
            (say("Forecast: {outlook}.", outlook=view.outlook.name),),
        )
    moments = [max(state.moment(h), state.now) for h in (span.low_h, span.expected_h, span.high_h)]
    low, at, high = (day_words(m, state.now, zone) for m in moments)
    told: tuple[str, ...] = (
        say(
            "When {share:.0%} of the sugar will be gone. Forecast: {outlook}.",
            share=DRY_SHARE,
            outlook=view.outlook.name,
        ),
    )
    if not span.has_end:
        if view.foreseen is not None:
            told += (
                say(
                    "The range has no end: {share:.0%} of runs stop short.",
                    share=view.foreseen.chance_of_sticking,
                ),
            )
        return Fact(DONE, at, say("{low} or later", low=low), told)
    return Fact(DONE, at, "" if low == high else say("{low} to {high}", low=low, high=high), told)
