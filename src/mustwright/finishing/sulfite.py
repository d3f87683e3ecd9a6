"""How much sulfite: free sulfur dioxide for a molecular target, and what to weigh for it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from mustwright.errors import ImpossibleError
from mustwright.figure import ARITHMETIC, COMMON_PRACTICE, Figure, typed
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.liquid import MOST_LITRES
from mustwright.finishing.step import (
    Addition,
    Recorded,
    cautions,
    finishing_data,
    published,
    record,
    within,
)
from mustwright.finishing.sulfite_amount import (
    SulfiteAsk,
    bound_share,
    dosing_temperature,
    free_after,
    free_to_add,
    free_wanted,
    grams_of,
    keeping_temperature,
    molecular_held,
    molecular_share,
    refuse_over,
    strength_of,
    total_before,
    total_to_add,
    weighed,
)
from mustwright.finishing.sulfite_chemistry import (
    HIGHEST_PH,
    LOWEST_PH,
    TablePlace,
    molecular_fraction,
    pk_figure,
    table_place,
)
from mustwright.texts import say
from mustwright.unit_system import degrees
from mustwright.weighing import grams_number

ACIDIFY_FIRST_PH = 3.8
UNUSUAL_TOTAL_MG_L = 200.0


@dataclass(frozen=True)
class SulfiteDose:
    """What to add, what it gives cold and now, and what the law says of it."""

    free_so2_mg_l: Figure
    molecular_fraction: Figure
    free_to_add_mg_l: Figure
    metabisulfite_g: Figure
    weigh_g: Figure
    salt: str
    stock_ml: Figure | None
    tablets: Figure | None
    total_after_mg_l: Figure
    potassium_mg_l: Figure
    sodium_mg_l: Figure
    legal_total_mg_l: Figure | None
    declare: str
    handout_free_so2_mg_l: Figure
    keeping_temperature_c: Figure
    dosed_for_c: Figure
    molecular_kept_mg_l: Figure
    molecular_now_mg_l: Figure
    recorded: Recorded = field(default_factory=Recorded)


@dataclass(frozen=True)
class _Amounts:
    """The sum of a dose, from temperature to grams and what they give."""

    keeping: Figure
    dosed_for: Figure
    place: TablePlace
    fraction: Figure
    fraction_now: Figure
    free: Figure
    to_add: Figure
    binding: Figure
    grams: Figure
    weigh: Figure
    gained: Figure
    after: Figure


def sulfite_dose(ask: SulfiteAsk, law: FinishingLaw) -> SulfiteDose:
    """Sulfite for a molecular target at the coldest the mead will be kept.

    Raises
    ------
    InputError
        Outside what the method covers.
    ImpossibleError
        When the target would take the total over the limit of the profile.

    Notes
    -----
    ``free = molecular / fraction`` at the coldest temperature of keeping, never warmer than 20 °C;
    ``added = (free - free now) / (1 - bound share)``; ``grams = added x volume / (1000 x yield)``.
    """
    _check(ask)
    salt = record("sulfite_salt", ask.salt, "salt")
    return _dose(ask, law, salt, _amounts(ask, law, salt))


def _amounts(ask: SulfiteAsk, law: FinishingLaw, salt: Mapping[str, Any]) -> _Amounts:
    keeping = keeping_temperature(ask.keeping_c)
    dosed_for = dosing_temperature(keeping)
    place = table_place(dosed_for.value, ask.alcohol_pct)
    fraction = molecular_share(ask.ph, _pk(ask, place))
    free = free_wanted(ask.molecular_mg_l, fraction)
    to_add = free_to_add(free, ask.free_mg_l)
    binding = bound_share(ask.binding_pct)
    added = total_to_add(to_add, binding)
    strength = strength_of(ask.strength_pct, salt)
    grams = grams_of(added, ask.volume_l, strength)
    before = total_before(ask)
    limit = law.highest("total_so2")
    room_g = math.inf
    if limit is not None and limit.high is not None:
        refuse_over(ask, before, added, fraction, binding, limit.high * 1000, law)
        room_g = (limit.high * 1000 - before.value) * ask.volume_l / 1000 / strength.value
    weigh = weighed(grams, ask, room_g)
    gained = Figure(
        weigh.value * strength.value / ask.volume_l * 1000,
        "mg/L",
        say("grams x yield / volume"),
        ARITHMETIC,
        {"weigh_g": weigh, "yield": strength, "volume_l": ask.volume_l},
    )
    after = Figure(
        before.value + gained.value,
        "mg/L",
        say("total before + added"),
        ARITHMETIC,
        {"before": before, "added": gained},
    )
    now = molecular_share(ask.ph, _pk(ask, table_place(ask.temperature_c, ask.alcohol_pct)))
    return _Amounts(
        keeping, dosed_for, place, fraction, now, free, to_add, binding, grams, weigh, gained, after
    )


def _pk(ask: SulfiteAsk, place: TablePlace) -> Figure:
    return pk_figure(place.temperature_c, place.alcohol_pct, ask.ionic_strength)


def _check(ask: SulfiteAsk) -> None:
    within(ask.volume_l, 1e-3, MOST_LITRES, "volume", say("a volume in L"))
    within(ask.ph, LOWEST_PH, HIGHEST_PH, "ph", say("the pH of a mead, measured,"))
    within(ask.molecular_mg_l, 0.1, 2.0, "molecular", say("molecular sulfur dioxide in mg/L"))
    within(ask.scale_g, 1e-4, 100, "scale", say("a scale resolution in g"))
    for name, value, most in (
        ("free", ask.free_mg_l, 500.0),
        ("total", ask.total_mg_l, 1000.0),
        ("binding", ask.binding_pct, 90.0),
    ):
        if value is not None:
            within(value, 0, most, name, say("a value"))
    for name, value, low, high in (
        ("strength", ask.strength_pct, 10.0, 70.0),
        ("stock", ask.stock_g_100ml, 0.1, 30.0),
        ("tablet", ask.tablet_g, 0.01, 20.0),
    ):
        if value is not None:
            within(value, low, high, name, say("a value"))
    if ask.free_mg_l is not None and ask.total_mg_l is not None and ask.free_mg_l > ask.total_mg_l:
        raise ImpossibleError("total", say("needs at least the free part"), ask.total_mg_l)


def _dose(
    ask: SulfiteAsk, law: FinishingLaw, salt: Mapping[str, Any], sums: _Amounts
) -> SulfiteDose:
    weigh, gained, after = sums.weigh, sums.gained, sums.after
    ion = Figure(
        1000 * weigh.value * salt["cation_mass"] / salt["molar_mass"] / ask.volume_l,
        "mg/L",
        say("grams x {share:.4f} / volume", share=salt["cation_mass"] / salt["molar_mass"]),
        ARITHMETIC,
        {"weigh_g": weigh},
    )
    none = Figure(0.0, "mg/L", say("none in this salt"), ARITHMETIC)
    is_potassium = salt["cation"] == "potassium"
    potassium, sodium = (ion, none) if is_potassium else (none, ion)
    stock, tablets = _stock_ml(ask, weigh), _tablets(ask, weigh)
    limit = law.highest("total_so2")
    free = free_after(ask, gained, sums.binding)
    kept = molecular_held(free, sums.fraction, sums.dosed_for.value)
    now = molecular_held(free, sums.fraction_now, ask.temperature_c)
    addition = Addition(
        f"{salt['id']}_metabisulfite",
        salt["name"],
        weigh,
        {"total_so2_mg_l": gained, f"{salt['cation']}_mg_l": ion},
        _measure(stock, tablets),
    )
    recorded = Recorded(
        (addition,) if weigh.value > 0 else (),
        {"total_so2_mg_l": after},
        _steps(salt, weigh, stock, tablets),
        (*_kept_words(ask, sums, kept, now), *sums.place.notes, *_notes(ask, sums, salt, law)),
        cautions("sulfite_asthma", "dose_rounding", "local_law"),
    )
    return SulfiteDose(
        sums.free,
        sums.fraction,
        sums.to_add,
        sums.grams,
        weigh,
        salt["name"],
        stock,
        tablets,
        after,
        potassium,
        sodium,
        limit.figure() if limit else None,
        _declare(law, after.value),
        _handout(ask),
        sums.keeping,
        sums.dosed_for,
        kept,
        now,
        recorded,
    )


def _kept_words(ask: SulfiteAsk, sums: _Amounts, kept: Figure, now: Figure) -> list[str]:
    """What is molecular in the glass cold and now, and what was taken for the cold."""
    cold = sums.dosed_for.value
    words = say(
        "Dosed for {cold}: {kept:.2f} mg/L molecular there, {now:.2f} mg/L at the {here} it has "
        "now. There is less molecular sulfur dioxide in the cold, so the coldest place decides.",
        cold=degrees(cold),
        kept=kept.value,
        now=now.value,
        here=degrees(ask.temperature_c),
    )
    if ask.keeping_c is not None and ask.keeping_c > cold:
        words += say(
            " No dose is counted for warmer than {cold}: a warm place cools down.",
            cold=degrees(cold),
        )
    if ask.keeping_c is None:
        return [
            say(
                "Type the coldest temperature it will be kept at. Without it, a cool cellar of "
                "{cold} is assumed.",
                cold=degrees(cold),
            ),
            words,
        ]
    return [words]


def _stock_ml(ask: SulfiteAsk, weigh: Figure) -> Figure | None:
    if ask.stock_g_100ml is None:
        return None
    stock = typed(ask.stock_g_100ml, "g/100 mL")
    return Figure(
        100 * weigh.value / ask.stock_g_100ml,
        "mL",
        say("100 x grams / grams in 100 mL"),
        ARITHMETIC,
        {"weigh_g": weigh, "stock": stock},
    )


def _tablets(ask: SulfiteAsk, weigh: Figure) -> Figure | None:
    if ask.tablet_g is None:
        return None
    tablet = typed(ask.tablet_g, "g")
    return Figure(
        round(weigh.value / ask.tablet_g),
        say("tablets"),
        say("grams / grams in one tablet, whole ones"),
        ARITHMETIC,
        {"weigh_g": weigh, "tablet_g": tablet},
    )


def _measure(stock: Figure | None, tablets: Figure | None) -> str:
    if tablets is not None:
        return say("{tablets:.0f} tablets", tablets=tablets.value)
    return "" if stock is None else say("{ml:.1f} mL of stock solution", ml=stock.value)


def _declare(law: FinishingLaw, total_mg_l: float) -> str:
    threshold = law.lowest("declare_so2")
    if threshold is None or threshold.low is None or total_mg_l < threshold.low * 1000:
        return ""
    return law.label.sulfite_words


def _handout(ask: SulfiteAsk) -> Figure:
    pk = published(finishing_data()["sulfite_targets"]["rival_pk"], say("pK"), "")
    return Figure(
        ask.molecular_mg_l / molecular_fraction(ask.ph, pk.value),
        "mg/L",
        say("molecular x (1 + 10^(pH - 1.81)): what most handouts print, for comparison"),
        COMMON_PRACTICE,
        {"pK": pk},
    )


def _steps(
    salt: Mapping[str, Any], weigh: Figure, stock: Figure | None, tablets: Figure | None
) -> tuple[str, ...]:
    if weigh.value <= 0:
        return (say("Add nothing: there is enough free sulfur dioxide. Measure again at racking."),)
    if tablets is not None:
        first = say(
            "Crush {tablets:.0f} tablets and dissolve them in a little mead.", tablets=tablets.value
        )
    elif stock is not None:
        first = say("Measure {ml:.1f} mL of the stock solution (fresh this week).", ml=stock.value)
    else:
        first = say(
            "Weigh {grams} g of {salt}, dissolve it in a little mead.",
            grams=grams_number(weigh.value),
            salt=salt["name"],
        )
    return (
        first,
        say("Stir it in gently and evenly; close up."),
        say(
            "Measure free and total after a day: what was bound does not protect. Top up by the "
            "same sum, with what you measured."
        ),
    )


def _notes(
    ask: SulfiteAsk, sums: _Amounts, salt: Mapping[str, Any], law: FinishingLaw
) -> list[str]:
    free, after = sums.free, sums.after
    standing = law.standing_of(f"{salt['id']}_metabisulfite")
    notes: list[str] = []
    if standing is not None:
        notes.append(say("{law}: {words}", law=law.name, words=standing.words))
    if ask.binding_pct is None:
        notes.append(
            say(
                "You gave no bound share, so none is counted; the upper end of the grams is for "
                "40 % bound. Measure it, or type the share your last addition lost."
            )
        )
    if ask.free_mg_l is None and ask.total_mg_l is None:
        notes.append(
            say("Measure the sulfur dioxide if you can: none was typed, so none is counted.")
        )
    if ask.ph > ACIDIFY_FIRST_PH:
        notes.append(
            say(
                "Above pH {ph:g} sulfite protects little: {free:.0f} mg/L free is needed. "
                "Consider adding acid first.",
                ph=ACIDIFY_FIRST_PH,
                free=free.value,
            )
        )
    if not law.limits.get("total_so2") and after.value > UNUSUAL_TOTAL_MG_L:
        notes.append(
            say(
                "{total:.0f} mg/L total is more than wine law allows in many places, and people "
                "taste and feel it.",
                total=after.value,
            )
        )
    if ask.stock_g_100ml is not None and ask.stock_g_100ml > 25:
        notes.append(say("So strong a stock may not dissolve in the cold."))
    notes.append(
        say(
            "The pK by temperature and alcohol is published; ionic strength is corrected as the "
            "method does, with its second and third table known from memory only."
        )
    )
    return notes
