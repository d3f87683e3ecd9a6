"""The batch in figures, each with how it came about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from mustwright import data
from mustwright.batch import log_text as words
from mustwright.batch.assessment import FERMENTS, STOPPED, Assessment
from mustwright.batch.clock import clock
from mustwright.batch.duration_text import hours_words
from mustwright.batch.entries import Reading
from mustwright.batch.progress import FINISHING, Progress
from mustwright.batch.quantiles import Quantiles
from mustwright.batch.reading_text import corrected_words
from mustwright.batch.restart_course import TAKEN
from mustwright.batch.view import BatchView
from mustwright.unit_system import degrees, short_volume

DRY_SHARE = 0.97
NOT_KNOWN, UNREAD = "not known", "Nothing has been read since pitch."


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
        return Fact("Gravity", "not read yet", how=(f"At pitch {state.plan.must.gravity:.3f}.",))
    if state.gravity is None or abs(of.gravity - state.gravity) > 1e-9:
        said = of.held.how.get("gravity", "by the balance")
        how: tuple[str, ...] = (f"{said[0].upper()}{said[1:]}.",)
        return Fact("Gravity", f"{of.gravity:.3f}", "", how, "mass balance")
    as_read = "" if read is None else corrected_words(read, state.gravity, state.plan.sheet)
    how = (
        f"Read {words.moment(state.last_reading_at, zone, state.now)}, corrected to 20 °C and, for "
        "a refractometer, for the alcohol made so far.",
        *((f"{as_read}.",) if as_read else ()),
        "The range is two standard errors of the instrument either way.",
    )
    instrument = data.load("watch")["error"]
    known = {float(v["gravity_sd"]["value"]): v["gravity_sd"]["source"]
             for v in instrument.values() if "gravity_sd" in v}  # fmt: skip
    spread = f"±\u00a0{2 * state.gravity_sd:.3f}"
    source = known.get(state.gravity_sd, "")
    return Fact("Gravity", f"{of.gravity:.3f}", spread, how, source)


def _used(state: Progress, of: Assessment) -> Fact:
    left, end = of.sugar_left_g_l, of.end
    if of.is_unknown:
        return Fact("Sugar left", NOT_KNOWN, "", (UNREAD,))
    if of.held.residual_sugar_g_l is not None:
        said = of.held.how.get("residual_sugar_g_l", "by what was tested and what went in since")
        how = (f"{said[0].upper()}{said[1:]}.",)
        return Fact("Sugar left, about", f"{left.p50 or 0:.0f} g/L", _range(left), how)
    how = (
        f"This must, {state.original_gravity:.3f} at the start, may end at {end.low:.3f} to "
        f"{end.high:.3f}, as the share that ferments is not known exactly: "
        f"{left.p05 or 0:.0f} to {left.p95 or 0:.0f} g/L of its sugar is left.",
    )
    return Fact("Sugar left, about", f"{left.p50 or 0:.0f} g/L", _range(left), how, "mass balance")


def _range(left: Quantiles) -> str:
    low, high = f"{left.p05 or 0:.0f}", f"{left.p95 or 0:.0f}"
    return "" if low == high else f"{low} to {high}"


def _alcohol(state: Progress, of: Assessment) -> Fact:
    if of.is_unknown:
        return Fact("Alcohol", NOT_KNOWN, "", (UNREAD,))
    said = of.held.how.get("alcohol_pct", "the sugar gone so far")
    dry = f"; dry up to {state.plan.must.potential_alcohol_pct:.1f} % vol"
    how = (f"By {said}{'' if of.is_over else dry}.",)
    return Fact("Alcohol, about", f"{of.alcohol_pct:.1f} % vol", "", how, "mass balance")


def _volume(state: Progress, of: Assessment) -> Fact:
    said = of.held.how.get("volume_l", "")
    how = (f"{said[:1].upper()}{said[1:]}.",) if said else ()
    return Fact("In the vessel", short_volume(of.held.volume_l, state.plan.sheet), "", how)


def _fall(state: Progress, of: Assessment) -> Fact | None:
    if of.phase == STOPPED or of.is_over or of.may_have_stopped:
        if of.gravity is None or of.stood_h <= 0 or state.phase == FINISHING:
            return None
        how = (f"{of.stood_count} readings at {of.gravity:.3f} show no fall.",)
        return Fact("Pace", f"no fall seen for {hours_words(of.stood_h)}", "", how)
    if state.slope is None:
        return None
    s = state.slope
    how = (
        f"Weighted line through {s.count} readings over {s.hours:.0f} h; the range is two "
        "standard errors.",
    )
    fall = round(s.per_day, 4) + 0.0  # no minus sign before a zero
    spread = f"±\u00a0{2 * s.sd:.4f}"
    return Fact("Falls by", f"{fall:.4f} a day", spread, how, "least squares")


def _temperature(state: Progress) -> Fact:
    yeast = state.plan.yeast
    read = "As last read or moved to." if state.temperature_read else "As planned: not read yet."
    low, high = (
        degrees(t, state.plan.sheet) for t in (yeast.temperature_low_c, yeast.temperature_high_c)
    )
    now = degrees(state.temperature_c, state.plan.sheet)
    return Fact("Must", now, "", (read, f"This yeast likes {low} to {high}."))


def _ph(state: Progress, of: Assessment, zone: tzinfo) -> Fact | None:
    if of.held.ph is None:
        return None
    if of.held.ph != state.ph:
        said = of.held.how.get("ph", "")
        return Fact("pH", f"{of.held.ph:.2f}", "", (f"{said[:1].upper()}{said[1:]}.",))
    when = (
        "from the must's sheet"
        if state.ph_at is None
        else words.moment(state.ph_at, zone, state.now)
    )
    return Fact("pH", f"{state.ph:.2f}", "", (f"Read {when}.",))


def _fed(state: Progress) -> Fact:
    n = state.plan.nitrogen
    how = (
        f"Grams recorded, times the nitrogen in a gram. The yeast needs {n.demand_mg_l:.0f} mg "
        f"N/L; "
        f"the must held {n.must_mg_l:.0f} ({n.must_low_mg_l:.0f} to {n.must_high_mg_l:.0f}), "
        f"and rehydration brought {n.rehydration_mg_l:.0f}.",
    )
    return Fact("Nitrogen fed", f"{state.fed_mg_l:.0f} mg N/L", "", how, "label figures")


def _dry(view: BatchView, zone: tzinfo) -> Fact | None:
    state, of = view.progress, view.assessed
    if of.phase not in (*FERMENTS, STOPPED):
        return None
    if of.phase == STOPPED:
        how = ("It has stopped short. There is no forecast until it ferments again.",)
        return Fact("Nearly dry", "not until it ferments again", "", how)
    if of.may_have_stopped:
        how = ("The readings may show a stop; the forecast does not. The next reading decides.",)
        return Fact("Nearly dry", "open: it may have stopped", "", how)
    if of.is_stale:
        how = ("The last reading is too old.",) if of.gravity is not None else (UNREAD,)
        return Fact("Nearly dry", "not known: read gravity first", "", how)
    if of.restart is not None and of.restart.state == TAKEN:
        how = ("At the pace since the restart, in proportion to the sugar left.",)
        days = of.days_to_end
        said = "not foreseen" if days is None else f"in {days[0]:.0f} to {days[1]:.0f} days"
        return Fact("Nearly dry", said, "", how)
    span = view.outlook.used(DRY_SHARE)
    if span.expected_h > 24 * 120:
        return Fact("Nearly dry", "not foreseen", "", (f"Forecast: {view.outlook.name}.",))
    moments = [max(state.moment(h), state.now) for h in (span.low_h, span.expected_h, span.high_h)]
    low, at, high = (clock(m, state.now, zone).rpartition(" about ")[0] for m in moments)
    how = (f"When {DRY_SHARE:.0%} of the sugar will be gone. Forecast: {view.outlook.name}.",)
    return Fact("Nearly dry", at, "" if low == high else f"{low} to {high}", how)
