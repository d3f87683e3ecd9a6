"""How does a batch stand: all that its page, command and devices ask for, at one moment."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, tzinfo

from mustwright.batch.clock_check import clock_behind
from mustwright.batch.judged_view import judged
from mustwright.batch.outlook import BatchOutlook
from mustwright.batch.progress import Progress, progress_of
from mustwright.batch.snapshot import gist_of
from mustwright.batch.view import BatchRecord, BatchView
from mustwright.batch.view_json import digest_of
from mustwright.services.batch.cache import kept_beside, memory_of
from mustwright.services.batch.forecaster import Told, is_awaited, told
from mustwright.services.batch.repository import Ledger
from mustwright.unit_system import chosen, speaking_of

MakeOutlook = Callable[[Progress], BatchOutlook]


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
        key = (slug, zone, make_outlook, memory.forecasts_made(slug), chosen())
        kept = memory.views.get(key)
        if (
            isinstance(kept, BatchView)
            and _holds(kept, record, now)
            and (not kept.pending or is_awaited(ledger, record, urgent=urgent))
        ):
            view = kept
        else:
            view = _view(ledger, record, now, zone, make_outlook, urgent)
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
    with speaking_of(state.plan.sheet):
        return judged(
            record,
            gist,
            state,
            zone,
            source.outlook,
            foreseen=source.foreseen,
            ph=source.ph,
            pending=source.pending,
            wrong_clock=clock_behind(record.updated_at, last_at, now),
            read_log=lambda: memory.stands(ledger, record),
        )
