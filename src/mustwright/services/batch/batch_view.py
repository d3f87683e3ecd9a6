"""How does a batch stand: all that its page, command and devices ask for, at one moment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, tzinfo

from mustwright.batch.alerts import watch
from mustwright.batch.clock_check import clock_behind, clock_step
from mustwright.batch.diagnosis import diagnose
from mustwright.batch.legal_alerts import over_limit
from mustwright.batch.next_step import next_step
from mustwright.batch.outlook import BatchOutlook
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import Progress, progress_of
from mustwright.batch.replan import propose
from mustwright.batch.restart import restart_plan
from mustwright.batch.snapshot import gist_of
from mustwright.batch.view import BatchRecord, BatchView
from mustwright.batch.view_json import digest_of
from mustwright.services.batch.cache import kept_beside, memory_of
from mustwright.services.batch.forecaster import Told, told
from mustwright.services.batch.repository import Ledger

MakeOutlook = Callable[[Progress], BatchOutlook]
TROUBLE = ("stuck", "sluggish", "no_start")


def look(
    ledger: Ledger,
    slug: str,
    now: datetime,
    zone: tzinfo,
    make_outlook: MakeOutlook | None = None,
    *,
    urgent: bool = True,
) -> BatchView:
    """How a batch stands; the digest for the overview is saved in passing.

    Parameters
    ----------
    make_outlook : callable or None
        Gives the forecast for a state; None takes the batch's own, see `forecaster.told`.
    urgent : bool
        Whether someone is looking at this batch, so that its forecast comes first.
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
        kept_beside(ledger.keep_digest, slug, record.version, digest_of(view), record.cellar)
    return view


def _holds(view: BatchView, record: BatchRecord, now: datetime) -> bool:
    """Whether a view can be shown again: the same version, within the minute."""
    minute = now.timestamp() // 60 == view.progress.now.timestamp() // 60
    was = view.record
    same = (was.cellar, was.version, was.name) == (record.cellar, record.version, record.name)
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
    last_at = gist.last_at
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
    wrong_clock = clock_behind(record.updated_at, last_at, now)
    findings = (*over_limit(state, gist.events), *watch(state, gist.events, zone, ph))
    proposal = propose(state, source.outlook)
    slow = [f for f in findings if f.rule in TROUBLE]
    stuck = any(f.rule == "stuck" for f in findings)
    step = next_step(state, source.outlook, findings, zone, proposal, gist.events)
    if wrong_clock is not None:
        findings, step = (wrong_clock, *findings), clock_step(wrong_clock)
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
        step=step,
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
