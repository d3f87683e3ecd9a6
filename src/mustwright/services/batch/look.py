"""How does a batch stand: all that its page, its command and its device ask for, at one moment."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from functools import cached_property
from typing import Any

from mustwright.cellar.codec import data_of
from mustwright.cellar.finding import Finding
from mustwright.cellar.foreseen import Foreseen
from mustwright.cellar.gist import gist_of
from mustwright.cellar.log import Standing
from mustwright.cellar.outlook import NEVER_H, BatchOutlook, anchor
from mustwright.cellar.over_limit import over_limit
from mustwright.cellar.ph_foreseen import PhForeseen
from mustwright.cellar.progress import Progress, progress_of
from mustwright.cellar.refit import Proposal, propose
from mustwright.cellar.restart import RestartPlan, restart_plan
from mustwright.cellar.series import NOTHING, Trace
from mustwright.cellar.step import NextStep, next_step
from mustwright.cellar.stuck import Diagnosis, diagnose
from mustwright.cellar.watch import watch
from mustwright.services.batch.forecaster import Told, told
from mustwright.services.batch.memory import memory_of
from mustwright.services.batch.port import BatchRecord, Ledger

MakeOutlook = Callable[[Progress], BatchOutlook]
LOOK_ON_H = 24.0 * 14  # drawn on where nothing says when the sugar will be gone
TROUBLE = ("stuck", "sluggish", "no_start")


@dataclass(frozen=True)
class BatchView:
    """A batch at one moment.

    Parameters
    ----------
    read_log : callable
        Gives the log, for `stands`.
    diagnosis, restart : Diagnosis or RestartPlan or None
        Where it is slow or stuck.
    foreseen : Foreseen or None
        What the fermentation model says: chances, bands, hours to dry, nitrogen left, feeds.
    pending : bool
        Whether a newer forecast is being worked out.
    events, feeds : tuple of Standing
        Events and finishing steps, and feeds, that count by now.
    warmth : Trace
        Temperatures of the must by now [°C].
    entries : int
        How many the log has, removed ones too.
    in_order : bool
        Whether its lines follow one another in time.
    """

    record: BatchRecord
    read_log: Callable[[], tuple[Standing, ...]]
    progress: Progress
    outlook: BatchOutlook
    findings: tuple[Finding, ...]
    proposal: Proposal | None
    step: NextStep
    diagnosis: Diagnosis | None
    restart: RestartPlan | None
    foreseen: Foreseen | None = None
    pending: bool = False
    events: tuple[Standing, ...] = ()
    feeds: tuple[Standing, ...] = ()
    warmth: Trace = NOTHING
    entries: int = 0
    in_order: bool = False

    @cached_property
    def stands(self) -> tuple[Standing, ...]:
        """Its log as it stands, removed entries too; read when first asked for."""
        return self.read_log()


def look(
    ledger: Ledger,
    slug: str,
    now: datetime,
    zone: tzinfo,
    make_outlook: MakeOutlook | None = None,
    *,
    urgent: bool = True,
) -> BatchView:
    """How a batch stands; the digest for the overview is kept on the way.

    Parameters
    ----------
    make_outlook : callable or None
        Gives the forecast for a state; None takes the batch's own, see `forecaster.told`.
    urgent : bool
        Whether someone looks at this very batch, so that its forecast is worked out first.
    """
    memory = memory_of(ledger)
    with ledger.one_moment():
        record = ledger.batch(slug)
        key = (slug, zone, make_outlook, memory.forecasts_made(slug))
        kept = memory.views.get(key)
        if isinstance(kept, BatchView) and _holds(kept, record, now):
            view = kept
        else:
            view = _view(ledger, record, now, zone, make_outlook, urgent)
            if not view.pending:
                memory.views.keep(key, view)
    if record.digest_version != record.version or record.digest_at is None:
        ledger.keep_digest(slug, record.version, digest_of(view))
    return view


def _holds(view: BatchView, record: BatchRecord, now: datetime) -> bool:
    """Whether a view can be shown again: the same version, within the minute."""
    minute = now.timestamp() // 60 == view.progress.now.timestamp() // 60
    same = (view.record.version, view.record.name) == (record.version, record.name)
    return minute and same


def _view(
    ledger: Ledger,
    record: BatchRecord,
    now: datetime,
    zone: tzinfo,
    make_outlook: MakeOutlook | None,
    urgent: bool,
) -> BatchView:
    memory = memory_of(ledger)
    gist = memory.gist(ledger, record)
    if gist.last_at > now:  # lines from after this moment do not count yet
        gist = gist_of(memory.stands(ledger, record), record.version, until=now)
    state = progress_of(gist, now)
    if make_outlook is not None:
        source = Told(make_outlook(state), None, False)
    else:
        source = told(ledger, record, gist, state, urgent=urgent)
    foreseen = source.foreseen
    if foreseen is not None and foreseen.ph is not None and not _knows(foreseen.ph, state):
        foreseen = replace(foreseen, ph=None)
    ph = None if foreseen is None else foreseen.ph
    findings = (*over_limit(state, gist.events), *watch(state, gist.events, zone, ph))
    proposal = propose(state, source.outlook)
    slow = [f for f in findings if f.rule in TROUBLE]
    stuck = any(f.rule == "stuck" for f in findings)
    return BatchView(
        record=record,
        events=gist.events,
        feeds=gist.feeds,
        warmth=gist.warmth,
        entries=gist.entries,
        in_order=gist.in_order,
        read_log=lambda: memory.stands(ledger, record),
        progress=state,
        outlook=source.outlook,
        findings=findings,
        proposal=proposal,
        step=next_step(state, source.outlook, findings, zone, proposal, gist.events),
        diagnosis=diagnose(state, foreseen) if slow else None,
        restart=restart_plan(state) if stuck else None,
        foreseen=foreseen,
        pending=source.pending,
    )


def _knows(ph: PhForeseen, now: Progress) -> bool:
    """Whether the acid model has seen the latest pH reading; a newer one counts alone."""
    if now.ph_at is None or now.pitched is None:
        return ph.read_ph is None
    hours = max((now.ph_at - now.pitched).total_seconds() / 3600, 0.0)
    return ph.read_ph == now.ph and ph.read_h is not None and abs(ph.read_h - hours) < 0.01


def digest_of(view: BatchView) -> str:
    """How it stands in a few words, for the overview of many batches."""
    state, step = view.progress, view.step
    worst = view.findings[0] if view.findings else None
    return json.dumps(
        {
            "phase": state.phase,
            "gravity": None if state.gravity is None else round(state.gravity, 4),
            "sugar_used": round(state.sugar_used, 4),
            "alcohol_pct": round(state.alcohol_pct, 2),
            "temperature_c": state.temperature_c,
            "pitched_at": data_of(state.pitched),
            "last_reading_at": data_of(state.last_reading_at),
            "protocol": state.plan.protocol_name,
            "step": {
                "kind": step.kind,
                "lead": step.lead,
                "at": data_of(step.at),
                "earliest": data_of(step.earliest),
                "latest": data_of(step.latest),
                "gravity": step.gravity,
                "is_due": step.is_due,
                "caution": step.caution,
            },
            "finding": None
            if worst is None
            else {
                "rule": worst.rule,
                "title": worst.title,
                "severity": worst.severity,
                "confidence": round(worst.confidence, 3),
                "sure": worst.sure,
                "evidence": worst.evidence,
            },
        },
        ensure_ascii=False,
    )


def view_data(view: BatchView) -> dict[str, Any]:
    """The view as one JSON object, for the command line and devices."""
    state = view.progress
    return {
        "batch": view.record.slug,
        "name": view.record.name,
        "version": view.record.version,
        "state": {
            "phase": state.phase,
            "at": data_of(state.now),
            "pitched_at": data_of(state.pitched),
            "hours": state.hours,
            "gravity": state.gravity,
            "gravity_sd": state.gravity_sd,
            "original_gravity": state.original_gravity,
            "sugar_used": state.sugar_used,
            "sugar_left_g_l": state.sugar_left_g_l,
            "alcohol_pct": state.alcohol_pct,
            "temperature_c": state.temperature_c,
            "ph": state.ph,
            "slope": data_of(state.slope),
            "points": [
                {"id": id, "hours": hours, "gravity": gravity, "sd": sd}
                for id, hours, gravity, sd in zip(
                    state.points.names(),
                    state.points.hours.tolist(),
                    state.points.gravity.tolist(),
                    state.points.gravity_sd.tolist(),
                    strict=True,
                )
            ],
        },
        "next": data_of(view.step),
        "findings": data_of(view.findings),
        "feeds": [
            {
                "key": s.feed.key,
                "name": s.feed.name,
                "state": s.state,
                "trigger": s.feed.words,
                "given_at": data_of(s.given_at),
                "doses": data_of(s.feed.doses),
                "expected_h": s.feed.expected_h,
                "dropped": s.feed.dropped,
            }
            for s in state.feeds
        ],
        "proposal": proposal_data(view.proposal),
        "diagnosis": data_of(view.diagnosis),
        "restart": data_of(view.restart),
        "forecast": forecast_data(view),
    }


def forecast_data(view: BatchView) -> dict[str, Any]:
    """The forecast: by what, the band of gravity, and what the fermentation model says beside."""
    found = view.foreseen
    data: dict[str, Any] = {
        "by": view.outlook.name,
        "pending": view.pending,
        **band_data(view),
        "model": None,
    }
    if found is not None:
        named = (
            "chance_of_sticking", "chance_of_dry", "hours_to_dry", "residual_sugar_g_l",
            "residual_yan_mg_l", "onset_h", "feeds", "readings", "members", "seed", "explained",
            "odd_entry", "message", "releases", "notes", "ph",
        )  # fmt: skip
        data["model"] = {name: data_of(getattr(found, name)) for name in named}
    return data


def band_data(view: BatchView) -> dict[str, Any]:
    """Forecast of gravity from the last reading on, until nearly all sugar is gone."""
    state = view.progress
    start, _ = anchor(state.points)
    span = view.outlook.used(0.97)
    seen = [h for h in (span.high_h, span.expected_h, start + LOOK_ON_H) if h < NEVER_H]
    end = max(min(seen[0], start + 24 * 60), start + 24)
    hours = [start + (end - start) * k / 24 for k in range(25)]
    return dict(data_of(view.outlook.band(hours)))


def proposal_data(proposal: Proposal | None) -> dict[str, Any] | None:
    """A proposed plan as its changes, without the plan itself."""
    if proposal is None:
        return None
    return {
        "reasons": list(proposal.reasons),
        "changes": [
            {
                "key": c.key,
                "name": c.name,
                "what": c.what,
                "why": c.why,
                "before": data_of(c.before.doses),
                "after": data_of(c.after.doses),
                "trigger_before": c.before.words,
                "trigger_after": c.after.words,
            }
            for c in proposal.changes
        ],
        "short_mg_l": proposal.short_mg_l,
        "cautions": list(proposal.cautions),
    }
