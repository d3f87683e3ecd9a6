"""Apply a finishing step to a batch: its own numbers in, what was really done into its log."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from mustwright.batch.entries import Entry
from mustwright.batch.finishing_record import Added, Poured, StepDone
from mustwright.batch.too_soon import too_soon
from mustwright.bench import shared_fields as shared
from mustwright.bench.amounts import Use
from mustwright.bench.batch_start import BatchStart, measured_in
from mustwright.bench.fields import NOTHING, StepField, TypedFields, parts
from mustwright.bench.recording import AnsweredStep
from mustwright.bench.step_table import done, step_of, uses
from mustwright.bench.steps.blend import LOT_FIELDS, lot_pairs, read_lot
from mustwright.errors import InputError
from mustwright.finishing.liquid import mead
from mustwright.finishing.lots import Lot
from mustwright.services.batch.record import YOU, new_id
from mustwright.services.batch.repository import Ledger
from mustwright.services.batch.two_ends import other_end
from mustwright.texts import say

StartOf = Callable[[str], BatchStart]
CARRIED = ("sorbic_acid_mg_l", "potassium_mg_l", "calcium_mg_l")


@dataclass(frozen=True)
class FilledFields:
    """The fields of a step as they are used for a batch.

    Parameters
    ----------
    fields : tuple of StepField
        Those that the step has.
    start : BatchStart
    own : mapping of str to str
        What the batch fills.
    given : mapping
        With what the maker typed over it.
    typed : tuple of str
        Fields that were typed.
    lots : sequence of str or None
        Of a blend, the batch that each lot comes from.
    starts : mapping of str to BatchStart
        Those batches.
    """

    fields: tuple[StepField, ...]
    start: BatchStart
    own: Mapping[str, str]
    given: Mapping[str, object]
    typed: tuple[str, ...]
    lots: Sequence[str | None] = ()
    starts: Mapping[str, BatchStart] = field(default_factory=dict)

    @property
    def is_blend(self) -> bool:
        """Whether lots go together."""
        return bool(self.lots) or "lot" in self.given


def filled(
    fields: Collection[StepField],
    typed: Mapping[str, object],
    start: BatchStart,
    start_of: StartOf,
    without: Collection[str] = (),
) -> FilledFields:
    """A step's fields from the batch's numbers, with what was typed over them.

    Parameters
    ----------
    fields : collection of StepField
        Those of the step or its page.
    start_of : callable
        Gives another batch, for a lot of a blend.
    without : collection of str
        Fields of the batch that the maker emptied.
    """
    own = {k: v for k, v in start.fields_for(fields).items() if k not in without}
    said = {k: v for k, v in typed.items() if v not in NOTHING and v not in ([], False)}
    given: dict[str, object] = {**own, **said}
    changed = tuple(name for name in said if said[name] != own.get(name))
    found = FilledFields(tuple(fields), start, own, given, changed)
    if "lot" not in typed:
        return found
    pairs = [lot_pairs(lot, say("lot {i}", i=i)) for i, lot in enumerate(parts(typed["lot"]), 1)]
    slugs = [str(p["batch"]) if p.get("batch") else None for p in pairs]
    named = [slug for slug in slugs if slug]
    if len(set(named)) < len(named):
        twice = next(slug for slug in named if named.count(slug) > 1)
        raise InputError("lot", say("needs each batch once"), twice)
    starts = {slug: start if slug == start.slug else start_of(slug) for slug in named}
    given["lot"] = [_lot_of(p, starts) for p in pairs]
    return replace(found, lots=slugs, starts=starts)


def _lot_of(pairs: Mapping[str, object], starts: Mapping[str, BatchStart]) -> dict[str, object]:
    """A lot of a batch with that batch's numbers, and what was typed over them."""
    typed = {k: v for k, v in pairs.items() if k != "batch"}
    slug = pairs.get("batch")
    if not slug:
        return typed
    start = starts[str(slug)]
    return {**start.fields_for(LOT_FIELDS), "name": start.name, **typed}


def case_of(result: object, fields: FilledFields) -> AnsweredStep:
    """An answer with what it was worked out from."""
    start, given = fields.start, fields.given
    volume = None if fields.is_blend else shared.VOLUME.read(given.get("volume"))
    gravity = shared.GRAVITY.read(given.get("gravity"))
    alcohol = shared.ALCOHOL.read(given.get("alcohol"))
    lots: list[Added] = []
    own = None
    if fields.is_blend:
        read = [read_lot(lot, say("lot {i}", i=i)) for i, lot in enumerate(parts(given["lot"]), 1)]
        sources = [fields.starts[slug] if slug else None for slug in fields.lots]
        lots = [_per_litre(lot, one) for lot, one in zip(read, sources, strict=True)]
        own = next((i for i, slug in enumerate(fields.lots) if slug == start.slug), None)
        if own is not None:
            gravity, alcohol = read[own].gravity, read[own].alcohol_pct
    return AnsweredStep(
        result,
        start.held.volume_l if volume is None else volume,
        given,
        start.held.gravity if gravity is None else gravity,
        start.held.alcohol_pct if alcohol is None else alcohol,
        tuple(lots),
        own,
    )


