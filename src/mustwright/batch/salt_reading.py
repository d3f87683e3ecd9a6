"""The moment of the plan's salt as the next step: the pH is read before anything goes in."""

from __future__ import annotations

from dataclasses import replace

from mustwright.batch.assessment import STOPPED, Assessment
from mustwright.batch.clock import NOW
from mustwright.batch.feed_triggers import is_due
from mustwright.batch.one_step import NextStep, reading_step, timed
from mustwright.batch.outlook import BatchOutlook
from mustwright.batch.planned_salt import PlannedPart
from mustwright.batch.progress import Progress, salt_ahead
from mustwright.texts import say


def salt_reading(now: Progress, of: Assessment, outlook: BatchOutlook) -> NextStep | None:
    """Read the pH now, where a part of the planned salt has come due; None otherwise."""
    salt = now.plan.salt
    if salt is None or of.phase == STOPPED:
        return None
    for part in open_parts(now, of):
        if is_due(now, part.rule, outlook.due(part.rule)):
            lead, why = (
                say("Read pH"),
                say("the plan has {dose}", dose=salt.dose_words(part)),
            )
            made = reading_step(now, lead, timed(lead, NOW, why), why, now.now)
            return replace(made, caution=salt.caution)
    return None


def open_parts(now: Progress, of: Assessment) -> tuple[PlannedPart, ...]:
    """Parts whose moment no pH reading has met; none once any salt went in.

    After a salt, the advice against a low pH alone says what comes next.
    """
    return () if of.is_over or now.pitched is None else salt_ahead(now)
