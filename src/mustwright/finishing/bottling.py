"""How many bottles, what to lay out for them, and what the label has to say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.finishing.label_facts import (
    BottleAsk,
    LabelFacts,
    label_alcohol,
    label_facts,
    lot_code,
    refuse_class,
    tax_class,
    volume_text,
)
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.step import Recorded, cautions, finishing_data, published, within

MOST_BOTTLES = 100_000
SMALLEST_L, LARGEST_L = 0.01, 60.0


@dataclass(frozen=True)
class Filled:
    """A number of bottles of one size."""

    litres: float
    count: Figure
    filled_l: Figure


@dataclass(frozen=True)
class Material:
    """One line of what to lay out."""

    name: str
    count: int
    why: str


@dataclass(frozen=True)
class Bottling:
    """Bottles, materials and label facts."""

    bottles: tuple[Filled, ...]
    bottle_count: Figure
    usable_l: Figure
    left_l: Figure
    materials: tuple[Material, ...]
    labels: tuple[LabelFacts, ...]
    label_alcohol_pct: Figure | None
    lot_code: str
    bottled: date
    naming: str
    tax_class: str
    keeping: str
    recorded: Recorded = field(default_factory=Recorded)


def bottle(ask: BottleAsk, law: FinishingLaw) -> Bottling:
    """Fill sizes from the largest down, and gather materials and label facts.

    Raises
    ------
    InputError, ImpossibleError

    Notes
    -----
    Usable is the volume less what stays in hose and vessel; each bottle takes its size and 3 mL of
    drips and foam (common practice, no source). Sizes with a count come first.
    """
    _check(ask)
    refuse_class(ask, law)
    loss = published(finishing_data()["bottling"]["fill_loss_l"], "loss in filling", "L")
    if ask.loss_l is not None:
        loss = typed(within(ask.loss_l, 0, ask.volume_l, "loss", "a volume in L"), "L")
    usable = Figure(
        max(ask.volume_l - loss.value, 0.0),
        "L",
        "volume - loss",
        ARITHMETIC,
        {"volume_l": typed(ask.volume_l, "L"), "loss_l": loss},
    )
    bottles, left = _fill(ask, usable)
    count = sum(int(b.count.value) for b in bottles)
    lot = lot_code(ask.bottled, ask.batch)
    alcohol = None if ask.alcohol_pct is None else label_alcohol(ask.alcohol_pct, law)
    labels = tuple(
        label_facts(ask, law, b.litres, alcohol, lot) for b in bottles if b.count.value > 0
    )
    return Bottling(
        bottles,
        Figure(count, "bottles", "sum over sizes", ARITHMETIC),
        usable,
        left,
        _materials(ask, count, bottles),
        labels,
        alcohol,
        lot,
        ask.bottled,
        law.label.naming,
        tax_class(ask, law),
        _keeping(ask),
        Recorded((), {"volume_l": left}, _steps(ask), _notes(ask, law), cautions(*_dangers(ask))),
    )


def _check(ask: BottleAsk) -> None:
    within(ask.volume_l, 1e-3, 1e6, "volume", "a volume in L")
    if not 1 <= len(ask.sizes) <= 10:
        raise InputError("size", "needs one to ten sizes of bottle", len(ask.sizes))
    for size in ask.sizes:
        within(size.litres, SMALLEST_L, LARGEST_L, "size", "a bottle size in L")
        if size.count is not None:
            within(size.count, 0, MOST_BOTTLES, "size", "a count of bottles")
    if ask.alcohol_pct is not None:
        within(ask.alcohol_pct, 0, 25, "alcohol", "an alcohol in % vol")
    if ask.co2_g_l is not None:
        within(ask.co2_g_l, 0, 16, "co2", "carbon dioxide in g/L")
    if ask.total_so2_mg_l is not None:
        within(ask.total_so2_mg_l, 0, 2000, "so2", "total sulfur dioxide in mg/L")
    for name in ("name", "kind", "maker", "batch", "contents"):
        text = getattr(ask, name)
        if len(text) > 200 or any(ord(c) < 32 for c in text):
            raise InputError(name, "needs one line of up to 200 characters", text)


def _fill(ask: BottleAsk, usable: Figure) -> tuple[tuple[Filled, ...], Figure]:
    drip = float(finishing_data()["bottling"]["per_bottle_loss_ml"]["typical"]) / 1000
    left, found = usable.value, {}
    order = sorted(ask.sizes, key=lambda s: (s.count is None, -s.litres))
    for size in order:
        each = size.litres + drip
        fits = math.floor(left / each + 1e-9)
        if size.count is not None and size.count > fits:
            raise ImpossibleError(
                "size",
                f"needs a count the mead fills: at most {fits} of {size.litres:g} L",
                size.count,
            )
        number = fits if size.count is None else size.count
        if number > MOST_BOTTLES:
            raise InputError("size", f"needs at most {MOST_BOTTLES} bottles", number)
        found[id(size)] = number
        left -= number * each
    bottles = tuple(
        Filled(
            size.litres,
            Figure(
                found[id(size)],
                "bottles",
                "whole bottles of size + 3 mL that what is left fills, or as typed",
                ARITHMETIC,
                {"usable_l": usable, "size_l": typed(size.litres, "L")},
            ),
            Figure(found[id(size)] * size.litres, "L", "count x size", ARITHMETIC),
        )
        for size in ask.sizes
    )
    rest = Figure(max(left, 0.0), "L", "usable - filled - drips", ARITHMETIC, {"usable_l": usable})
    return bottles, rest


def _materials(ask: BottleAsk, count: int, bottles: Sequence[Filled]) -> tuple[Material, ...]:
    spare = published(finishing_data()["bottling"]["spare_pct"], "spare", "%")
    more = count + math.ceil(count * spare.value / 100)
    why = f"{count} and {spare.value:.0f} % spare"
    lines = [
        Material(f"bottles of {volume_text(b.litres)}, clean", int(b.count.value), "counted above")
        for b in bottles
        if b.count.value > 0
    ]
    if ask.sparkling:
        lines.append(Material("crown caps, or corks with wire hoods", more, why))
        lines.append(Material("plastic bottle for fizzy drinks, as a gauge", 1, "hard means ready"))
    else:
        lines.append(Material("corks, screw caps or crown caps to fit", more, why))
    lines.append(Material("labels", more, why))
    lines.append(Material("boxes of twelve", math.ceil(count / 12), "count / 12"))
    return tuple(lines)


def _keeping(ask: BottleAsk) -> str:
    """How long it is likely to be good: rules of thumb, and called that."""
    strong = ask.alcohol_pct is not None and ask.alcohol_pct >= 10
    sulfited = ask.total_so2_mg_l is not None and ask.total_so2_mg_l >= 20
    if strong and sulfited:
        span = "one to five years"
    elif strong or sulfited:
        span = "one to two years"
    else:
        span = "within a year"
    return (
        f"Likely at its best {span} from bottling, kept dark, cool and steady (common practice, "
        "no source). Keep three bottles back and open one a year."
    )


def _steps(ask: BottleAsk) -> tuple[str, ...]:
    steps = [
        "Stable and clear? (finish stable). Free sulfur dioxide measured this week?",
        "Sanitise bottles, hose and filler; drain; flush with gas if you have it.",
        "Fill from the floor of the bottle; still: 15 mm below the closure, sparkling: 25 mm.",
        "Close at once, wipe, label, write count and lot into the log.",
    ]
    if ask.sparkling:
        steps.insert(1, "Only bottles made for the pressure (finish carbonate), none chipped.")
    return tuple(steps)


def _notes(ask: BottleAsk, law: FinishingLaw) -> tuple[str, ...]:
    notes = [note for note in (law.label.date, law.label.tax_note) if note]
    if ask.total_so2_mg_l is None:
        notes.append(
            "Total sulfur dioxide was not typed, so the label has no sulfite line. Yeast makes "
            "some "
            "itself: at 10 mg/L or more it belongs on the label."
        )
    if ask.alcohol_pct is None:
        notes.append("Alcohol was not typed, so the label has no alcohol line.")
    if law.label.is_weak(ask.alcohol_pct):
        notes.append(f"{law.label.weak_words} ({law.label.weak_source})")
    elif law.label.fill:
        notes.append(law.label.fill)
        odd = [s.litres for s in ask.sizes if not law.label.lists_size(s.litres)]
        if odd:
            sizes = ", ".join(volume_text(v) for v in odd)
            notes.append(
                f"Not a listed size: {sizes}. Wine for sale is not filled into it "
                f"({law.label.fill_source})."
            )
    if law.label.warning:
        notes.append("Compare the warning with the law in force: its wording is from memory.")
    most = law.class_most("honey wine", "alcohol_after")
    if most is not None and (ask.alcohol_pct or 0.0) > (most.high or 100.0):
        notes.append(f"Above {most.high:g} % vol it is no honey wine ({most.source}).")
    if law.id == "eu":
        notes.append(
            "Sold drinks also carry the maker's address, and by kind of drink an ingredient list "
            "and nutrition facts: look up what applies to mead where you sell."
        )
    return (*notes, law.note)


def _dangers(ask: BottleAsk) -> tuple[str, ...]:
    always = ("allergens_named", "alcohol", "local_law")
    return ("priming_bomb", *always) if ask.sparkling else ("pressure_glass", *always)
