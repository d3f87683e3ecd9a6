"""What is in the bottle with this lot code: its batch, what went in, how it was, what it said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo

from mustwright.batch.entries import FeedGiven
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.finishing_text import added_words
from mustwright.batch.log import Standing, standing
from mustwright.batch.log_text import title
from mustwright.batch.plan import BatchPlan
from mustwright.batch.progress import progress_of
from mustwright.batch.snapshot import gist_of
from mustwright.batch.vessel import VesselContents, vessel
from mustwright.batch.view import BatchRecord
from mustwright.bench.steps.bottle import BOTTLE
from mustwright.errors import InputError, MustwrightError
from mustwright.must.gravity_text import gravity_text
from mustwright.planning.must_setup import ground_of
from mustwright.services.batch.repository import Ledger
from mustwright.services.repository import MissingRecordError
from mustwright.texts import literal, say, unchanged
from mustwright.toml_text import table_in
from mustwright.unit_system import mass
from mustwright.yeast.pitch import small_amount

LONGEST_CODE = 80
DELETED = say("This batch was deleted. Its bottles may still exist.")
OF_THE_RECIPE = ("kind", "amount", "stage", "part")
ADDING = {
    "fruit_in": say("Fruit"),
    "honey_in": say("Honey or sugar"),
    "water_in": say("Water"),
    "sulfited": say("Sulfite, without an amount"),
    "sorbated": say("Sorbate, without an amount"),
    "ph_adjusted": say("Something that changes the pH"),
}


@dataclass(frozen=True)
class LotPart:
    """Something that went into the lot: when (None for the must), what, and facts of its lot."""

    at: datetime | None
    words: str
    facts: str = ""


@dataclass(frozen=True)
class LotLabel:
    """What a label says."""

    name: str
    kind: str
    alcohol: str
    volume: str
    sulfite: str
    contents: str
    warning: str

    @property
    def words(self) -> str:
        """All of it in one line."""
        parts = (self.name, self.kind, self.alcohol, self.volume, self.sulfite, self.contents)
        warned = (say("with the warning the law prescribes"),) if self.warning else ()
        return "; ".join(part for part in (*parts, *warned) if part)


@dataclass(frozen=True)
class LotTrace:
    """One bottling behind a lot code.

    Parameters
    ----------
    code : str
        As it was written at bottling.
    slug, name : str
        The batch.
    entry : str
        Id of the line of the log.
    bottled : datetime
        As the log stands now.
    bottles : str
        How many of which size.
    held : VesselContents
        The mead as it was bottled, by the log as it stands now.
    parts : tuple of LotPart
        What went in, oldest first.
    said, would_say : tuple of LotLabel
        The label as it was worked out at bottling, and as it would be by the log as it stands now.
    refused : str
        Why no such label could be made from what is known now; empty if it could.
    corrected : tuple of str
        What was changed, or written late, after the bottling was written down.
    removed : bool
        Whether the bottling was taken out of the log.
    deleted : bool
        Whether the batch was deleted: the bottles are still there.
    """

    code: str
    slug: str
    name: str
    entry: str
    bottled: datetime
    bottles: str
    held: VesselContents
    parts: tuple[LotPart, ...]
    said: tuple[LotLabel, ...]
    would_say: tuple[LotLabel, ...]
    refused: str
    corrected: tuple[str, ...]
    removed: bool
    deleted: bool = False

    @property
    def alcohol_words(self) -> str:
        """Alcohol to a tenth, from the digits that a label takes it from."""
        return say("{alcohol:.1f} % vol", alcohol=float(_digits(self.held.alcohol_pct)))

    @property
    def sulfite_words(self) -> str:
        """Total sulfur dioxide, or that nothing is known of it."""
        total = self.held.total_so2_mg_l
        if total is None:
            return say("no sulfite in the log")
        return say("{total:.0f} mg/L of total sulfur dioxide, by what went in", total=total)

    @property
    def differs(self) -> bool:
        """Whether the label would say something else from what is known now."""
        return self.said != self.would_say


def trace(ledger: Ledger, code: str, zone: tzinfo) -> tuple[LotTrace, ...]:
    """Every bottling that wrote this lot code, the latest first; of deleted batches too.

    Parameters
    ----------
    code : str
        As it stands on the bottle; capitals and blanks around it do not matter.

    Raises
    ------
    InputError
        When it is empty or too long.
    MissingRecordError
        When no batch of the cellar was bottled with it.
    """
    wanted = code.strip()
    if not 0 < len(wanted) <= LONGEST_CODE:
        raise InputError(
            "lot",
            say("needs a lot code of 1 to {longest} characters", longest=LONGEST_CODE),
            code[:200],
        )
    found = []
    for deleted in (False, True):
        for record in ledger.batches(deleted=deleted):
            beside = ledger.gist(record.slug)  # its lines without readings are enough to look in
            lines = beside[1] if beside is not None else ledger.log(record.slug, deleted=True)
            if any(_wrote(stand, wanted) for stand in standing(lines)):
                stands = standing(ledger.log(record.slug, deleted=True))
                traced = (_trace(record, stands, s, zone) for s in stands if _wrote(s, wanted))
                found += [replace(one, deleted=deleted) for one in traced]
    if not found:
        raise MissingRecordError("lot", wanted)
    return tuple(sorted(found, key=lambda one: one.bottled, reverse=True))


def _wrote(stand: Standing, code: str) -> bool:
    """Whether a line was a bottling with this code, as written or as corrected."""
    return any(
        isinstance(what, StepDone) and what.words.get("lot", "").upper() == code.upper()
        for what in (stand.entry.what, stand.what)
    )


def _trace(
    record: BatchRecord, stands: Sequence[Standing], own: Standing, zone: tzinfo
) -> LotTrace:
    done: StepDone = own.what
    before = [s for s in stands if (s.at, s.entry.seq) < (own.at, own.entry.seq)]
    state = progress_of(gist_of(before, until=own.at), own.at)
    alone = replace(done, added=(), lost_l=0.0, after={})  # what was measured for it holds
    held = vessel(state, [*before, replace(own, what=alone)])
    first = own.entry.what
    assert isinstance(first, StepDone)
    day = own.at.astimezone(zone).date()
    return LotTrace(
        done.words.get("lot", first.words.get("lot", "")),
        record.slug,
        record.name,
        own.entry.id,
        own.at,
        done.words.get("bottles", "none"),
        held,
        (*_recipe(state.plan), *_went_in(before, held, state.plan.sheet)),
        _labels(first.asked, own.entry.at.astimezone(zone).date())[0],
        *_labels(_as_known(done.asked, held), day),
        tuple(_changed(stands, own, zone)),
        own.removed,
    )


# What went in -----------------------------------------------------------------------------------


def _recipe(plan: BatchPlan) -> list[LotPart]:
    """Ingredients and yeast of the plan, with the facts of their lots that were typed."""
    typed = table_in(plan.sheet, "must").get("ingredient", [])
    try:
        kilograms = [line.kg.value for line in ground_of(plan.sheet, "must").must.ingredients]
    except MustwrightError:
        kilograms = []
    parts = []
    for i, one in enumerate(typed):
        amount = (
            mass(kilograms[i], plan.sheet) if len(kilograms) == len(typed) else one.get("amount")
        )
        facts = "; ".join(f"{k}: {v}" for k, v in one.items() if k not in OF_THE_RECIPE)
        parts.append(
            LotPart(None, say("{amount} of {kind}", amount=amount, kind=one.get("kind")), facts)
        )
    if not typed:
        parts.append(LotPart(None, say("A must without a recipe, as it was measured")))
    grams = small_amount(plan.yeast.grams, 1)
    return [
        *parts,
        LotPart(None, say("{grams} g of yeast, {kind}", grams=grams, kind=plan.yeast.name.lower())),
    ]


def _went_in(before: Sequence[Standing], held: VesselContents, sheet: str) -> list[LotPart]:
    """Feeds, events that add something, and what finishing put in."""
    found = [(at, added_words(one, sheet), "") for at, one in held.added]
    for stand in before:
        what = stand.what
        if stand.removed:
            continue
        if isinstance(what, FeedGiven):
            found += [
                (
                    stand.at,
                    say("{grams:g} g of {nutrient}", grams=o.grams, nutrient=o.name or o.nutrient),
                    what.note,
                )
                for o in what.items
            ]
        elif getattr(what, "what", "") in ADDING:
            found.append((stand.at, ADDING[what.what], what.note))
    return [LotPart(*one) for one in sorted(found, key=lambda row: row[0])]


# What the label said ----------------------------------------------------------------------------


def _as_known(asked: Mapping[str, str], held: VesselContents) -> dict[str, str]:
    """The fields of a bottling, alcohol and sulfite as the log has them now."""
    found = {k: v for k, v in asked.items() if k not in ("alcohol", "so2")}
    found["alcohol"] = f"{_digits(held.alcohol_pct)} %"
    if held.total_so2_mg_l is not None:
        found["so2"] = f"{_digits(held.total_so2_mg_l)} mg/L"
    return found


def _digits(value: float) -> str:
    """Fields as the forms of the bench are filled from a batch."""
    return f"{float(f'{value:.4g}'):g}"


def _labels(asked: Mapping[str, str], day: date) -> tuple[tuple[LotLabel, ...], str]:
    """The labels of a bottling by its fields, or why there can be none."""
    names = {one.name for one in BOTTLE.fields}
    try:
        found = BOTTLE.run({k: v for k, v in asked.items() if k in names}, day).labels
    except MustwrightError as error:
        return (), error.text
    labels = [
        LotLabel(o.name, o.kind, o.alcohol, o.volume, o.sulfite, o.contents, o.warning)
        for o in found
    ]
    return tuple(labels), ""


# What was changed since -------------------------------------------------------------------------


_CHANGED = {
    "removal": literal("Taken out on {day:%Y-%m-%d}: {name}"),
    "restoration": literal("Brought back on {day:%Y-%m-%d}: {name}"),
}
_CORRECTED = literal("Corrected on {day:%Y-%m-%d}: {name}")


def _changed(stands: Sequence[Standing], own: Standing, zone: tzinfo) -> list[str]:
    """Lines about the mead before bottling that were changed, or written, after it was."""
    found: list[tuple[int, str]] = []
    for stand in stands:
        if (stand.at, stand.entry.seq) > (own.at, own.entry.seq):
            continue
        name = _name(stand, zone)
        if stand.entry.seq > own.entry.seq:
            found.append((stand.entry.seq, say("Written down later: {name}", name=name)))
        for change in stand.changes:
            if change.seq > own.entry.seq:
                wording = _CHANGED.get(change.what.kind, _CORRECTED)
                day = change.at.astimezone(zone)
                found.append((change.seq, wording.format(day=day, name=name)))
    return [words for _, words in sorted(found)]


def _name(stand: Standing, zone: tzinfo) -> str:
    what = stand.what
    words = getattr(what, "title", "") or getattr(what, "what", "") or what.kind
    gravity = getattr(what, "gravity", None)
    named = unchanged(words.lower().replace("_", " "), title(what))
    if gravity is not None:
        named = named + " " + gravity_text(gravity)
    return say("{entry} of {at:%Y-%m-%d %H:%M}", entry=named, at=stand.at.astimezone(zone))
