"""A batch as lines for a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import tzinfo

from mustwright.batch import log_text, ph_text
from mustwright.batch.assessment import STOPPED
from mustwright.batch.entries import Reading
from mustwright.batch.forecast_record import Foreseen
from mustwright.batch.log import Standing
from mustwright.batch.plan import BatchPlan
from mustwright.batch.reading_text import corrected_by_id, corrected_words
from mustwright.batch.replan import no_proposal_words
from mustwright.batch.view import BatchView
from mustwright.unit_system import degrees, short_volume, volume


def view_lines(view: BatchView, zone: tzinfo) -> list[str]:
    """How a batch stands, with its log."""
    state, of = view.progress, view.assessed
    gravity = "not read yet" if of.gravity is None else f"{of.gravity:.3f}"
    left = of.sugar_left_g_l
    low, high = f"{left.p05 or 0:.0f}", f"{left.p95 or 0:.0f}"
    sugar = low if low == high else f"{low} to {high}"
    held = f"{sugar} g/L of sugar left, about {of.alcohol_pct:.1f} % vol"
    if of.is_unknown:
        held = "sugar and alcohol not known"
    lines = [
        *beyond_lines(view),
        f"{view.record.name} ({view.record.slug}), version {view.record.version}",
        f"  {view.step.sentence}",
        *([f"  {view.step.withdrawn}"] if view.step.withdrawn else []),
        f"  {of.phase}; gravity {gravity}, {held}, "
        f"{short_volume(of.held.volume_l, state.plan.sheet)}, "
        f"{degrees(state.temperature_c, state.plan.sheet)}",
        *forecast_lines(view, zone),
        "Feeds",
    ]
    for one in state.feeds:
        lines.append(
            f"  [{'x' if one.state == 'given' else ' '}] {one.feed.key} {one.feed.name}"
            f" ({one.state}): {log_text.feed_words(one.feed)}; {one.why or one.feed.words}"
        )
    lines += watch_lines(view) if view.findings else []
    lines.append("Log")
    seen = corrected_by_id(state)
    lines += [f"  {_log_line(stand, state.plan, zone, seen)}" for stand in view.stands]
    return lines


def beyond_lines(view: BatchView) -> list[str]:
    """What went beyond law, labels or stock, above everything else."""
    return [f"! {f.title}. {f.evidence}" for f in view.beyond]


def forecast_lines(view: BatchView, zone: tzinfo) -> list[str]:
    """What the forecast says, and by what."""
    if view.assessed.is_over or view.assessed.is_unknown:
        return []
    lines = [f"Forecast: {view.outlook.name}"]
    found = view.foreseen
    if found is None:
        return lines
    if not found.explained:
        lines.append(f"  ! {found.message}")
    if view.assessed.phase == STOPPED:
        lines.append("  It has stopped short, so the forecast no longer holds.")
    elif view.assessed.may_have_stopped:
        lines.append("  It may have stopped, which the forecast does not show. Read again first.")
    elif found.met:
        lines += [f"  {_dry_words(view, zone)}", f"  {_end_words(found)}"]
    return [*lines, *(f"  {note}" for note in found.notes), *_ph_lines(view)]


def _ph_lines(view: BatchView) -> list[str]:
    """The pH so far and ahead, if the acid model says anything."""
    ph = view.ph
    if ph is None or view.assessed.is_over:
        return []
    now_h = view.progress.hours or 0.0
    lines = [f"  {ph_text.stands_words(ph)} {ph_text.ahead_words(ph, now_h)}"]
    if ph.dose is not None:
        words = (ph_text.dose_words(ph.dose, ph.floor), ph_text.dose_caution(ph.dose))
        lines += [f"  ! {one}" for one in words if one]
    return lines + [f"    {one}" for one in (*ph_text.worth_words(ph), *ph.odd, *ph.notes)]


def _dry_words(view: BatchView, zone: tzinfo) -> str:
    state, found = view.progress, view.foreseen
    if found is None or found.hours_to_dry.p50 is None:
        return "Not dry within six weeks in at least half of the runs"
    days = [
        "later" if h is None else f"{state.moment(h).astimezone(zone):%d %B}"
        for h in (found.hours_to_dry.p05, found.hours_to_dry.p50, found.hours_to_dry.p95)
    ]
    return f"Dry about {days[1]} (from {days[0]} to {days[2]})"


def _end_words(found: Foreseen) -> str:
    left = found.residual_yan_mg_l.p50 or 0.0
    return (
        f"{found.chance_of_sticking:.0%} chance of stopping short; about {left:.0f} mg N/L "
        "left at the end"
    )


def _log_line(
    stand: Standing, plan: BatchPlan, zone: tzinfo, corrected: Mapping[str, float]
) -> str:
    when = f"{stand.at.astimezone(zone):%Y-%m-%d %H:%M}"
    gone = " [removed]" if stand.removed else ""
    changed = f" [changed {len(stand.changes)} times]" if stand.changes else ""
    said = log_text.said(stand.what, plan)
    if isinstance(stand.what, Reading):
        both = corrected_words(stand.what, corrected.get(stand.entry.id), plan.sheet)
        said += f" [{both}]" if both else ""
    return f"{when}  {stand.entry.id[:8]}  {said} ({stand.entry.who}){gone}{changed}"


def watch_lines(view: BatchView) -> list[str]:
    """Findings, causes and restart."""
    if not view.findings:
        if view.assessed.is_stale:
            return ["Not known: the last reading is too old. Read gravity."]
        return ["Yes. No reading so far is a cause for concern."]
    lines, sheet = [], view.progress.plan.sheet
    for f in view.findings:
        lines += [f"{f.title} ({f.confidence:.0%} sure): {f.evidence}"]
        lines += [f"  Check: {f.check}", f"  Do: {f.do}", f"  Over when: {f.stop}"]
        lines += [f"  By: {'; '.join(f.thresholds)}"]
    if view.diagnosis:
        lines.append(f"Likely causes, by {view.diagnosis.by}")
        for c in view.diagnosis.causes:
            lines.append(f"  {c.score:4.0%}  {c.title}. {' '.join(c.evidence)}")
        lines.append(f"  First: {view.diagnosis.measure_first}")
    if view.restart:
        lines.append("Restart" if view.restart.worth_it else "A restart is not worth it")
        lines += [f"  - {one}" for one in view.restart.first]
        for i, step in enumerate(view.restart.steps, 1):
            lines.append(
                f"  [ ] {i}. {step.name}: {step.what} {volume(step.total_l, sheet, 2)} at "
                f"{step.gravity:.3f}, {degrees(step.temperature_c, sheet, 0)}; go on at "
                f"{step.move_on_at:.3f} (about {step.hours:.0f} h)"
            )
            if step.caution:
                lines.append(f"         ! {step.caution}")
        lines += [f"  Give up: {one}" for one in view.restart.give_up]
        lines += [f"  ! {one}" for one in view.restart.cautions]
    return lines


def proposal_lines(view: BatchView) -> list[str]:
    """Before and after of each open feed, and why."""
    proposal = view.proposal
    if proposal is None:
        return [no_proposal_words(view.progress, view.assessed)]
    lines = [f"Why: {reason}" for reason in proposal.reasons]
    for c in proposal.changes:
        before, after = (log_text.feed_words(f) for f in (c.before, c.after))
        lines.append(f"  {c.key} {c.name} {c.words}" + (f" ({c.why})" if c.why else ""))
        lines.append(f"      before: {before}; {c.before.words}")
        lines.append(f"      after:  {after}" + ("" if c.after.dropped else f"; {c.after.words}"))
    if proposal.short_mg_l >= 1:
        lines.append(
            f"  Rules and limits hold back {proposal.short_mg_l:.0f} mg N/L of the "
            f"feeds still to come."
        )
    lines += [f"  ! {caution}" for caution in proposal.cautions]
    return lines
