"""How does a batch stand: all that its page, its command and its device ask for, at one moment."""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from mustwright.cellar.codec import data_of
from mustwright.cellar.entries import Entry
from mustwright.cellar.log import Standing, standing
from mustwright.cellar.outlook import BatchOutlook, PaceOutlook
from mustwright.cellar.progress import Progress, progress
from mustwright.cellar.refit import Proposal, propose
from mustwright.cellar.restart import RestartPlan, restart_plan
from mustwright.cellar.step import NextStep, next_step
from mustwright.cellar.stuck import Diagnosis, diagnose
from mustwright.cellar.watch import Finding, watch
from mustwright.services.batch.port import BatchRecord, Ledger

MakeOutlook = Callable[[Progress], BatchOutlook]
KEPT_LOGS, KEPT_VIEWS = 128, 128
TROUBLE = ("stuck", "sluggish", "no_start")


@dataclass(frozen=True)
class BatchView:
    """A batch at one moment.

    Parameters
    ----------
    stands : tuple of Standing
        Its log as it stands, removed entries too.
    diagnosis, restart : Diagnosis or RestartPlan or None
        Where it is slow or stuck.
    """

    record: BatchRecord
    stands: tuple[Standing, ...]
    progress: Progress
    outlook: BatchOutlook
    findings: tuple[Finding, ...]
    proposal: Proposal | None
    step: NextStep
    diagnosis: Diagnosis | None
    restart: RestartPlan | None


class _Logs:
    """Logs already read, by batch and version; shared by all threads."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[int, str, int], tuple[Standing, ...]] = OrderedDict()
        self._lock = threading.Lock()

    def stands(self, ledger: Ledger, record: BatchRecord) -> tuple[Standing, ...]:
        key = (id(ledger), record.slug, record.version)
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        log: list[Entry] = ledger.log(record.slug)
        found = standing(log)
        if log and log[-1].seq <= record.version:  # else it grew meanwhile: not this version's
            with self._lock:
                self._kept[key] = found
                while len(self._kept) > KEPT_LOGS:
                    self._kept.popitem(last=False)
        return found


_logs = _Logs()


class _Views:
    """Views worked out within the last minute, by batch and version; shared by all threads."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[object, ...], BatchView] = OrderedDict()
        self._lock = threading.Lock()

    def view(
        self,
        ledger: Ledger,
        record: BatchRecord,
        now: datetime,
        zone: tzinfo,
        make_outlook: MakeOutlook,
    ) -> BatchView:
        minute = int(now.timestamp() // 60)
        key = (id(ledger), record.slug, record.version, minute, zone, make_outlook)
        with self._lock:
            kept = self._kept.get(key)
        if kept is not None and kept.record.name == record.name:
            return kept
        found = view_of(record, _logs.stands(ledger, record), now, zone, make_outlook)
        with self._lock:
            self._kept[key] = found
            while len(self._kept) > KEPT_VIEWS:
                self._kept.popitem(last=False)
        return found


_views = _Views()


def look(
    ledger: Ledger,
    slug: str,
    now: datetime,
    zone: tzinfo,
    make_outlook: MakeOutlook = PaceOutlook,
) -> BatchView:
    """How a batch stands; the digest for the overview is kept on the way.

    Parameters
    ----------
    make_outlook : callable
        Gives the forecast for a state; the kinetic one can take its place.
    """
    record = ledger.batch(slug)
    view = _views.view(ledger, record, now, zone, make_outlook)
    if record.digest_version != record.version or record.digest_at is None:
        ledger.keep_digest(slug, record.version, digest_of(view))
    return view


def view_of(
    record: BatchRecord,
    stands: tuple[Standing, ...],
    now: datetime,
    zone: tzinfo,
    make_outlook: MakeOutlook = PaceOutlook,
) -> BatchView:
    """The same from a log at hand."""
    live = [s for s in stands if not s.removed]
    state = progress(live, now)
    outlook = make_outlook(state)
    findings = watch(state, live)
    proposal = propose(state, outlook)
    step = next_step(state, outlook, findings, zone, proposal)
    slow = [f for f in findings if f.rule in TROUBLE]
    diagnosis = diagnose(state) if slow else None
    stuck = any(f.rule == "stuck" for f in findings)
    restart = restart_plan(state) if stuck else None
    return BatchView(record, stands, state, outlook, findings, proposal, step, diagnosis, restart)


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
                {"id": p.id, "hours": p.hours, "gravity": p.gravity, "sd": p.gravity_sd}
                for p in state.points
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
        "forecast": {"by": view.outlook.name, **band_data(view)},
    }


def band_data(view: BatchView) -> dict[str, Any]:
    """Forecast of gravity from the last reading on, until nearly all sugar is gone."""
    state = view.progress
    points = [p.hours for p in state.points if p.hours > 0]
    start = points[-1] if points else 0.0
    end = max(min(view.outlook.used(0.97).high_h, start + 24 * 60), start + 24)
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
