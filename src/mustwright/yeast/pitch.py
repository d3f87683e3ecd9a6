"""How to pitch: grams of yeast, water and rehydration nutrient, and the steps in order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from mustwright import data
from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import ARITHMETIC, TYPED, Figure
from mustwright.texts import join, say, say_n
from mustwright.unit_hints import one_way
from mustwright.unit_system import (
    METRIC,
    UnitSystem,
    degrees,
    degrees_number,
    millilitres,
    temperature_step,
)


@dataclass(frozen=True)
class Strain:
    """A generic kind of yeast."""

    id: str
    name: str
    nitrogen_class: str
    alcohol_tolerance_pct: Figure
    temperature_low_c: float
    temperature_high_c: float
    note: str


@dataclass(frozen=True)
class ChecklistStep:
    """One line of a checklist.

    Parameters
    ----------
    wait_min : float
        How long to wait in it, each time; 0 for no wait [min].
    times : int
        How often it is done with that wait.
    """

    title: str
    detail: str
    caution: str = ""
    wait_min: float = 0.0
    times: int = 1


@dataclass(frozen=True)
class Pitch:
    """What to weigh out and do to wake the yeast."""

    yeast: str
    yeast_g: Figure
    rehydration_nutrient_g: Figure
    water_ml: Figure
    yeast_g_l: Figure
    steps: tuple[ChecklistStep, ...]


@cache
def strains() -> dict[str, Strain]:
    """Every generic strain kind, by id."""
    return {record["id"]: _strain(record) for record in data.load("strains")["strain"]}


def _strain(record: Mapping[str, Any]) -> Strain:
    t = record["alcohol_tolerance_pct"]
    tolerance = Figure(
        float(t["typical"]),
        "% vol",
        say("usual for this kind"),
        str(t["source"]),
        {},
        float(t["low"]),
        float(t["high"]),
    )
    heat = record["temperature_c"]
    return Strain(
        record["id"],
        record["name"],
        record["nitrogen_class"],
        tolerance,
        float(heat["low"]),
        float(heat["high"]),
        record.get("note", ""),
    )


def strain_called(kind: object, where: str = "yeast.kind") -> Strain:
    """A strain kind by id, name or alias; its words may come in any order.

    Raises
    ------
    UnknownKindError
        With the known kinds.
    """
    if not isinstance(kind, str) or not kind.strip():
        raise InputError(where, say("needs a kind of yeast such as 'low-demand neutral'"), kind)
    words = _words(kind)
    best: list[tuple[int, str]] = []
    for record in data.load("strains")["strain"]:
        for name in (record["id"], record["name"], *record.get("aliases", ())):
            if _words(name) == words:
                return strains()[record["id"]]
            if words <= _words(name):
                best.append((len(_words(name)), record["id"]))
    if best and len({i for _, i in best if _ == min(best)[0]}) == 1:
        return strains()[min(best)[1]]
    known = join(", ", [s.name for s in strains().values()])
    raise UnknownKindError(where, say("needs a kind of yeast, one of: {known}", known=known), kind)


def _words(name: str) -> frozenset[str]:
    plain = name.lower().replace("_", " ").replace("-", " ").replace(",", " ")
    drop = {"yeast", "strain", "the", "a", "kind"}
    return frozenset(w for w in plain.split() if w not in drop)


def plan_pitch(
    strain: Strain,
    typed_g: float | None,
    volume: Figure,
    brix: Figure,
    temperature_c: float,
    nutrient_name: str | None,
    most_nutrient_g: float | None = None,
    units: UnitSystem = METRIC,
) -> Pitch:
    """Work out amounts and a checklist for rehydrating and pitching dry yeast.

    Parameters
    ----------
    strain : Strain
    typed_g : float or None
        Yeast the maker has decided on [g]; None plans it from the rate table.
    volume : Figure
        Of the must, above 0 [L].
    brix : Figure
        Of the must, up to 70 [Brix].
    temperature_c : float
        Of the must [°C].
    nutrient_name : str or None
        The jar for the rehydration water; None when the shelf has none.
    most_nutrient_g : float or None
        The most that stock, label or law allow of it [g]; None for no limit.
    units : UnitSystem
        Of water and temperatures in the steps; yeast and nutrient are weighed in grams.

    Returns
    -------
    Pitch

    Raises
    ------
    InputError
        If the must is above 70 Brix.

    Notes
    -----
    Yeast per litre by Brix: AWRI_Rehydration, in part from memory. Nutrient and water per gram:
    common practice, no source. Temperatures and times: from memory. The pitch record holds each
    value with its source.
    """
    record = data.load("pitch")
    rate = _rate(record, brix)
    if typed_g is None:
        yeast = Figure(
            rate.value * volume.value,
            "g",
            say("rate x volume"),
            rate.source,
            {"rate_g_l": rate, "volume_l": volume},
            _times(rate.low, volume),
            _times(rate.high, volume),
        )
    else:
        yeast = Figure(typed_g, "g", say("as typed"), TYPED)
    per_g = record["rehydration"]["nutrient_g_per_g"]
    amount = float(per_g["typical"]) if nutrient_name else 0.0
    nutrient = Figure(
        amount * yeast.value,
        "g",
        say("g per g of yeast x yeast")
        if nutrient_name
        else say("no rehydration nutrient on the shelf"),
        str(per_g["source"]),
        {"g_per_g": amount, "yeast_g": yeast},
    )
    if most_nutrient_g is not None and nutrient.value > most_nutrient_g:
        nutrient = Figure(
            most_nutrient_g,
            "g",
            say("what is wanted, held to stock, label and law"),
            ARITHMETIC,
            {"wanted_g": nutrient, "most_g": most_nutrient_g},
        )
    water = _water(record, yeast, nutrient, bool(nutrient_name))
    per_litre = Figure(
        yeast.value / volume.value,
        "g/L",
        say("yeast / volume"),
        ARITHMETIC,
        {"yeast_g": yeast, "volume_l": volume},
    )
    steps = _steps(record, yeast, nutrient, water, nutrient_name, temperature_c, units)
    return Pitch(strain.name, yeast, nutrient, water, per_litre, steps)


def _times(value: float | None, volume: Figure) -> float | None:
    return None if value is None else value * volume.value


def _rate(record: Mapping[str, Any], brix: Figure) -> Figure:
    """Dry yeast per litre: the row of the rate table this Brix falls in."""
    for row in record["rate"]:
        if round(brix.value, 2) <= float(row["to_brix"]):  # 24 Brix solved for is 24.0000000001
            return Figure(
                float(row["typical"]),
                "g/L",
                say("dry yeast up to {brix} Brix", brix=row["to_brix"]),
                str(row["source"]),
                {"brix": brix},
                float(row["low"]),
                float(row["high"]),
            )
    raise InputError("must.gravity", say("needs to be below 70 Brix to pitch into"), brix.value)


def _water(
    record: Mapping[str, Any], yeast: Figure, nutrient: Figure, with_nutrient: bool
) -> Figure:
    """Water for the slurry: so many times the mass of the nutrient, or of the yeast without one."""
    name = "water_per_g_nutrient" if with_nutrient else "water_per_g_yeast"
    times = record["rehydration"][name]
    of = nutrient if with_nutrient else yeast
    return Figure(
        float(times["typical"]) * of.value,
        "mL",
        say("times its mass x rehydration nutrient")
        if with_nutrient
        else say("times its mass x yeast"),
        str(times["source"]),
        {"times": float(times["typical"]), "mass_g": of},
    )


def _steps(
    record: Mapping[str, Any],
    yeast: Figure,
    nutrient: Figure,
    water: Figure,
    nutrient_name: str | None,
    temperature_c: float,
    units: UnitSystem,
) -> tuple[ChecklistStep, ...]:
    r = record["rehydration"]
    cautions = data.load("cautions")
    low, high = float(r["water_c"]["low"]), float(r["water_c"]["high"])
    warm = say(
        "{low} to {high}",
        low=degrees_number(low, units, 0),
        high=degrees(high, units, 0),
    )
    stand = say(
        "{least:g} to {most:g} minutes",
        least=r["stand_min"]["low"],
        most=r["stand_min"]["high"],
    )
    drop = float(r["step_c"]["typical"])
    steps = [
        ChecklistStep(
            say("Water"),
            say(
                "Warm {amount} of clean water without chlorine to {temperature}.",
                amount=millilitres(water.value, units),
                temperature=degrees(float(r["nutrient_c"]["typical"]), units, 0)
                if nutrient_name
                else warm,
            ),
            cautions["hot_water"]["text"],
        )
    ]
    if nutrient_name:
        steps.append(
            ChecklistStep(
                say("Rehydration nutrient"),
                say(
                    "Stir in {grams} g of {nutrient}; let it cool to {temperature}.",
                    grams=small_amount(nutrient.value, 1),
                    nutrient=nutrient_name,
                    temperature=warm,
                ),
                say("No ammonium salt in this water: it harms yeast during rehydration."),
            )
        )
    steps.append(
        ChecklistStep(
            say("Yeast"),
            say(
                "Sprinkle {grams} g of yeast on top, wait, then stir gently; "
                "let it stand {minutes}.",
                grams=small_amount(yeast.value, 1),
                minutes=stand,
            ),
            one_way(cautions["yeast_heat"]["text"], units),
            float(r["stand_min"]["typical"]),
        )
    )
    settle_min = float(r["settle_min"]["typical"])
    stops_c = _stops(high, temperature_c, drop)
    steps.append(
        ChecklistStep(
            say("Cool by steps"),
            _cooling(stops_c, temperature_c, drop, settle_min, units),
            wait_min=settle_min if stops_c else 0.0,
            times=max(len(stops_c), 1),
        )
    )
    steps.append(
        ChecklistStep(
            say("Pitch"),
            say(
                "Pour the slurry into the must at {temperature} and stir it in.",
                temperature=degrees(temperature_c, units),
            ),
        )
    )
    return tuple(steps)


def _stops(start_c: float, must_c: float, drop_c: float) -> list[float]:
    """Temperatures that additions of must bring the slurry to, so that it meets the must [°C]."""
    at, stops = start_c, []
    while at - must_c > drop_c:
        at -= min(drop_c * 0.8, at - must_c - drop_c * 0.5)
        stops.append(at)
    return stops


def _cooling(
    stops_c: list[float], must_c: float, drop_c: float, settle_min: float, units: UnitSystem
) -> str:
    """How many must additions bring the slurry within one step of the must."""
    count, step = len(stops_c), temperature_step(drop_c, units)
    if not count:
        return say("The slurry is within {step} of the must already: no steps needed.", step=step)
    return say_n(
        "Stir in a little must and wait {minutes:g} minutes: {count} step, to {stops}, so "
        "that the slurry never falls more than {step} at once and meets the must ({temperature}) "
        "within that.",
        "Stir in a little must, wait {minutes:g} minutes, and again: {count} steps, to {stops}, so "
        "that the slurry never falls more than {step} at once and meets the must ({temperature}) "
        "within that.",
        count,
        minutes=settle_min,
        stops=join(", ", [degrees(stop, units, 0) for stop in stops_c]),
        step=step,
        temperature=degrees(must_c, units),
    )


def small_amount(value: float, digits: int) -> str:
    """A mass or volume to so many decimals; a small one to two figures, never rounded to zero.

    Parameters
    ----------
    value : float
        At least 0 [g or mL].
    digits : int
        0 to 3.

    Returns
    -------
    str

    Examples
    --------
    >>> small_amount(4.75, 1), small_amount(0.95, 1)
    ('4.8', '0.95')
    """
    return (
        say("{amount:.{digits}f}", amount=value, digits=digits)
        if value >= 10.0 ** (1 - digits)
        else say("{amount:.2g}", amount=value)
    )
