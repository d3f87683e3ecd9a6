"""Apply a finishing step to a batch: its own numbers in, what was really done into its log."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from mustwright.batch.entries import Entry
from mustwright.batch.finishing_record import Added, Poured, StepDone
from mustwright.bench.amounts import Use, uses
from mustwright.bench.batch_start import BatchStart, measured_in
from mustwright.bench.fields import TypedFields
from mustwright.bench.taste import lot_pairs, read_lot
from mustwright.bench.to_record import AnsweredStep, done
from mustwright.errors import InputError
from mustwright.finishing.lots import Lot
from mustwright.services.batch.record import YOU, new_id, write
from mustwright.services.batch.repository import Ledger

StartOf = Callable[[str], BatchStart]
LOT_FACTS = {
    "alcohol": "alcohol", "gravity": "gravity", "acidity": "acidity", "so2": "total",
    "sugar": "residual_sugar", "volume": "volume",
}  # fmt: skip
CARRIED = ("sorbic_acid_mg_l", "potassium_mg_l", "calcium_mg_l")


@dataclass(frozen=True)
class FilledFields:
    """The fields of a step as they are used for a batch.

    Parameters
    ----------
    step : str
        Page or command of the bench.
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

    step: str
    start: BatchStart
    own: Mapping[str, str]
    given: Mapping[str, object]
    typed: tuple[str, ...]
    lots: Sequence[str | None] = ()
    starts: Mapping[str, BatchStart] = field(default_factory=dict)


def filled(
    step: str,
    names: Sequence[str],
    typed: Mapping[str, object],
    start: BatchStart,
    start_of: StartOf,
    without: Collection[str] = (),
) -> FilledFields:
    """A step's fields from the batch's numbers, with what was typed over them.

    Parameters
    ----------
    names : sequence of str
        The fields of the step.
    start_of : callable
        Gives another batch, for a lot of a blend.
    without : collection of str
        Fields of the batch that the maker emptied.
    """
    own = {k: v for k, v in start.fields_for(step, names).items() if k not in without}
    said = {k: v for k, v in typed.items() if v not in (None, "", (), [], False)}
    given: dict[str, object] = {**own, **said}
    changed = tuple(name for name in said if said[name] != own.get(name))
    if step != "blend":
        return FilledFields(step, start, own, given, changed)
    pairs = [lot_pairs(lot, i) for i, lot in enumerate(_list(typed.get("lot")), 1)]
    slugs = [str(p["batch"]) if p.get("batch") else None for p in pairs]
    named = [slug for slug in slugs if slug]
    if len(set(named)) < len(named):
        twice = next(slug for slug in named if named.count(slug) > 1)
        raise InputError("lot", "needs each batch once", twice)
    starts = {slug: start if slug == start.slug else start_of(slug) for slug in named}
    given["lot"] = [_lot_of(p, starts) for p in pairs]
    return FilledFields(step, start, own, given, changed, slugs, starts)


def _list(value: object) -> list[object]:
    if isinstance(value, (list, tuple)):
        return list(value)
    return [value] if value else []


def _lot_of(pairs: Mapping[str, object], starts: Mapping[str, BatchStart]) -> dict[str, object]:
    """A lot of a batch with that batch's numbers, and what was typed over them."""
    typed = {k: v for k, v in pairs.items() if k != "batch"}
    slug = pairs.get("batch")
    if not slug:
        return typed
    start = starts[str(slug)]
    facts = start.mead.typed()
    known = {name: facts[fact] for name, fact in LOT_FACTS.items() if fact in facts}
    return {"name": start.name, **known, **typed}


def case_of(result: object, fields: FilledFields) -> AnsweredStep:
    """An answer with what it was worked out from."""
    start, given = fields.start, fields.given
    facts = TypedFields(
        {k: given.get(k) for k in ("volume", "gravity", "alcohol")},
        ("volume", "gravity", "alcohol"),
    )
    volume = None if fields.step == "blend" else facts.volume("volume")
    gravity, alcohol = facts.gravity("gravity"), facts.alcohol()
    lots: list[Added] = []
    own = None
    if fields.step == "blend":
        read = [read_lot(lot, i) for i, lot in enumerate(_list(given["lot"]), 1)]
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
    from mustwright.finishing.liquid import mead

    liquid = mead(1.0, lot.gravity, lot.alcohol_pct)
    brings = {
        "total_so2": (lot.so2_mg_l or 0.0) / 1000,
        "sugar": lot.sugar_g_l or 0.0,
        "acidity": lot.acidity_g_l or 0.0,
    }
    for name in CARRIED if start is not None else ():
        value = getattr(start.held, name) if start is not None else None
        brings[name.removesuffix("_mg_l")] = (value or 0.0) / 1000
    poured = Poured(liquid.mass_g, liquid.extract_g, liquid.ethanol_g)
    kept = {name: value for name, value in brings.items() if value}
    return Added(lot.name[:120] or "lot", lot.name[:120] or "lot", liquid.mass_g, kept, poured, 1.0)


def amounts_of(result: object, fields: FilledFields) -> list[Use]:
    """The amounts to confirm."""
    return uses(result, case_of(result, fields).volume_l)


def why_not(result: object, fields: FilledFields) -> str:
    """Why an answer may not be written down as done; empty where it may."""
    try:
        done(case_of(result, fields), {"grams.1": "0 g"} if _is_open(result) else {}, {})
    except InputError as error:
        return error.requirement
    return ""


def _is_open(result: object) -> bool:
    return any(use.amount is None for use in uses(result, 1.0))


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
) -> Entry:
    """Write a step into the log of its batch; of a blend, also what was drawn from other batches.

    The same id twice writes once, so that an interrupted blend is completed by sending it again.

    Parameters
    ----------
    used : mapping of str to str
        The amounts that were really used, by key of `amounts_of`.

    Raises
    ------
    InputError, ImpossibleError
        Nothing is written then.
    """
    case = case_of(result, fields)
    measured = measured_in(fields.step, fields.given, fields.own, fields.typed)
    made = replace(done(case, used, measured), note=note)
    identity = id or new_id()
    slug = fields.start.slug
    for i, other in enumerate(fields.lots):
        if other is None or other == slug:
            continue
        litres = next((u.read(used.get(u.key)) for u in uses(result, case.volume_l)
                       if u.key == f"litres.{i + 1}"), 0.0)  # fmt: skip
        if litres > 0:
            drawn = StepDone(
                "drawn", lost_l=litres, words={"into": fields.start.name}, said=made.said
            )
            write(ledger, other, drawn, at=at, who=who, id=f"{identity}-{i + 1}")
    return write(ledger, slug, made, at=at, who=who, id=identity)
