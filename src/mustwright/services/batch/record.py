"""Start a batch and write into its log; correct, remove, restore and undo without losing a word."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from os import urandom
from uuid import UUID, uuid4

from mustwright.batch.entries import (
    CORRECTABLE,
    Correction,
    Entry,
    Event,
    Payload,
    PlanAdopted,
    Removal,
    Restoration,
    What,
    what_data,
)
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.likely_volume import refuse_unlikely_volume
from mustwright.batch.log import Standing, standing, to_undo, undoing
from mustwright.batch.plan import BatchPlan, batch_plan
from mustwright.batch.view import BatchRecord
from mustwright.errors import InputError
from mustwright.nutrition.protocols import protocol_called, read_protocol
from mustwright.planning.likeness import HouseFor
from mustwright.planning.plan import plan
from mustwright.planning.plan_forecast import recommended, salted
from mustwright.services.batch.repository import Ledger
from mustwright.services.batch.two_ends import changes_of, ends_of, refuse_other_amounts
from mustwright.services.own_protocols import protocol_text
from mustwright.services.repository import MissingRecordError
from mustwright.texts import say

YOU = "you"


def new_id() -> str:
    """An id for an entry that nobody else will choose."""
    return uuid4().hex


def new_ids(count: int) -> list[str]:
    """Several such ids, for which the system is asked once."""
    drawn = urandom(16 * count)
    return [UUID(bytes=drawn[k : k + 16], version=4).hex for k in range(0, len(drawn), 16)]


def plan_of(
    sheet: str,
    protocol: str | None,
    own_texts: Mapping[str, str],
    name: str = "must",
    house: HouseFor | None = None,
    as_written: bool = False,
) -> BatchPlan:
    """The plan a batch of this must would start with.

    Parameters
    ----------
    sheet : str
        TOML of the must, with the shelf it is planned on.
    protocol : str or None
        Id; None picks the recommended one.
    own_texts : mapping of str to str
        Files of the maker's own protocols, by id.
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.
    as_written : bool
        Follow the protocol as its author wrote it, the law apart, whatever the sheet says.
    """
    own = {identity: read_protocol(text) for identity, text in own_texts.items()}
    if protocol:
        found = salted(plan(sheet, protocol, own, name, as_written=as_written))
    else:
        found = recommended(sheet, own, name, house=house, as_written=as_written)
    return batch_plan(
        found.ground.setting,
        protocol_called(found.plan.protocol, own),
        found.plan,
        sheet=sheet,
        protocol_text=protocol_text(found.plan.protocol, own_texts),
        ph=found.must.ph,
        warnings=found.warnings,
    )


def start_batch(
    ledger: Ledger,
    plan: BatchPlan,
    name: str,
    *,
    now: datetime,
    pitched_at: datetime | None = None,
    sheet: str = "",
    who: str = YOU,
) -> BatchRecord:
    """A new batch that follows a plan; pitched already, where `pitched_at` says when."""
    if not name.strip() or len(name) > 120:
        raise InputError("name", say("needs a name of 1 to 120 characters"), name)
    when = pitched_at or now
    entries = [Entry(new_id(), when, who, PlanAdopted(plan))]
    if pitched_at is not None:
        entries.append(Entry(new_id(), pitched_at, who, Event("pitched")))
    return ledger.start(name.strip(), sheet, entries)


def write(
    ledger: Ledger,
    slug: str,
    what: Payload,
    *,
    at: datetime,
    who: str = YOU,
    id: str | None = None,
) -> Entry:
    """One more line of the log; the same id twice writes once."""
    if isinstance(what, PlanAdopted):
        raise InputError("kind", say("needs the re-plan, which checks its rules"), say("plan"))
    if isinstance(what, Event) and what.litres is not None:
        refuse_unlikely_volume(what, what.litres, at, standing(ledger.log(slug)))
    return ledger.append(slug, [Entry(id or new_id(), at, who, what)])[0]


def find(ledger: Ledger, slug: str, id: str) -> Standing:
    """An entry as it stands; the start of its id is enough if no other begins with it.

    Raises
    ------
    MissingRecordError, InputError
    """
    stands = standing(ledger.log(slug))
    exact = [s for s in stands if s.entry.id == id]
    close = exact or [s for s in stands if id and s.entry.id.startswith(id)]
    if not close:
        raise MissingRecordError("entry", id)
    if len(close) > 1:
        raise InputError("entry", say("needs more of its id: several begin so"), id)
    return close[0]


def correct(
    ledger: Ledger,
    slug: str,
    id: str,
    what: Payload,
    *,
    at: datetime | None = None,
    seen: int | None = None,
    who: str = YOU,
    now: datetime,
) -> Entry:
    """Correct an entry; who, when, before and after stay in the log.

    Parameters
    ----------
    at : datetime or None
        When it happened, as corrected; None leaves it.
    seen : int or None
        Version of the batch that was read; a change of the same entry since then is refused with
        both (`ChangedEntryError`).
    """
    stand = find(ledger, slug, id)
    if not isinstance(stand.what, CORRECTABLE) or what.kind != stand.what.kind:
        raise InputError("kind", say("needs to stay a {kind}", kind=stand.what.kind), what.kind)
    if isinstance(what, StepDone):
        refuse_other_amounts(ledger, slug, stand, what)
    change = Correction(
        stand.entry.id, stand.at, at or stand.at, what_data(stand.what), what_data(what)
    )
    return _change(ledger, slug, change, seen, who, now)


def remove(
    ledger: Ledger,
    slug: str,
    id: str,
    *,
    why: str = "",
    seen: int | None = None,
    who: str = YOU,
    now: datetime,
) -> Entry:
    """Stop an entry from counting."""
    stand = find(ledger, slug, id)
    if isinstance(stand.what, PlanAdopted) and stand.what.plan.number == 1:
        raise InputError("entry", say("needs to stay: a batch has its first plan"), id)
    return _change(ledger, slug, Removal(stand.entry.id, why[:400]), seen, who, now)


def restore(
    ledger: Ledger, slug: str, id: str, *, seen: int | None = None, who: str = YOU, now: datetime
) -> Entry:
    """Make a removed entry count again."""
    stand = find(ledger, slug, id)
    return _change(ledger, slug, Restoration(stand.entry.id), seen, who, now)


def undo(
    ledger: Ledger, slug: str, *, seen: int | None = None, who: str = YOU, now: datetime
) -> tuple[Entry, Entry]:
    """Take back the latest line not taken back yet; returns that line, and the one that does it.

    Raises
    ------
    InputError
        When nothing is left to undo.
    """
    log = ledger.log(slug)
    last = to_undo(log)
    if last is None:
        raise InputError("undo", say("needs something to take back"), say("nothing"))
    return last, _change(ledger, slug, undoing(log, last), seen, who, now)


def _change(
    ledger: Ledger, slug: str, what: What, seen: int | None, who: str, now: datetime
) -> Entry:
    """Write a change; of an event with two ends, both ends are taken back, or neither."""
    change = Entry(new_id(), now, who, what)
    lines = {slug: [change]}
    if isinstance(what, (Removal, Restoration)):
        stand = find(ledger, slug, what.target)
        ends = ends_of(ledger, slug, stand)
        for other, same in changes_of(ends, ledger, what).items():
            lines[other] = [Entry(new_id(), now, who, same)]
    return ledger.append_each(lines, {} if seen is None else {slug: seen})[slug][0]
