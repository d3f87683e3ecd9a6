"""How much sulfite: free sulfur dioxide for a molecular target, and what to weigh for it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from mustwright.errors import ImpossibleError
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
from mustwright.finishing.sulfite_chemistry import (
    HIGHEST_PH,
    LOWEST_PH,
    molecular_fraction,
    pk_figure,
    table_place,
)
from mustwright.working import ARITHMETIC, COMMON_PRACTICE, TYPED, Figure, typed

SO2_G_MOL = 64.058
ACIDIFY_FIRST_PH = 3.8
UNUSUAL_TOTAL_MG_L = 200.0


@dataclass(frozen=True)
class SulfiteAsk:
    """What is known of the mead and wanted of the sulfite; optional parts None.

    Parameters
    ----------
    volume_l, ph, alcohol_pct, temperature_c : float
        The mead [L, -, % vol, °C].
    molecular_mg_l : float
        Target, 0.1 to 2 [mg/L].
    free_mg_l, total_mg_l : float or None
        Measured now [mg/L].
    binding_pct : float or None
        Share of the addition that will be bound, 0 to 90 [%].
    sugar_g_l : float or None
        Chooses between two limits of the EU [g/L].
    salt : str
        ``potassium`` or ``sodium``.
    strength_pct : float or None
        Sulfur dioxide the powder still gives, in % of its mass.
    stock_g_100ml : float or None
        Metabisulfite in 100 mL of stock solution [g].
    tablet_g : float or None
        Metabisulfite in one tablet, by its label [g].
    scale_g : float
        What the scale can show [g].
    """

    volume_l: float
    ph: float
    alcohol_pct: float
    temperature_c: float
    molecular_mg_l: float
    free_mg_l: float | None = None
    total_mg_l: float | None = None
    binding_pct: float | None = None
    sugar_g_l: float | None = None
    ionic_strength: float | None = None
    salt: str = "potassium"
    strength_pct: float | None = None
    stock_g_100ml: float | None = None
    tablet_g: float | None = None
    scale_g: float = 0.01


@dataclass(frozen=True)
class SulfiteDose:
    """What to add, what it gives, and what the law says of it."""

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
    recorded: Recorded = field(default_factory=Recorded)


def salt_yield(salt: Mapping[str, Any]) -> float:
    """Sulfur dioxide per gram of a pure metabisulfite [g/g], by molar masses.

    Examples
    --------
    >>> round(salt_yield(record("sulfite_salt", "potassium", "salt")), 4)
    0.5763
    """
    return float(salt["so2_mol"]) * SO2_G_MOL / float(salt["molar_mass"])


def sulfite_dose(ask: SulfiteAsk, law: FinishingLaw) -> SulfiteDose:
    """Sulfite for a molecular target.

    Raises
    ------
    InputError
        Outside what the method covers.
    ImpossibleError
        When the target would take the total over the limit of the profile.

    Notes
    -----
    ``free = molecular / fraction``; ``added = (free - free now) / (1 - bound share)``;
    ``grams = added x volume / (1000 x yield)``.
    """
    _check(ask)
    place = table_place(ask.temperature_c, ask.alcohol_pct)
    pk = pk_figure(place.temperature_c, place.alcohol_pct, ask.ionic_strength)
    fraction = _fraction(ask.ph, pk)
    free = _free(ask.molecular_mg_l, fraction)
    to_add = _free_to_add(free, ask.free_mg_l)
    binding = _binding(ask.binding_pct)
    added = _added(to_add, binding)
    salt = record("sulfite_salt", ask.salt, "salt")
    strength = _strength(ask.strength_pct, salt)
    grams = _grams(added, ask.volume_l, strength)
    before = _total_before(ask)
    limit = law.total_so2(ask.sugar_g_l)
    room_g = math.inf
    if limit is not None and limit.high is not None:
        _refuse_over(ask, before, added, fraction, binding, limit.high * 1000, law)
        room_g = (limit.high * 1000 - before.value) * ask.volume_l / 1000 / strength.value
    weigh = _weighed(grams, ask, room_g)
    gained = Figure(
        weigh.value * strength.value / ask.volume_l * 1000,
        "mg/L",
        "grams x yield / volume",
        ARITHMETIC,
        {"weigh_g": weigh, "yield": strength, "volume_l": ask.volume_l},
    )
    after = Figure(
        before.value + gained.value,
        "mg/L",
        "total before + added",
        ARITHMETIC,
        {"before": before, "added": gained},
    )
    return _dose(ask, law, place.notes, salt, fraction, free, to_add, grams, weigh, gained, after)


def _check(ask: SulfiteAsk) -> None:
    within(ask.volume_l, 1e-3, MOST_LITRES, "volume", "a volume in L")
    within(ask.ph, LOWEST_PH, HIGHEST_PH, "ph", "the pH of a mead, measured,")
    within(ask.molecular_mg_l, 0.1, 2.0, "molecular", "molecular sulfur dioxide in mg/L")
    within(ask.scale_g, 1e-4, 100, "scale", "a scale resolution in g")
    for name, value, most in (
        ("free", ask.free_mg_l, 500.0),
        ("total", ask.total_mg_l, 1000.0),
        ("binding", ask.binding_pct, 90.0),
        ("residual_sugar", ask.sugar_g_l, 600.0),
    ):
        if value is not None:
            within(value, 0, most, name, "a value")
    for name, value, low, high in (
        ("strength", ask.strength_pct, 10.0, 70.0),
        ("stock", ask.stock_g_100ml, 0.1, 30.0),
        ("tablet", ask.tablet_g, 0.01, 20.0),
    ):
        if value is not None:
            within(value, low, high, name, "a value")
    if ask.free_mg_l is not None and ask.total_mg_l is not None and ask.free_mg_l > ask.total_mg_l:
        raise ImpossibleError("total", "needs at least the free part", ask.total_mg_l)


def _fraction(ph: float, pk: Figure) -> Figure:
    ends = [None if end is None else molecular_fraction(ph, end) for end in (pk.low, pk.high)]
    return Figure(
        molecular_fraction(ph, pk.value),
        "",
        "1 / (1 + 10^(pH - pK))",
        "OIVAS323",
        {"pH": typed(ph, ""), "pK": pk},
        *ends,
    )


def _free(molecular_mg_l: float, fraction: Figure) -> Figure:
    low = None if fraction.high is None else molecular_mg_l / fraction.high
    high = None if fraction.low is None else molecular_mg_l / fraction.low
    return Figure(
        molecular_mg_l / fraction.value,
        "mg/L",
        "molecular / molecular fraction",
        "OIVAS323",
        {"molecular": typed(molecular_mg_l, "mg/L"), "fraction": fraction},
        low,
        high,
    )


def _free_to_add(free: Figure, now: float | None) -> Figure:
    present = 0.0 if now is None else now
    source = "assumed: none measured, so none counted" if now is None else TYPED
    ends = [None if end is None else max(0.0, end - present) for end in (free.low, free.high)]
    return Figure(
        max(0.0, free.value - present),
        "mg/L",
        "free wanted - free now, at least 0",
        ARITHMETIC,
        {"free_wanted": free, "free_now": Figure(present, "mg/L", "free now", source)},
        *ends,
    )


def _binding(binding_pct: float | None) -> Figure:
    if binding_pct is not None:
        return typed(binding_pct, "%")
    return published(finishing_data()["sulfite_targets"]["binding_pct"], "bound share", "%")


def _added(to_add: Figure, binding: Figure) -> Figure:
    def needed(share_pct: float) -> float:
        return to_add.value / (1 - share_pct / 100)

    ends = [None if end is None else needed(end) for end in (binding.low, binding.high)]
    return Figure(
        needed(binding.value),
        "mg/L",
        "free to add / (1 - bound share)",
        ARITHMETIC,
        {"free_to_add": to_add, "bound_share": binding},
        *ends,
    )


def _strength(strength_pct: float | None, salt: Mapping[str, Any]) -> Figure:
    if strength_pct is not None:
        return Figure(strength_pct / 100, "g/g", "as typed", TYPED)
    return Figure(
        salt_yield(salt),
        "g/g",
        f"2 x 64.058 / {salt['molar_mass']:.3f}: fresh and pure; old powder gives less",
        ARITHMETIC,
    )


def _grams(added: Figure, volume_l: float, strength: Figure) -> Figure:
    per = volume_l / 1000 / strength.value
    return Figure(
        added.value * per,
        "g",
        "added x volume / 1000 / yield",
        ARITHMETIC,
        {"added_mg_l": added, "volume_l": typed(volume_l, "L"), "yield": strength},
        None if added.low is None else added.low * per,
        None if added.high is None else added.high * per,
    )


def _total_before(ask: SulfiteAsk) -> Figure:
    if ask.total_mg_l is not None:
        return typed(ask.total_mg_l, "mg/L")
    if ask.free_mg_l is not None:
        return Figure(ask.free_mg_l, "mg/L", "at least the free part", "assumed: no total typed")
    return Figure(0.0, "mg/L", "none", "assumed: none typed; yeast itself makes some")


def _refuse_over(
    ask: SulfiteAsk,
    before: Figure,
    added: Figure,
    fraction: Figure,
    binding: Figure,
    limit_mg_l: float,
    law: FinishingLaw,
) -> None:
    """Refuse a dose that takes the total over the limit, and say how far one can go."""
    if before.value > limit_mg_l:
        over = f"is over the {limit_mg_l:.0f} mg/L of total that {law.name} allows: add none"
        raise ImpossibleError("total", over, f"{before.value:g} mg/L")
    if before.value + added.value <= limit_mg_l:
        return
    free = (ask.free_mg_l or 0.0) + (limit_mg_l - before.value) * (1 - binding.value / 100)
    reach = free * fraction.value
    raise ImpossibleError(
        "molecular",
        f"needs a target up to {reach:.2f} mg/L: more takes the total over the {limit_mg_l:.0f} "
        f"mg/L of {law.name}; a lower pH needs less",
        ask.molecular_mg_l,
    )


def _weighed(grams: Figure, ask: SulfiteAsk, room_g: float) -> Figure:
    """What can be measured out: to the nearest step, downwards where a limit is near."""
    step = ask.tablet_g if ask.tablet_g is not None else ask.scale_g
    count = round(grams.value / step)
    if count * step > room_g:
        count = math.floor(room_g / step + 1e-9)
    return Figure(
        max(count, 0) * step,
        "g",
        f"rounded to {step:g} g, never over the legal total",
        ARITHMETIC,
        {"metabisulfite_g": grams},
    )


def _dose(
    ask: SulfiteAsk,
    law: FinishingLaw,
    table_notes: tuple[str, ...],
    salt: Mapping[str, Any],
    fraction: Figure,
    free: Figure,
    to_add: Figure,
    grams: Figure,
    weigh: Figure,
    gained: Figure,
    after: Figure,
) -> SulfiteDose:
    ion = Figure(
        1000 * weigh.value * salt["cation_mass"] / salt["molar_mass"] / ask.volume_l,
        "mg/L",
        f"grams x {salt['cation_mass'] / salt['molar_mass']:.4f} / volume",
        ARITHMETIC,
        {"weigh_g": weigh},
    )
    none = Figure(0.0, "mg/L", "none in this salt", ARITHMETIC)
    is_potassium = salt["cation"] == "potassium"
    potassium, sodium = (ion, none) if is_potassium else (none, ion)
    stock = _stock_ml(ask, weigh)
    tablets = _tablets(ask, weigh)
    limit, declare = law.total_so2(ask.sugar_g_l), _declare(law, after.value)
    addition = Addition(
        f"{salt['id']}_metabisulfite",
        str(salt["name"]),
        weigh,
        {"total_so2_mg_l": gained, f"{salt['cation']}_mg_l": ion},
        _measure(stock, tablets),
    )
    recorded = Recorded(
        (addition,) if weigh.value > 0 else (),
        {"total_so2_mg_l": after},
        _steps(salt, weigh, stock, tablets),
        (*table_notes, *_notes(ask, free, after, law)),
        cautions("sulfite_asthma", "dose_rounding", "local_law"),
    )
    return SulfiteDose(
        free,
        fraction,
        to_add,
        grams,
        weigh,
        str(salt["name"]),
        stock,
        tablets,
        after,
        potassium,
        sodium,
        limit.figure() if limit else None,
        declare,
        _handout(ask),
        recorded,
    )


def _stock_ml(ask: SulfiteAsk, weigh: Figure) -> Figure | None:
    if ask.stock_g_100ml is None:
        return None
    stock = typed(ask.stock_g_100ml, "g/100 mL")
    return Figure(
        100 * weigh.value / ask.stock_g_100ml,
        "mL",
        "100 x grams / grams in 100 mL",
        ARITHMETIC,
        {"weigh_g": weigh, "stock": stock},
    )


def _tablets(ask: SulfiteAsk, weigh: Figure) -> Figure | None:
    if ask.tablet_g is None:
        return None
    tablet = typed(ask.tablet_g, "g")
    return Figure(
        round(weigh.value / ask.tablet_g),
        "tablets",
        "grams / grams in one tablet, whole ones",
        ARITHMETIC,
        {"weigh_g": weigh, "tablet_g": tablet},
    )


def _measure(stock: Figure | None, tablets: Figure | None) -> str:
    if tablets is not None:
        return f"{tablets.value:.0f} tablets"
    return "" if stock is None else f"{stock.value:.1f} mL of stock solution"


def _declare(law: FinishingLaw, total_mg_l: float) -> str:
    threshold = law.lowest("declare_so2")
    if threshold is None or threshold.low is None or total_mg_l < threshold.low * 1000:
        return ""
    return law.label.sulfite_words


def _handout(ask: SulfiteAsk) -> Figure:
    pk = published(finishing_data()["sulfite_targets"]["rival_pk"], "pK", "")
    return Figure(
        ask.molecular_mg_l / molecular_fraction(ask.ph, pk.value),
        "mg/L",
        "molecular x (1 + 10^(pH - 1.81)): what most handouts print, for comparison",
        COMMON_PRACTICE,
        {"pK": pk},
    )


def _steps(
    salt: Mapping[str, Any], weigh: Figure, stock: Figure | None, tablets: Figure | None
) -> tuple[str, ...]:
    if weigh.value <= 0:
        return ("Nothing to add: there is enough free sulfur dioxide. Measure again at racking.",)
    if tablets is not None:
        first = f"Crush {tablets.value:.0f} tablets and dissolve them in a little mead."
    elif stock is not None:
        first = f"Measure {stock.value:.1f} mL of the stock solution (fresh this week)."
    else:
        first = f"Weigh {weigh.value:.2f} g of {salt['name']}, dissolve it in a little mead."
    return (
        first,
        "Stir it in gently and evenly; close up.",
        "Measure free and total after a day: what was bound does not protect. Top up by the same "
        "sum, with what you measured.",
    )


def _notes(ask: SulfiteAsk, free: Figure, after: Figure, law: FinishingLaw) -> list[str]:
    notes = []
    if ask.binding_pct is None:
        notes.append(
            "Nothing was said of binding, so none is counted; the upper end of the grams is for "
            "40 % bound. Measure, or type what your last addition lost."
        )
    if ask.free_mg_l is None and ask.total_mg_l is None:
        notes.append("No sulfur dioxide was measured, so none is counted as present.")
    if ask.ph > ACIDIFY_FIRST_PH:
        notes.append(
            f"Above pH {ACIDIFY_FIRST_PH:g} sulfite is a weak shield: {free.value:.0f} mg/L free "
            "is needed. Think of acid first."
        )
    if not law.limits.get("total_so2") and after.value > UNUSUAL_TOTAL_MG_L:
        notes.append(
            f"{after.value:.0f} mg/L total is more than wine law allows in many places, and people "
            "taste and feel it."
        )
    if ask.stock_g_100ml is not None and ask.stock_g_100ml > 25:
        notes.append("So strong a stock may not dissolve in the cold.")
    notes.append(
        "The pK by temperature and alcohol is published; ionic strength is corrected as the method "
        "does, with its second and third table known from memory only."
    )
    return notes
