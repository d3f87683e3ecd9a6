"""A batch begins: the plan its must's page shows, and the moment the yeast went in."""

from __future__ import annotations

from datetime import datetime

from mustwright.batch.view import BatchRecord
from mustwright.planning.likeness import HouseFor
from mustwright.services import records as use
from mustwright.services.batch.record import plan_of, start_batch
from mustwright.services.batch.repository import Ledger
from mustwright.services.own_protocols import own_protocols, protocol_texts
from mustwright.services.repository import Cellar, Record


def start_planned(
    cellar: Cellar,
    ledger: Ledger,
    must: Record | str,
    name: str,
    protocol: str | None = None,
    *,
    now: datetime,
    pitched_at: datetime | None = None,
    house: HouseFor | None = None,
    as_written: bool = False,
) -> BatchRecord:
    """A new batch that follows a must's plan.

    Parameters
    ----------
    must : Record or str
        A kept must, planned as its page plans it: with the cellar's shelf unless it has its own;
        or the text of a sheet, planned as it stands.
    name : str
        Of the batch.
    protocol : str or None
        Id; None picks the recommended one. Own protocols that cannot be read are passed over.
    pitched_at : datetime or None
        When the yeast was pitched, if it was.
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.
    as_written : bool
        Follow the protocol as its author wrote it, the law apart, whatever the sheet says.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    readable = own_protocols(cellar)
    own = {id: text for id, text in protocol_texts(cellar).items() if id in readable}
    if isinstance(must, Record):
        text = use.sheet_with_shelf(must.text, cellar.records("nutrient"))
        called, sheet = must.name, must.key
    else:
        text, called, sheet = must, name, ""
    plan = plan_of(text, protocol, own, called, house, as_written)
    return start_batch(ledger, plan, name, now=now, pitched_at=pitched_at, sheet=sheet)
