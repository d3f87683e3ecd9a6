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
from mustwright.batch.salt_advice import dose_said
from mustwright.batch.salt_reading import open_parts
from mustwright.batch.view import BatchView
from mustwright.must.gravity_text import apparent_words, gravity_text
from mustwright.nutrition.triggers import said_again
from mustwright.texts import join, literal, say
from mustwright.unit_system import degrees, short_volume, volume

_HELD = literal("{sugar} g/L of sugar left, about {alcohol_pct:.1f} % vol")
_HELD_THEN = literal("{sugar} g/L of sugar left, about {alcohol_pct:.1f} % vol when last read")


def view_lines(view: BatchView, zone: tzinfo) -> list[str]:
    """How a batch stands, with its log."""
    state, of = view.progress, view.assessed
    gravity = say("not read yet") if of.gravity is None else gravity_text(of.gravity)
    left = of.sugar_left_g_l
    low, high = f"{left.p05 or 0:.0f}", f"{left.p95 or 0:.0f}"
    sugar = low if low == high else say("{low} to {high}", low=low, high=high)
    held = (_HELD_THEN if of.is_stale else _HELD).format(sugar=sugar, alcohol_pct=of.alcohol_pct)
    if of.is_unknown:
        held = say("sugar and alcohol not known")
    lines: list[str] = [
        *beyond_lines(view),
        say(
            "{batch} ({slug}), version {version}",
            batch=view.record.name,
            slug=view.record.slug,
            version=view.record.version,
        ),
        say("  {sentence}", sentence=view.step.sentence),
        *([say("  {withdrawn}", withdrawn=view.step.withdrawn)] if view.step.withdrawn else []),
        say(
            "  {phase}; gravity {gravity}, {held}, {volume}, {temperature}",
            phase=of.phase,
            gravity=gravity,
            held=held,
            volume=short_volume(of.held.volume_l, state.plan.sheet),
            temperature=degrees(state.temperature_c, state.plan.sheet),
        ),
        *([say("  {apparent}", apparent=apparent)] if (apparent := apparent_words()) else []),
        *forecast_lines(view, zone),
        say("Feeds"),
    ]
    for one in state.feeds:
        lines.append(
            say(
                "  [{mark}] {key} {feed} ({state}): {doses}; {why}",
                mark="x" if one.state == "given" else " ",
                key=one.feed.key,
                feed=one.feed.name,
                state=log_text.FEED_STATES[one.state],
                doses=log_text.feed_words(one.feed, state.plan),
                why=one.why or said_again(one.feed.words),
            )
        )
    salt = state.plan.salt
    lines += [
        say(
            "  [ ] {key} Read pH: {dose}; {when}",
            key=part.key,
            dose=salt.dose_words(part),
            when=said_again(part.words),
        )
        for part in open_parts(state, of)
        if salt is not None
    ]
    lines += watch_lines(view) if view.findings else []
    lines.append(say("Log"))
    seen = corrected_by_id(state)
    lines += [
        say("  {line}", line=_log_line(stand, state.plan, zone, seen)) for stand in view.stands
    ]
    return lines


def beyond_lines(view: BatchView) -> list[str]:
    """What went beyond law, labels or stock, above everything else."""
    return [say("! {title}. {evidence}", title=f.title, evidence=f.evidence) for f in view.beyond]


def forecast_lines(view: BatchView, zone: tzinfo) -> list[str]:
    """What the forecast says, and by what."""
    if view.assessed.is_over or view.assessed.is_unknown:
        return []
    lines: list[str] = [say("Forecast: {by}", by=view.outlook.name)]
    found = view.foreseen
    if found is None:
        return lines
    if not found.explained:
        lines.append(say("  ! {message}", message=found.message))
    if view.assessed.phase == STOPPED:
        lines.append(say("  It has stopped short, so the forecast no longer holds."))
    elif view.assessed.may_have_stopped:
        lines.append(
            say("  It may have stopped, which the forecast does not show. Read again first.")
        )
    elif found.met:
        lines += [
            say("  {words}", words=_dry_words(view, zone)),
            say("  {words}", words=_end_words(found)),
        ]
    return [*lines, *(say("  {note}", note=note) for note in found.notes), *_ph_lines(view)]


def _ph_lines(view: BatchView) -> list[str]:
    """The pH so far and ahead, if the acid model says anything."""
    ph = view.ph
    if ph is None or view.assessed.is_over:
        return []
    now_h = view.progress.hours or 0.0
    lines: list[str] = [
        say(
            "  {now} {ahead}",
            now=ph_text.stands_words(ph),
            ahead=ph_text.ahead_words(ph, now_h),
        )
    ]
    if ph.dose is not None:
        words = dose_said(view.progress, view.assessed, ph)
        lines += [say("  ! {one}", one=one) for one in words if one]
    return lines + [
        say("    {one}", one=one) for one in (*ph_text.worth_words(ph), *ph.odd, *ph.notes)
    ]


