"""How many bottles, what to lay out for them, and what the label has to say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.finishing.bottle_pressure import warm_bottle
from mustwright.finishing.containers import (
    NamedBottle,
    containers_for,
    is_still,
    refuse_container,
    still_bar,
)
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
from mustwright.texts import join, say

MOST_BOTTLES = 100_000
WARNING_3_MM_L = 3.0  # larger bottles need a taller warning: CFR1621 16.22, from memory
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
    _refuse_thin(ask)
    _refuse_live(ask)
    refuse_class(ask, law)
    loss = published(finishing_data()["bottling"]["fill_loss_l"], say("loss in filling"), "L")
    if ask.loss_l is not None:
        loss = typed(within(ask.loss_l, 0, ask.volume_l, "loss", say("a volume in L")), "L")
    usable = Figure(
        max(ask.volume_l - loss.value, 0.0),
        "L",
        say("volume - loss"),
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
        Figure(count, say("bottles"), say("sum over sizes"), ARITHMETIC),
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
    within(ask.volume_l, 1e-3, 1e6, "volume", say("a volume in L"))
    if not 1 <= len(ask.sizes) <= 10:
        raise InputError("size", say("needs one to ten sizes of bottle"), len(ask.sizes))
    for size in ask.sizes:
        within(size.litres, SMALLEST_L, LARGEST_L, "size", say("a bottle size in L"))
        if size.count is not None:
            within(size.count, 0, MOST_BOTTLES, "size", say("a count of bottles"))
    if ask.alcohol_pct is not None:
        within(ask.alcohol_pct, 0, 25, "alcohol", say("an alcohol in % vol"))
    if ask.co2_g_l is not None:
        within(ask.co2_g_l, 0, 16, "co2", say("carbon dioxide in g/L"))
    if ask.total_so2_mg_l is not None:
        within(ask.total_so2_mg_l, 0, 2000, "so2", say("total sulfur dioxide in mg/L"))
    for name in ("name", "kind", "maker", "batch", "contents"):
        text = getattr(ask, name)
        if len(text) > 200 or any(ord(c) < 32 for c in text):
            raise InputError(name, say("needs one line of up to 200 characters"), text)


def _refuse_thin(ask: BottleAsk) -> None:
    """Gas in a bottle that was named and is not made for it."""
    if not ask.container and ask.limit_bar is None:
        return
    sugar, co2 = ask.sugar_g_l or 0.0, ask.co2_g_l
    glass = NamedBottle(ask.container, ask.limit_bar, ask.alcohol_pct, sugar)
    hot = warm_bottle(typed(co2 or 0.0, "g/L"), ask.alcohol_pct, sugar)
    containers = containers_for(glass, hot)
    if co2 is not None and not is_still(co2, ask.alcohol_pct, sugar):
        refuse_container(glass, containers, hot)
    holds = containers[0].working_bar.value
    if ask.sparkling and holds < still_bar():
        raise ImpossibleError(
            "bottle",
            say(
                "needs one made for a sparkling mead: this one ({name}) holds {holds:g} bar",
                name=containers[0].name,
                holds=holds,
            ),
            ask.container or holds,
        )


def _refuse_live(ask: BottleAsk) -> None:
    """Sugar over yeast that, as was typed, nothing has stopped."""
    dry = float(finishing_data()["stability"]["dry_g_l"])
    if ask.stabilised == "no" and (ask.sugar_g_l or 0.0) > dry:
        raise ImpossibleError(
            "stabilised",
            say(
                "needs the yeast stopped first: with {sugar:.0f} g/L of sugar and live yeast a "
                "bottle can burst",
                sugar=ask.sugar_g_l,
            ),
            "no",
        )


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
                say(
                    "needs a count the mead fills: at most {fits} of {litres:g} L",
                    fits=fits,
                    litres=size.litres,
                ),
                size.count,
            )
        number = fits if size.count is None else size.count
        if number > MOST_BOTTLES:
            raise InputError(
                "size",
                say("needs at most {most} bottles", most=MOST_BOTTLES),
                number,
            )
        found[id(size)] = number
        left -= number * each
    bottles = tuple(
        Filled(
            size.litres,
            Figure(
                found[id(size)],
                say("bottles"),
                say("whole bottles of size + 3 mL that what is left fills, or as typed"),
                ARITHMETIC,
                {"usable_l": usable, "size_l": typed(size.litres, "L")},
            ),
            Figure(found[id(size)] * size.litres, "L", say("count x size"), ARITHMETIC),
        )
        for size in ask.sizes
    )
    rest = Figure(
        max(left, 0.0), "L", say("usable - filled - drips"), ARITHMETIC, {"usable_l": usable}
    )
    return bottles, rest


def _materials(ask: BottleAsk, count: int, bottles: Sequence[Filled]) -> tuple[Material, ...]:
    spare = published(finishing_data()["bottling"]["spare_pct"], say("spare"), "%")
    more = count + math.ceil(count * spare.value / 100)
    why = say("{count} and {spare:.0f} % spare", count=count, spare=spare.value)
    lines = [
        Material(
            say("bottles of {size}, clean", size=volume_text(b.litres)),
            int(b.count.value),
            say("counted above"),
        )
        for b in bottles
        if b.count.value > 0
    ]
    if ask.sparkling:
        lines.append(Material(say("crown caps, or corks with wire hoods"), more, why))
        lines.append(
            Material(say("plastic bottle for fizzy drinks, as a gauge"), 1, say("hard means ready"))
        )
    else:
        lines.append(Material(say("corks, screw caps or crown caps to fit"), more, why))
    lines.append(Material(say("labels"), more, why))
    lines.append(
        Material(say("boxes of twelve"), math.ceil(count / 12), say("twelve bottles to a box"))
    )
    return tuple(lines)


def _keeping(ask: BottleAsk) -> str:
    """How long it is likely to be good: rules of thumb, and called that."""
    strong = ask.alcohol_pct is not None and ask.alcohol_pct >= 10
    sulfited = ask.total_so2_mg_l is not None and ask.total_so2_mg_l >= 20
    if strong and sulfited:
        span = say("one to five years")
    elif strong or sulfited:
        span = say("one to two years")
    else:
        span = say("within a year")
    return say(
        "Likely at its best {span} from bottling, kept dark, cool and steady (common practice, no "
        "source). Keep three bottles back and open one a year.",
        span=span,
    )


def _steps(ask: BottleAsk) -> tuple[str, ...]:
    steps = [
        say("Stable and clear? (finish stable). Free sulfur dioxide measured this week?"),
        say("Sanitise bottles, hose and filler; drain; flush with gas if you have it."),
        say("Fill from the floor of the bottle; still: 15 mm below the closure, sparkling: 25 mm."),
        say("Close at once, wipe, label, write count and lot into the log."),
    ]
    if ask.sparkling:
        steps.insert(1, say("Only bottles made for the pressure (finish carbonate), none chipped."))
    return tuple(steps)


def _notes(ask: BottleAsk, law: FinishingLaw) -> tuple[str, ...]:
    notes = [note for note in (law.label.date, law.label.tax_note) if note]
    if ask.total_so2_mg_l is None:
        named = law.lowest("declare_so2")
        notes.append(
            say(
                "Total sulfur dioxide was not typed, so the label has no sulfite line. Yeast "
                "makes some itself. {law}",
                law=named.statement if named else "",
            ).rstrip()
        )
    if ask.alcohol_pct is None:
        notes.append(say("Alcohol was not typed, so the label has no alcohol line."))
    if law.label.is_weak(ask.alcohol_pct):
        notes.append(
            say("{words} ({source})", words=law.label.weak_words, source=law.label.weak_source)
        )
    elif law.label.fill:
        notes.append(law.label.fill)
        odd = [s.litres for s in ask.sizes if not law.label.lists_size(s.litres)]
        if odd:
            sizes = join(", ", [volume_text(v) for v in odd])
            notes.append(
                say(
                    "Not a listed size: {sizes}. Wine for sale is not filled into it ({source}).",
                    sizes=sizes,
                    source=law.label.fill_source,
                )
            )
    if law.label.warning:
        largest = max((one.litres for one in ask.sizes), default=0.0)
        words = say(
            "Compare the warning with the law in force: its wording is from memory. On the label "
            "sheet its capitals are 2 mm high."
        )
        if largest > WARNING_3_MM_L:
            words += say(" So large a bottle needs 3 mm (from memory).")
        notes.append(words)
    most = law.class_most("honey wine", "alcohol_after")
    if most is not None and (ask.alcohol_pct or 0.0) > (most.high or 100.0):
        notes.append(
            say(
                "Above {most:g} % vol it is no honey wine ({source}).",
                most=most.high,
                source=most.source,
            )
        )
    if law.id == "eu":
        notes.append(
            say(
                "Sold drinks also carry the maker's address, and by kind of drink an ingredient "
                "list and nutrition facts: look up what applies to mead where you sell."
            )
        )
    return (*notes, law.note)


def _dangers(ask: BottleAsk) -> tuple[str, ...]:
    always = ("allergens_named", "alcohol", "local_law")
    return ("priming_bomb", *always) if ask.sparkling else ("pressure_glass", *always)
