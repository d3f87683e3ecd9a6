"""From a molecular target to grams on the scale: each figure of a sulfite dose in turn."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mustwright.constants import SO2_G_MOL
from mustwright.errors import ImpossibleError
from mustwright.figure import ARITHMETIC, TYPED, Figure, typed
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.step import finishing_data, published
from mustwright.finishing.sulfite_chemistry import molecular_fraction
from mustwright.texts import say


@dataclass(frozen=True)
class SulfiteAsk:
    """What is known of the mead and wanted of the sulfite; optional parts None.

    Parameters
    ----------
    volume_l, ph, alcohol_pct, temperature_c : float
        The mead as it is now [L, -, % vol, °C].
    molecular_mg_l : float
        Target, 0.1 to 2 [mg/L].
    free_mg_l, total_mg_l : float or None
        Measured now [mg/L].
    binding_pct : float or None
        Share of the addition that will be bound, 0 to 90 [%].
    salt : str
        ``potassium`` or ``sodium``.
    strength_pct : float or None
        Sulfur dioxide the powder still gives, by mass [%].
    stock_g_100ml : float or None
        Metabisulfite in 100 mL of stock solution [g].
    tablet_g : float or None
        Metabisulfite in one tablet, by its label [g].
    scale_g : float
        What the scale can show [g].
    keeping_c : float or None
        Coldest it will be kept, -5 to 40 [°C]; None takes a cool cellar. It is dosed for this.
    """

    volume_l: float
    ph: float
    alcohol_pct: float
    temperature_c: float
    molecular_mg_l: float
    free_mg_l: float | None = None
    total_mg_l: float | None = None
    binding_pct: float | None = None
    ionic_strength: float | None = None
    salt: str = "potassium"
    strength_pct: float | None = None
    stock_g_100ml: float | None = None
    tablet_g: float | None = None
    scale_g: float = 0.01
    keeping_c: float | None = None


def keeping_temperature(keeping_c: float | None) -> Figure:
    """The coldest it will be kept: typed, or a cool cellar [°C]."""
    if keeping_c is not None:
        return typed(keeping_c, "C")
    return published(finishing_data()["sulfite_keeping"]["cellar_c"], say("cool cellar"), "C")


def dosing_temperature(keeping: Figure) -> Figure:
    """The temperature a dose is counted for: the coldest of keeping, never warmer than 20 °C.

    Notes
    -----
    Warmth frees molecular sulfur dioxide and cold takes it back: what is dosed on a warm day for
    that day leaves a mead in a cool cellar unprotected.
    """
    record = finishing_data()["sulfite_keeping"]
    warmest = float(record["warmest_c"])
    return Figure(
        min(keeping.value, warmest),
        "C",
        say("coldest it will be kept, at most {warmest:g} C", warmest=warmest),
        str(record["warmest_source"]),
        {"keeping": keeping},
    )


def molecular_held(free: Figure, fraction: Figure, celsius: float) -> Figure:
    """Molecular sulfur dioxide of a free content, with the range of its fraction.

    Parameters
    ----------
    free : Figure
        Free sulfur dioxide, at least 0 [mg/L].
    fraction : Figure
        Molecular share of it, 0 to 1 [-].
    celsius : float
        Temperature the share holds at [°C].

    Returns
    -------
    Figure
        At least 0 [mg/L].
    """
    ends = [None if end is None else free.value * end for end in (fraction.low, fraction.high)]
    return Figure(
        free.value * fraction.value,
        "mg/L",
        say("free x molecular fraction at {celsius:g} C", celsius=celsius),
        "OIVAS323",
        {"free": free, "fraction": fraction},
        *ends,
    )


def free_after(ask: SulfiteAsk, gained: Figure, binding: Figure) -> Figure:
    """Free sulfur dioxide once the dose is in: what is there, and what is not bound.

    Parameters
    ----------
    ask : SulfiteAsk
    gained : Figure
        What the dose adds to the total [mg/L].
    binding : Figure
        Share of the addition that will be bound, 0 to 90 [%].

    Returns
    -------
    Figure
        At least 0 [mg/L].
    """
    return Figure(
        (ask.free_mg_l or 0.0) + gained.value * (1 - binding.value / 100),
        "mg/L",
        say("free now + added x (1 - bound share)"),
        ARITHMETIC,
        {"free_now": ask.free_mg_l or 0.0, "added": gained, "bound_share": binding},
    )


def salt_yield(salt: Mapping[str, Any]) -> float:
    """Sulfur dioxide per gram of a pure metabisulfite [g/g], by molar masses.

    Examples
    --------
    >>> from mustwright.finishing.step import record
    >>> round(salt_yield(record("sulfite_salt", "potassium", "salt")), 4)
    0.5763
    """
    return float(salt["so2_mol"]) * SO2_G_MOL / float(salt["molar_mass"])


def molecular_share(ph: float, pk: Figure) -> Figure:
    ends = [None if end is None else molecular_fraction(ph, end) for end in (pk.low, pk.high)]
    return Figure(
        molecular_fraction(ph, pk.value),
        "",
        say("1 / (1 + 10^(pH - pK))"),
        "OIVAS323",
        {"pH": typed(ph, ""), "pK": pk},
        *ends,
    )


def free_wanted(molecular_mg_l: float, fraction: Figure) -> Figure:
    low = None if fraction.high is None else molecular_mg_l / fraction.high
    high = None if fraction.low is None else molecular_mg_l / fraction.low
    return Figure(
        molecular_mg_l / fraction.value,
        "mg/L",
        say("molecular / molecular fraction"),
        "OIVAS323",
        {"molecular": typed(molecular_mg_l, "mg/L"), "fraction": fraction},
        low,
        high,
    )


def free_to_add(free: Figure, now: float | None) -> Figure:
    present = 0.0 if now is None else now
    source = say("assumed: none measured, so none counted") if now is None else TYPED
    ends = [None if end is None else max(0.0, end - present) for end in (free.low, free.high)]
    return Figure(
        max(0.0, free.value - present),
        "mg/L",
        say("free wanted - free now, at least 0"),
        ARITHMETIC,
        {"free_wanted": free, "free_now": Figure(present, "mg/L", say("free now"), source)},
        *ends,
    )


def bound_share(binding_pct: float | None) -> Figure:
    if binding_pct is not None:
        return typed(binding_pct, "%")
    return published(finishing_data()["sulfite_targets"]["binding_pct"], say("bound share"), "%")


def total_to_add(to_add: Figure, binding: Figure) -> Figure:
    def needed(share_pct: float) -> float:
        return to_add.value / (1 - share_pct / 100)

    ends = [None if end is None else needed(end) for end in (binding.low, binding.high)]
    return Figure(
        needed(binding.value),
        "mg/L",
        say("free to add / (1 - bound share)"),
        ARITHMETIC,
        {"free_to_add": to_add, "bound_share": binding},
        *ends,
    )


def strength_of(strength_pct: float | None, salt: Mapping[str, Any]) -> Figure:
    if strength_pct is not None:
        return Figure(strength_pct / 100, "g/g", say("as typed"), TYPED)
    return Figure(
        salt_yield(salt),
        "g/g",
        say(
            "2 x 64.058 / {molar_mass:.3f}: fresh and pure; old powder gives less",
            molar_mass=salt["molar_mass"],
        ),
        ARITHMETIC,
    )


def grams_of(added: Figure, volume_l: float, strength: Figure) -> Figure:
    """Metabisulfite for an addition of sulfur dioxide.

    Parameters
    ----------
    added : Figure
        Total sulfur dioxide to add, at least 0 [mg/L].
    volume_l : float
        Of the mead, above 0 [L].
    strength : Figure
        Sulfur dioxide per gram of the powder, above 0 [g/g].

    Returns
    -------
    Figure
        With the range of the addition [g].
    """
    per = volume_l / 1000 / strength.value
    return Figure(
        added.value * per,
        "g",
        say("added x volume / 1000 / yield"),
        ARITHMETIC,
        {"added_mg_l": added, "volume_l": typed(volume_l, "L"), "yield": strength},
        None if added.low is None else added.low * per,
        None if added.high is None else added.high * per,
    )


def total_before(ask: SulfiteAsk) -> Figure:
    if ask.total_mg_l is not None:
        return typed(ask.total_mg_l, "mg/L")
    if ask.free_mg_l is not None:
        return Figure(
            ask.free_mg_l, "mg/L", say("at least the free part"), say("assumed: no total typed")
        )
    return Figure(0.0, "mg/L", say("none"), say("assumed: none typed; yeast itself makes some"))


def refuse_over(
    ask: SulfiteAsk,
    before: Figure,
    added: Figure,
    fraction: Figure,
    binding: Figure,
    limit_mg_l: float,
    law: FinishingLaw,
) -> None:
    """Refuse a dose that takes the total over the limit, and say how far one can go.

    Parameters
    ----------
    ask : SulfiteAsk
    before, added : Figure
        Total sulfur dioxide now, and what the dose adds [mg/L].
    fraction : Figure
        Molecular share of the free sulfur dioxide, 0 to 1 [-].
    binding : Figure
        Share of the addition that will be bound, 0 to 90 [%].
    limit_mg_l : float
        Limit of the total [mg/L].
    law : FinishingLaw
        Whose limit it is.

    Raises
    ------
    ImpossibleError
        With the highest target the limit leaves.
    """
    if before.value > limit_mg_l:
        over = say(
            "is over the {limit:.0f} mg/L of total that {law} allows: add none",
            limit=limit_mg_l,
            law=law.name,
        )
        raise ImpossibleError("total", over, say("{before:g} mg/L", before=before.value))
    if before.value + added.value <= limit_mg_l:
        return
    free = (ask.free_mg_l or 0.0) + (limit_mg_l - before.value) * (1 - binding.value / 100)
    reach = free * fraction.value
    raise ImpossibleError(
        "molecular",
        say(
            "needs a target up to {reach:.2f} mg/L: more takes the total over the {limit:.0f} "
            "mg/L of {law}; a lower pH needs less",
            reach=reach,
            limit=limit_mg_l,
            law=law.name,
        ),
        ask.molecular_mg_l,
    )


def weighed(grams: Figure, ask: SulfiteAsk, room_g: float) -> Figure:
    """What can be measured out: to the nearest step, downwards near a limit.

    Parameters
    ----------
    grams : Figure
        Metabisulfite as computed, at least 0 [g].
    ask : SulfiteAsk
        Its scale or tablet gives the step.
    room_g : float
        The most the limit leaves [g].

    Returns
    -------
    Figure
        At least 0 [g].
    """
    step = ask.tablet_g if ask.tablet_g is not None else ask.scale_g
    count = round(grams.value / step)
    if count * step > room_g:
        count = math.floor(room_g / step + 1e-9)
    return Figure(
        max(count, 0) * step,
        "g",
        say("rounded to {step:g} g, never over the legal total", step=step),
        ARITHMETIC,
        {"metabisulfite_g": grams},
    )
