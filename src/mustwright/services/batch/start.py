"""A batch begins: the plan its must's page shows, and the moment the yeast went in."""

from __future__ import annotations

from datetime import datetime

from mustwright.batch.view import BatchRecord
from mustwright.services import records as use
from mustwright.services.batch.record import plan_of, start_batch
from mustwright.services.batch.repository import Ledger
from mustwright.services.repository import Cellar, SheetRecord


def start_planned(
    cellar: Cellar,
    ledger: Ledger,
    must: SheetRecord | str,
    name: str,
    protocol: str | None = None,
    *,
    now: datetime,
    pitched_at: datetime | None = None,
) -> BatchRecord:
    """A new batch that follows a must's plan.

    Parameters
    ----------
    must : SheetRecord or str
        A kept must, planned as its page plans it: with the cellar's shelf unless it has its own;
        or the text of a sheet, planned as it stands.
    name : str
        Of the batch.
    protocol : str or None
        Id; None picks the one that suits best. Own protocols that cannot be read are passed over.
    pitched_at : datetime or None
        When the yeast went in, where it did.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    readable = use.own_protocols(cellar)
    own = {one.id: one.text for one in cellar.protocols() if one.id in readable}
    if isinstance(must, SheetRecord):
        text = use.sheet_with_shelf(must.text, cellar.nutrients())
        called, sheet = must.name, must.slug
    else:
        text, called, sheet = must, name, ""
    plan = plan_of(text, protocol, own, called)
    return start_batch(ledger, plan, name, now=now, pitched_at=pitched_at, sheet=sheet)
