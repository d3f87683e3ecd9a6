"""The batch in figures, each with how it came about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from mustwright import data
from mustwright.batch import log_text as words
from mustwright.batch.next_step import clock
from mustwright.batch.progress import CLOSED, DRY, FINISHING, Progress
from mustwright.batch.temperature_text import degrees
from mustwright.batch.view import BatchView

DRY_SHARE = 0.97


@dataclass(frozen=True)
class Fact:
    """One figure with its range, and how it came about: sentences, then sources."""

    label: str
    value: str
    range: str = ""
    how: tuple[str, ...] = ()
    source: str = ""


def facts_of(view: BatchView, zone: tzinfo) -> list[Fact]:
    """What is known now, the most asked-for first."""
    state = view.progress
    found = [_gravity(state, zone), _used(state), _alcohol(state), _fall(state)]
    found += [_temperature(state), _ph(state, zone), _fed(state), _dry(view, zone)]
    return [fact for fact in found if fact is not None]


def _gravity(state: Progress, zone: tzinfo) -> Fact:
    if state.gravity is None or state.gravity_sd is None or state.last_reading_at is None:
        return Fact("Gravity", "not read yet", how=(f"At pitch {state.plan.must.gravity:.3f}.",))
    how = (
        f"Read {words.moment(state.last_reading_at, zone, state.now)}, corrected to 20 °C and, for "
        "a refractometer, for the alcohol made so far.",
        "The range is two standard errors of the instrument either way.",
    )
    instrument = data.load("watch")["error"]
    known = {float(v["gravity_sd"]["value"]): v["gravity_sd"]["source"]
             for v in instrument.values() if "gravity_sd" in v}  # fmt: skip
    spread = f"±\u00a0{2 * state.gravity_sd:.3f}"
    source = known.get(state.gravity_sd, "")
    return Fact("Gravity", f"{state.gravity:.3f}", spread, how, source)


def _used(state: Progress) -> Fact:
    how = (
        f"From {state.original_gravity:.3f} at the start to {state.plan.must.dry_gravity:.3f} dry, "
        f"along the course of this must; about {state.sugar_left_g_l:.0f} g/L of sugar are left.",
    )
    return Fact("Sugar gone", f"{100 * state.sugar_used:.0f} %", "", how, "mass balance")


def _alcohol(state: Progress) -> Fact:
    how = (f"What the sugar gone so far makes; dry up to "
           f"{state.plan.must.potential_alcohol_pct:.1f} % vol.",)  # fmt: skip
    return Fact("Alcohol, about", f"{state.alcohol_pct:.1f} % vol", "", how, "mass balance")


def _fall(state: Progress) -> Fact | None:
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
    read = "As last read or moved to." if state.temperature_read else "As planned: none was read."
    low, high = (
        degrees(t, state.plan.sheet) for t in (yeast.temperature_low_c, yeast.temperature_high_c)
    )
    now = degrees(state.temperature_c, state.plan.sheet)
    return Fact("Must", now, "", (read, f"This yeast likes {low} to {high}."))


def _ph(state: Progress, zone: tzinfo) -> Fact | None:
    if state.ph is None:
        return None
    when = (
        "from the must's sheet"
        if state.ph_at is None
        else words.moment(state.ph_at, zone, state.now)
    )
    return Fact("pH", f"{state.ph:.2f}", "", (f"Read {when}.",))


def _fed(state: Progress) -> Fact:
    n = state.plan.nitrogen
    how = (
        f"Grams written down, times what a gram brings. The must wants {n.demand_mg_l:.0f} mg N/L; "
        f"it brought {n.must_mg_l:.0f} ({n.must_low_mg_l:.0f} to {n.must_high_mg_l:.0f}) itself, "
        f"rehydration {n.rehydration_mg_l:.0f}.",
    )
    return Fact("Nitrogen fed", f"{state.fed_mg_l:.0f} mg N/L", "", how, "label figures")


def _dry(view: BatchView, zone: tzinfo) -> Fact | None:
    state = view.progress
    if state.pitched is None or state.phase in (DRY, FINISHING, CLOSED):
        return None
    span = view.outlook.used(DRY_SHARE)
    if span.expected_h > 24 * 120:
        return Fact("Nearly dry", "not foreseen", "", (f"Forecast: {view.outlook.name}.",))
    moments = [max(state.moment(h), state.now) for h in (span.low_h, span.expected_h, span.high_h)]
    low, at, high = (clock(m, state.now, zone).rpartition(" about ")[0] for m in moments)
    how = (f"When {DRY_SHARE:.0%} of the sugar will be gone. Forecast: {view.outlook.name}.",)
    return Fact("Nearly dry", at, "" if low == high else f"{low} to {high}", how)
