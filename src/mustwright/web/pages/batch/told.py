"""What the page of a batch tells of its view, and nothing else: so that two can be compared.

A view is another one each minute, and most of what its page tells is not. The template gets these
in the place of the view: where all that it gets is the same, so is the page.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from mustwright.batch.alert import Finding
from mustwright.batch.diagnosis import Diagnosis
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.progress import CLOSED, FINISHING
from mustwright.batch.restart import RestartPlan
from mustwright.batch.view import BatchRecord, BatchView

LOT = "lot"


@dataclass(frozen=True)
class StepTold:
    """The next step, in the words of the page; as in `NextStep`."""

    kind: str
    sentence: str
    caution: str
    withdrawn: str
    finish: str | None
    is_due: bool


@dataclass(frozen=True)
class BatchTold:
    """How a batch stands, as far as its page tells it.

    Parameters
    ----------
    record : BatchRecord
        Its digest left out, which the page does not show.
    day : int or None
        Since the pitch; None before it.
    phase : str
        Of the assessment.
    has_forecast : bool
        Whether the picture looks ahead.
    lots : tuple of str
        That it was bottled as.
    reasons : tuple of str
        Why the plan no longer fits; empty while it does.
    outlook : str
        What the forecast is called.
    is_restarting : bool
        Whether a restart was begun.
    """

    record: BatchRecord
    step: StepTold
    day: int | None
    phase: str
    is_pitched: bool
    is_closed: bool
    is_stale: bool
    is_over: bool
    has_forecast: bool
    beyond: tuple[Finding, ...]
    findings: tuple[Finding, ...]
    lots: tuple[str, ...]
    reasons: tuple[str, ...]
    outlook: str
    diagnosis: Diagnosis | None
    restart: RestartPlan | None
    is_restarting: bool


def told_of(view: BatchView) -> BatchTold:
    """What the page tells of a view."""
    state, of, step = view.progress, view.assessed, view.step
    return BatchTold(
        record=replace(view.record, digest="", digest_version=0, digest_at=None),
        step=StepTold(
            step.kind, step.sentence, step.caution, step.withdrawn, step.finish, step.is_due
        ),
        day=None if state.hours is None else int(state.hours / 24),
        phase=of.phase,
        is_pitched=state.pitched is not None,
        is_closed=state.phase == CLOSED,
        is_stale=of.is_stale,
        is_over=of.is_over,
        has_forecast=state.phase not in (FINISHING, CLOSED),
        beyond=view.beyond,
        findings=view.findings,
        lots=tuple(
            s.what.words[LOT]
            for s in view.events
            if isinstance(s.what, StepDone) and LOT in s.what.words
        ),
        reasons=() if view.proposal is None else view.proposal.reasons,
        outlook=view.outlook.name,
        diagnosis=view.diagnosis,
        restart=view.restart,
        is_restarting=of.restart is not None,
    )
