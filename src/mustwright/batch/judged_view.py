"""Everything that is said of a batch at one moment, made from its one assessment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import tzinfo

from mustwright.batch.alert import Finding
from mustwright.batch.alerts import watch
from mustwright.batch.assessment import STOPPED, Assessment, assess
from mustwright.batch.clock_check import clock_step
from mustwright.batch.diagnosis import diagnose
from mustwright.batch.forecast_record import Foreseen
from mustwright.batch.legal_alerts import over_limit
from mustwright.batch.log import Standing
from mustwright.batch.next_step import next_step
from mustwright.batch.outlook import BatchOutlook
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import Progress
from mustwright.batch.replan import propose
from mustwright.batch.restart import restart_plan
from mustwright.batch.restart_course import COMBINED, GIVEN_UP, STARTER
from mustwright.batch.resting_outlook import RestingOutlook
from mustwright.batch.snapshot import Gist
from mustwright.batch.view import BatchRecord, BatchView
from mustwright.batch.withdrawn_feeds import with_withdrawn

TROUBLE = ("stuck", "sluggish", "no_start")


def judged(
    record: BatchRecord,
    gist: Gist,
    state: Progress,
    zone: tzinfo,
    outlook: BatchOutlook,
    *,
    foreseen: Foreseen | None = None,
    ph: PhForeseen | None = None,
    pending: bool = False,
    wrong_clock: Finding | None = None,
    read_log: Callable[[], tuple[Standing, ...]] = tuple,
) -> BatchView:
    """A batch as it stands.

    Parameters
    ----------
    gist : Gist
        Of its log, nothing after the moment of `state`.
    state : Progress
    zone : tzinfo
        Where days are counted.
    outlook : BatchOutlook
        The forecast; one that has stopped short has none.
    wrong_clock : Finding or None
        That the clock is behind the log: it comes before everything else.
    foreseen, ph, pending, read_log
        As in `BatchView`.
    """
    of = assess(state, gist.events, outlook)
    state = with_withdrawn(state, of)
    if of.phase == STOPPED:
        outlook = RestingOutlook(state)
    ph = ph if ph is not None and _knows(ph, state) else None
    if foreseen is not None and foreseen.ph is not ph:
        foreseen = replace(foreseen, ph=ph)
    findings = (*over_limit(state, gist.events), *watch(state, gist.events, zone, ph, of))
    proposal = propose(state, outlook, of)
    slow = of.phase == STOPPED or any(f.rule in TROUBLE for f in findings)
    slow = slow and not of.is_unknown
    diagnosis = diagnose(state, foreseen) if slow else None
    stopped = of.phase == STOPPED or of.may_have_stopped or _is_restarting(of)
    stopped = stopped and not of.is_over
    restart = restart_plan(state, of, ph) if stopped else None
    step = next_step(
        state, outlook, findings, zone, proposal, gist.events,
        assessed=of, diagnosis=diagnosis, restart=restart, ph=ph,
    )  # fmt: skip
    if wrong_clock is not None:
        findings, step = (wrong_clock, *findings), clock_step(wrong_clock)
    return BatchView(
        record=record,
        events=gist.events,
        feeds=gist.feeds,
        warmth=gist.warmth,
        entries=gist.entries,
        in_order=gist.in_order,
        read_log=read_log,
        progress=state,
        outlook=outlook,
        findings=findings,
        proposal=proposal,
        step=step,
        diagnosis=diagnosis,
        restart=restart,
        assessed=of,
        foreseen=foreseen,
        ph=ph,
        pending=pending,
    )


def _is_restarting(of: Assessment) -> bool:
    return of.restart is not None and of.restart.state in (STARTER, COMBINED, GIVEN_UP)


def _knows(ph: PhForeseen, now: Progress) -> bool:
    """Whether the acid model has seen the latest pH reading; a newer one counts alone."""
    if now.ph_at is None or now.pitched is None:
        return ph.read_ph is None
    hours = max((now.ph_at - now.pitched).total_seconds() / 3600, 0.0)
    return ph.read_ph == now.ph and ph.read_h is not None and abs(ph.read_h - hours) < 0.01
