"""Re-plan a running batch: propose, show what changes, and adopt on consent."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime, tzinfo

from mustwright.batch.allowed_additions import broken
from mustwright.batch.entries import Entry, PlanAdopted
from mustwright.batch.log import plans
from mustwright.batch.replan import Proposal
from mustwright.errors import ConflictError, ImpossibleError, InputError
from mustwright.plain_data import data_of
from mustwright.services.batch.batch_view import MakeOutlook, look
from mustwright.services.batch.record import YOU, new_id
from mustwright.services.batch.repository import Ledger
from mustwright.texts import say


def fingerprint(proposal: Proposal) -> str:
    """A short name for exactly this proposal, so that only what was shown can be adopted."""
    shown = [(c.key, c.what, data_of(c.after.doses)) for c in proposal.changes]
    return hashlib.sha256(json.dumps(shown).encode()).hexdigest()[:16]


def adopt(
    ledger: Ledger,
    slug: str,
    *,
    now: datetime,
    zone: tzinfo,
    seen: int | None = None,
    agreed: str | None = None,
    who: str = YOU,
    make_outlook: MakeOutlook | None = None,
) -> Entry:
    """Put the proposed plan in force; the one before stays in the log.

    Parameters
    ----------
    seen : int or None
        Version of the batch that was read; another plan since then is refused.
    agreed : str or None
        `fingerprint` of the proposal that was shown; another one by now is refused.

    Raises
    ------
    InputError
        When there is nothing to change.
    ConflictError
    """
    view = look(ledger, slug, now, zone, make_outlook)
    if seen is not None and any(s.entry.seq > seen for s in plans(view.stands)):
        raise ConflictError(
            say("another plan was adopted since you opened this; nothing was written")
        )
    proposal = view.proposal
    if proposal is None:
        raise InputError("replan", say("needs a plan that no longer fits"), say("one that fits"))
    if agreed is not None and agreed != fingerprint(proposal):
        raise ConflictError(
            say(
                "the proposal has changed since it was shown: look at it again; nothing was written"
            )
        )
    given = view.progress.given_g
    already = {most.key for most in broken(proposal.plan, given, ())}  # no plan can fix those
    open_feeds = [c.after for c in proposal.changes]
    for most in broken(proposal.plan, given, open_feeds):
        if most.key not in already:
            raise ImpossibleError(
                "replan", say("would break a limit: {limit}", limit=most.words), most.key
            )
    entry = Entry(new_id(), now, who, PlanAdopted(proposal.plan, proposal.reasons))
    return ledger.append(slug, [entry], seen)[0]