def _dry_words(view: BatchView, zone: tzinfo) -> str:
    state, found = view.progress, view.foreseen
    if found is None or found.hours_to_dry.p50 is None:
        return say("Not dry within six weeks in at least half of the runs")
    days = [
        say("later") if h is None else say("{day:%d %B}", day=state.moment(h).astimezone(zone))
        for h in (found.hours_to_dry.p05, found.hours_to_dry.p50, found.hours_to_dry.p95)
    ]
    return say("Dry about {day} (from {first} to {last})", day=days[1], first=days[0], last=days[2])


def _end_words(found: Foreseen) -> str:
    left = found.residual_yan_mg_l.p50 or 0.0
    return say(
        "{chance:.0%} chance of stopping short; about {left:.0f} mg N/L left at the end",
        chance=found.chance_of_sticking,
        left=left,
    )


def _log_line(
    stand: Standing, plan: BatchPlan, zone: tzinfo, corrected: Mapping[str, float]
) -> str:
    gone = say(" [removed]") if stand.removed else ""
    changed = say(" [changed {times} times]", times=len(stand.changes)) if stand.changes else ""
    said = log_text.said(stand.what, plan)
    if isinstance(stand.what, Reading):
        both = corrected_words(stand.what, corrected.get(stand.entry.id), plan.sheet)
        said += say(" [{both}]", both=both) if both else ""
    return say(
        "{at:%Y-%m-%d %H:%M}  {id}  {said} ({who}){gone}{changed}",
        at=stand.at.astimezone(zone),
        id=stand.entry.id[:8],
        said=said,
        who=stand.entry.who,
        gone=gone,
        changed=changed,
    )


_LAST_STEP = literal("  [ ] {i}. {step}: {what} {volume} at {gravity}, {temperature}")
_STEP = literal(
    "  [ ] {i}. {step}: {what} {volume} at {gravity}, {temperature}; go on at {next} "
    "(about {hours:.0f} h)"
)


def watch_lines(view: BatchView) -> list[str]:
    """Findings, causes and restart."""
    if not view.findings:
        if view.assessed.is_stale:
            return [say("Not known: the last reading is too old. Read gravity.")]
        return [say("Yes. No reading so far is a cause for concern.")]
    lines: list[str] = []
    sheet = view.progress.plan.sheet
    for f in view.findings:
        lines += [
            say(
                "{title} ({confidence:.0%} sure): {evidence}",
                title=f.title,
                confidence=f.confidence,
                evidence=f.evidence,
            )
        ]
        lines += [
            say("  Check: {check}", check=f.check),
            say("  Do: {do}", do=f.do),
            say("  It is over when: {stop}", stop=f.stop),
        ]
        lines += [say("  By: {thresholds}", thresholds=join("; ", f.thresholds))]
    if view.diagnosis:
        lines.append(say("Likely causes, by {by}", by=view.diagnosis.by))
        for c in view.diagnosis.causes:
            lines.append(
                say(
                    "  {score:4.0%}  {title}. {evidence}",
                    score=c.score,
                    title=c.title,
                    evidence=join(" ", c.evidence),
                )
            )
        lines.append(say("  First: {measure}", measure=view.diagnosis.measure_first))
    if view.restart:
        lines.append(say("Restart") if view.restart.worth_it else say("A restart is not worth it"))
        lines += [say("  - {one}", one=one) for one in view.restart.first]
        for i, step in enumerate(view.restart.steps, 1):
            wording = _STEP if i < len(view.restart.steps) else _LAST_STEP
            lines.append(
                wording.format(
                    i=i,
                    step=step.name,
                    what=step.what,
                    volume=volume(step.total_l, sheet, 2),
                    gravity=gravity_text(step.gravity),
                    temperature=degrees(step.temperature_c, sheet, 0),
                    next=gravity_text(step.move_on_at),
                    hours=step.hours,
                )
            )
            if step.caution:
                lines.append(say("         ! {caution}", caution=step.caution))
        lines += [say("  Give up: {when}", when=one) for one in view.restart.give_up]
        lines += [say("  ! {one}", one=one) for one in view.restart.cautions]
    return lines


def proposal_lines(view: BatchView) -> list[str]:
    """Before and after of each open feed, and why."""
    proposal = view.proposal
    if proposal is None:
        return [no_proposal_words(view.progress, view.assessed)]
    lines: list[str] = [say("Why: {reason}", reason=reason) for reason in proposal.reasons]
    for c in proposal.changes:
        before, after = (log_text.feed_words(f, view.progress.plan) for f in (c.before, c.after))
        lines.append(
            say("  {key} {feed} {change}", key=c.key, feed=c.name, change=c.words)
            + (say(" ({why})", why=c.why) if c.why else "")
        )
        lines.append(
            say(
                "      before: {doses}; {when}",
                doses=before,
                when=said_again(c.before.words),
            )
        )
        lines.append(
            say("      after:  {doses}", doses=after)
            if c.after.dropped
            else say("      after:  {doses}; {when}", doses=after, when=said_again(c.after.words))
        )
    if proposal.short_mg_l >= 1:
        lines.append(
            say(
                "  Rules and limits hold back {short_mg_l:.0f} mg N/L of the feeds still to come.",
                short_mg_l=proposal.short_mg_l,
            )
        )
    lines += [say("  ! {caution}", caution=caution) for caution in proposal.cautions]
    return lines