def _per_litre(lot: Lot, start: BatchStart | None) -> Added:
    """What a litre of a lot brings."""
    liquid = mead(1.0, lot.gravity, lot.alcohol_pct)
    brings = {
        "total_so2": (lot.so2_mg_l or 0.0) / 1000,
        "sugar": lot.sugar_g_l or 0.0,
        "acidity": lot.acidity_g_l or 0.0,
    }
    if start is not None:
        for name in CARRIED:
            brings[name.removesuffix("_mg_l")] = (getattr(start.held, name) or 0.0) / 1000
    poured = Poured(liquid.mass_g, liquid.extract_g, liquid.ethanol_g)
    kept = {name: value for name, value in brings.items() if value}
    return Added(
        lot.name[:120] or "part", lot.name[:120] or "part", liquid.mass_g, kept, poured, 1.0
    )


def amounts_of(result: object, fields: FilledFields) -> list[Use]:
    """The amounts to confirm."""
    return uses(result, case_of(result, fields).volume_l)


def unsafe(result: object, fields: FilledFields) -> InputError | None:
    """Why a step may not be done on what the log knows: bottles closed too soon, or too thin.

    The protection that is stated with the step counts.
    """
    step = step_of(result)
    if step.closes is None:
        return None
    names = {one.name for one in step.fields}
    typed = TypedFields(step.fields, {k: v for k, v in fields.given.items() if k in names})
    closed = step.closes(typed, result)
    return None if closed is None else too_soon(fields.start.bottling, closed)


def why_not(result: object, fields: FilledFields) -> str:
    """Why an answer may not be written down as done; empty where it may."""
    danger = unsafe(result, fields)
    if danger is not None:
        return danger.requirement
    try:
        done(case_of(result, fields), {"grams.1": "0 g"} if _is_open(result) else {}, {})
    except InputError as error:
        return error.requirement
    return ""


def _is_open(result: object) -> bool:
    return any(use.amount is None for use in uses(result, 1.0))


def _doubt(amounts: Sequence[Use], used: Mapping[str, str]) -> None:
    for use in amounts:
        doubt = use.doubt(used[use.key]) if use.key in used else None
        if doubt is not None:
            raise doubt


def record_step(
    ledger: Ledger,
    result: object,
    fields: FilledFields,
    used: Mapping[str, str],
    *,
    at: datetime,
    note: str = "",
    id: str | None = None,
    who: str = YOU,
    sure: bool = False,
    sent_as: str = "",
) -> Entry:
    """Write a step into the log of its batch; of a blend, also what was drawn from other batches.

    All of it is written in one step, or nothing. The same id twice writes once.

    Parameters
    ----------
    used : mapping of str to str
        The amounts that were really used, by key of `amounts_of`.
    sure : bool
        Whether an amount that is likely a slip was confirmed; then it is written however large.
    sent_as : str
        Stands for all that a form said, so that sending it again can be told from other content.

    Raises
    ------
    InputError, ImpossibleError, UnlikelyError
        Nothing is written then.
    """
    danger = unsafe(result, fields)
    if danger is not None:
        raise danger
    if not sure:
        _doubt(amounts_of(result, fields), used)
    case = case_of(result, fields)
    typed = [one for one in fields.fields if one.name in fields.typed]
    measured = measured_in(typed, fields.given, fields.own)
    made = replace(done(case, used, measured), note=note, sent_as=sent_as)
    identity = id or new_id()
    slug = fields.start.slug
    lines = {slug: [Entry(identity, at, who, made)]}
    for i, other in enumerate(fields.lots):
        if other is None or other == slug:
            continue
        poured = {use.key: use for use in uses(result, case.volume_l)}.get(f"litres.{i + 1}")
        litres = poured.read(used.get(poured.key)) if poured else 0.0
        if litres > 0:
            drawn = StepDone(
                "drawn", lost_l=litres, words={"into": fields.start.name}, said=made.said
            )
            lines[other] = [Entry(other_end(identity, i + 1), at, who, drawn)]
    return ledger.append_each(lines)[slug][0]
