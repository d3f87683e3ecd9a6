"""What is this reading in another unit, and what does the instrument really say?"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from mustwright.constants import ETHANOL_YIELD_G_G
from mustwright.errors import ImpossibleError, InputError, validity_notes
from mustwright.figure import Figure, typed
from mustwright.must.alcohol import Fermented, alcohol_from_gravities
from mustwright.must.alcohol_rivals import ALCOHOL_FORMULAS
from mustwright.must.gravity import plato_from_gravity_asbc
from mustwright.must.gravity_text import gravity_text
from mustwright.must.instruments import GLASS_EXPANSION_PER_K, gravity_from_hydrometer
from mustwright.must.refraction import (
    RefractometerResult,
    brix_at_20c_from_refractometer,
    brix_from_refractive_index,
    fermented_from_refractometer,
    refractive_index_from_brix,
)
from mustwright.planning.convert_honey import (
    MOISTURE,
    honey_index,
    moisture_figure,
    question_too_dry,
)
from mustwright.planning.gravity_scales import gravity_figure, on_scale
from mustwright.texts import say
from mustwright.units import Quantity, Unit, in_unit, parse_quantity, temperature_c, unit_called

INSTRUMENTS = ("hydrometer", "refractometer")
INDEX, ALCOHOL = "nD", "% vol"
DEFINED = "definition of the units (NIST Handbook 44 Appendix C; UK Weights and Measures Act 1985)"
_KINDS = {
    "volume": say("a volume"),
    "mass": say("a mass"),
    "temperature": say("a temperature"),
    "gravity": say("a gravity"),
    "mass concentration": say("a mass concentration"),
    "alcohol": say("an alcohol"),
    "time": say("a time"),
    "pressure": say("a pressure"),
    "length": say("a length"),
}
_INDEX_TYPED = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*n_?d(?:20)?\s*", re.IGNORECASE)
_TARGETS = {
    "moisture": MOISTURE, "water": MOISTURE, "% water": MOISTURE, "honey moisture": MOISTURE,
    "nd": INDEX, "nd20": INDEX, "refractive index": INDEX,
}  # fmt: skip


@dataclass(frozen=True)
class Conversion:
    """The answer, what rival formulas or neighbouring quantities say, and what to know of it."""

    value: Figure
    unit: str
    alternatives: dict[str, Figure] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)


def convert(
    text: object,
    to: str,
    *,
    calibration: object = None,
    temperature: object = None,
    original: object = None,
    instrument: str | None = None,
) -> Conversion:
    """Convert a typed quantity, correcting for the instrument if one is named.

    Parameters
    ----------
    text : object
        ``"24 Bx"``, ``"1.098"``, ``"5 US gal"``, ``"1.4915 nD"``.
    to : str
        Unit wanted: any of `mustwright.units`, ``nD``, or ``moisture`` (of honey).
    calibration : object
        Temperature the hydrometer is marked for; 20 °C when left out.
    temperature : object
        Temperature of the liquid while reading.
    original : object
        Gravity of the must before fermentation: accounts for alcohol.
    instrument : str or None
        ``hydrometer`` or ``refractometer``; a hydrometer when left out.

    Raises
    ------
    InputError
        Names the field, what it needs and what came.

    Examples
    --------
    >>> round(convert("1.098", "SG", temperature="28 C").value.value, 4)
    1.1006
    >>> round(convert("24 Bx", "g/L sugar").value.value, 1)
    263.8
    """
    with validity_notes() as outside:
        answer = _convert(text, to, _Circumstances(calibration, temperature, original, instrument))
    return replace(answer, warnings=list(dict.fromkeys([*answer.warnings, *outside])))


@dataclass(frozen=True)
class _Circumstances:
    """How the reading was taken, as typed."""

    calibration: object
    temperature: object
    original: object
    instrument: str | None

    def refuse(self, because: str) -> None:
        """No instrument is involved: refuse what was typed about one."""
        for name in ("instrument", "temperature", "calibration", "original"):
            got = getattr(self, name)
            if got is not None:
                raise InputError(name, because, got)


def _convert(text: object, to: str, how: _Circumstances) -> Conversion:
    if how.instrument is not None and how.instrument not in INSTRUMENTS:
        raise InputError(
            "instrument",
            say("needs one of {known}", known=", ".join(INSTRUMENTS)),
            how.instrument,
        )
    if not isinstance(to, str):
        raise InputError("to", say("needs the name of a unit such as 'US gal' or 'Brix'"), to)
    index = _INDEX_TYPED.fullmatch(text) if isinstance(text, str) else None
    target = _TARGETS.get(" ".join(to.lower().split())) or unit_called(to, "to")
    if isinstance(target, Unit) and target.name == "g/L" and _reads_gravity(text):
        target = unit_called("g/L sugar", "to")
    if index:
        return _from_index(float(index[1].replace(",", ".")), text, target, how)
    quantity = _read(text, target, how)
    if quantity.dimension == "gravity":
        return _from_gravity(quantity, text, target, how)
    how.refuse(say("needs a hydrometer or refractometer reading in value"))
    if not isinstance(target, Unit) or quantity.dimension != target.dimension:
        raise InputError(
            "value",
            say("needs {kind} to be shown as {unit}", kind=_kind(target), unit=_name(target)),
            text,
        )
    shown = in_unit(quantity.value, target.name, "to")
    came = typed(in_unit(quantity.value, quantity.unit), quantity.unit)
    figure = Figure(
        shown,
        target.name,
        say("value in {unit}", unit=target.name),
        DEFINED,
        {"value": came},
    )
    return Conversion(figure, target.name, {}, _notes(quantity.assumed))


def _reads_gravity(text: object) -> bool:
    """Whether what was typed is a gravity, so that grams per litre of it are those of its sugar."""
    quantity = parse_quantity(text, "value")
    bare = quantity.dimension == "number" and 0.9 <= quantity.value <= 1.4
    return quantity.dimension == "gravity" or bare


def _read(text: object, target: Unit | str, how: _Circumstances) -> Quantity:
    """The typed quantity; a bare number is a gravity where one is wanted, else it is refused."""
    quantity = parse_quantity(text, "value")
    if quantity.dimension != "number":
        return quantity
    wants_gravity = (
        target in (INDEX, ALCOHOL)
        if isinstance(target, str)
        else target.dimension in ("gravity", "alcohol")
    )
    if wants_gravity and 0.9 <= quantity.value <= 1.4:
        return Quantity(quantity.value, "gravity", "SG", "")
    if wants_gravity and how.instrument == "refractometer":
        return Quantity(
            quantity.value, "gravity", "Brix", say("value: no unit given, read as Brix")
        )
    raise InputError("value", say("needs a unit such as '24 Bx', '1.098 SG' or '5 US gal'"), text)


def _from_index(index: float, text: object, target: Unit | str, how: _Circumstances) -> Conversion:
    """A refractive index nD: honey moisture, or Brix and the scales that follow from it."""
    if not 1.32 <= index <= 1.52:
        raise InputError("value", say("needs a refractive index from 1.32 to 1.52"), text)
    came = typed(index, INDEX)
    if target == MOISTURE:
        return _moisture(came, how)
    if not isinstance(target, Unit) or target.dimension != "gravity":
        raise InputError(
            "to", say("needs moisture or a gravity scale for a refractive index"), text
        )
    how.refuse(say("needs Brix in value, not a refractive index"))
    if index > 1.4907:
        raise InputError("value", say("needs a refractive index up to 1.4907 for sugar"), text)
    brix = Figure(
        float(brix_from_refractive_index(index)), "Brix", say("spline of the sucrose table"),
        "ICUMSA2000 SPS-3 (from memory)", {"n": came},
    )  # fmt: skip
    if target.name == "Brix":
        return Conversion(brix, "Brix")
    return Conversion(on_scale(gravity_figure(brix, "value"), target.name), target.name)


def _moisture(index: Figure, how: _Circumstances) -> Conversion:
    """Honey moisture from a refractive index, or from the Brix a honey refractometer shows."""
    for name in ("instrument", "calibration", "original"):
        if getattr(how, name) not in (None, "refractometer"):
            raise InputError(
                name, say("needs to be left out for honey moisture"), getattr(how, name)
            )
    t, notes = _temperature(how.temperature, 20.0, "temperature")
    return Conversion(moisture_figure(index, t), MOISTURE, {}, notes)


def _from_gravity(
    quantity: Quantity, text: object, target: Unit | str, how: _Circumstances
) -> Conversion:
    """A reading on any gravity scale, corrected as its instrument needs."""
    if target == MOISTURE:
        return _moisture(honey_index(typed(quantity.value, quantity.unit), text), how)
    wants_alcohol = isinstance(target, Unit) and target.dimension == "alcohol"
    if isinstance(target, Unit) and target.dimension not in ("gravity", "alcohol"):
        raise InputError(
            "value",
            say(
                "needs {kind} to be shown as {unit}",
                kind=_kind(target),
                unit=target.name,
            ),
            text,
        )
    if wants_alcohol and how.original is None:
        raise InputError("original", say("needs the gravity before fermentation for alcohol"), None)
    came = typed(quantity.value, quantity.unit)
    if how.instrument == "refractometer":
        return _refractometer(came, target, how, _notes(quantity.assumed))
    if target == INDEX:
        how.refuse(say("needs to be left out for a refractive index"))
        return Conversion(_index(on_scale(gravity_figure(came, "value"), "Brix")), INDEX)
    gravity, notes = _hydrometer(gravity_figure(came, "value"), how)
    if how.original is None:
        return _on_target(gravity, target, notes)
    start = _original(how)
    alcohol, rivals = _alcohol(start, gravity)
    if wants_alcohol:
        return Conversion(alcohol, ALCOHOL, rivals, notes)
    shown = _on_target(gravity, target, notes)
    return replace(shown, alternatives={**shown.alternatives, "alcohol": alcohol})


def _on_target(gravity: Figure, target: Unit | str, notes: list[str]) -> Conversion:
    name = _name(target)
    others: dict[str, Figure] = {}
    if name == "Plato":
        others[say("ASBC table polynomial")] = Figure(
            float(plato_from_gravity_asbc(gravity.value)), "Plato",
            "((135.997 SG - 630.272) SG + 1111.14) SG - 616.868",
            "ASBC extract table, best below 25 Plato", {"SG": gravity},
        )  # fmt: skip
    return Conversion(on_scale(gravity, name), name, others, notes)


def _hydrometer(reading: Figure, how: _Circumstances) -> tuple[Figure, list[str]]:
    """The reading at 20/20 °C; alcohol, when the original gravity is known, is allowed for."""
    if how.temperature is None:
        if how.calibration is not None:
            raise InputError("temperature", say("needs the temperature of the liquid too"), None)
        return reading, []
    t, notes = _temperature(how.temperature, 20.0, "temperature")
    cal, also = _temperature(how.calibration, 20.0, "calibration")
    if how.calibration is None:
        also = [say("calibration: hydrometer taken as marked for 20 C")]
    if not 0 <= t <= 40:
        raise InputError("temperature", say("needs 0 to 40 C for a hydrometer"), how.temperature)
    if not 10 <= cal <= 30:
        raise InputError("calibration", say("needs 10 to 30 C for a hydrometer"), how.calibration)
    pct, corrected = 0.0, float(gravity_from_hydrometer(reading.value, t, cal))
    for _ in range(6 if how.original is not None else 0):
        now = typed(corrected, "SG")
        pct = _balance(_original(how), now, ETHANOL_YIELD_G_G).ethanol_pct_vol
        corrected = float(gravity_from_hydrometer(reading.value, t, cal, pct))
    figure = Figure(
        corrected, "SG",
        say("gravity at 20 C of the liquid whose density at t floats the glass at the reading"),
        "ICUMSA1998, OIML1975; glass ISO1768",
        {"reading": reading, "t": typed(t, "C"), "calibrated for": typed(cal, "C"),
         "alcohol % vol": round(pct, 2), "glass expansion 1/K": GLASS_EXPANSION_PER_K},
    )  # fmt: skip
    return figure, notes + also


def _refractometer(
    came: Figure, target: Unit | str, how: _Circumstances, notes: list[str]
) -> Conversion:
    """Brix at 20 °C and, if the start is known, gravity and alcohol of the fermenting must."""
    if how.calibration is not None:
        raise InputError(
            "calibration", say("needs to be left out for a refractometer"), how.calibration
        )
    if came.unit not in ("Brix", "Plato", "SG"):
        raise InputError(
            "value", say("needs Brix (or SG) for a refractometer"), f"{came.value} {came.unit}"
        )
    brix = came if came.unit == "Brix" else on_scale(gravity_figure(came, "value"), "Brix")
    if how.temperature is not None:
        brix, also = _warmed(brix, how)
        notes = notes + also
    if how.original is None:
        if target == INDEX:
            return Conversion(_index(brix), INDEX, {}, notes)
        alone = say("a refractometer alone is right only before fermentation: add the original")
        name = _name(target)
        shown = brix if name == "Brix" else on_scale(gravity_figure(brix, "value"), name)
        return Conversion(shown, name, {}, [*notes, alone])
    if target == INDEX:
        raise InputError(
            "original", say("needs to be left out for a refractive index"), how.original
        )
    start = on_scale(_original(how), "Brix")
    got = say("{now:.2f} Brix after {start:.2f}", now=brix.value, start=start.value)
    try:
        seen = fermented_from_refractometer(brix.value, start.value)
    except ImpossibleError as error:
        raise ImpossibleError("value", error.requirement, got) from error
    question_too_dry(seen, start, got)
    return _seen(seen, brix, start, target, notes)


def _seen(
    seen: RefractometerResult, brix: Figure, start: Figure, target: Unit | str, notes: list[str]
) -> Conversion:
    inputs: dict[str, Figure | float | str] = {
        "reading at 20 C": brix,
        "original": start,
        "yield g/g": ETHANOL_YIELD_G_G,
    }
    how = say("hexose used so that the mixture refracts as read; mass balance")
    source = "Gladstone-Dale mixing (Herraez2006), OIML1975, ICUMSA; refraction from memory"
    gravity = Figure(
        seen.fermented.gravity, "SG", how, source, inputs, seen.gravity_low, seen.gravity_high
    )
    alcohol = Figure(
        seen.fermented.ethanol_pct_vol, ALCOHOL, how, source, inputs,
        seen.ethanol_pct_vol_low, seen.ethanol_pct_vol_high,
    )  # fmt: skip
    if isinstance(target, Unit) and target.dimension == "alcohol":
        return Conversion(alcohol, ALCOHOL, {"gravity": gravity}, notes)
    return Conversion(on_scale(gravity, _name(target)), _name(target), {"alcohol": alcohol}, notes)


def _warmed(brix: Figure, how: _Circumstances) -> tuple[Figure, list[str]]:
    t, notes = _temperature(how.temperature, 20.0, "temperature")
    if not 5 <= t <= 25:
        raise InputError("temperature", say("needs 5 to 25 C for a refractometer"), how.temperature)
    value = float(brix_at_20c_from_refractometer(brix.value, t))
    figure = Figure(
        value, "Brix", say("reading + table correction at t"),
        "OIV2012R OIV-MA-AS2-02 Table I (above 20 C from memory)",
        {"reading": brix, "t": typed(t, "C")},
    )  # fmt: skip
    return figure, [*notes, say("instruments that compensate for temperature need no correction")]


def _alcohol(start: Figure, now: Figure) -> tuple[Figure, dict[str, Figure]]:
    """Alcohol by the balance with the yield range, and what the rival formulas say."""
    inputs: dict[str, Figure | float | str] = {"original": start, "now": now}
    by_yield = [_balance(start, now, y).ethanol_pct_vol for y in (0.46, ETHANOL_YIELD_G_G, 0.48)]
    figures = {
        name: Figure(
            f(start.value, now.value),
            ALCOHOL,
            say("{formula} ({validity})", formula=f.formula, validity=f.validity),
            f.source,
            inputs,
        )
        for name, f in ALCOHOL_FORMULAS.items()
    }
    best = replace(figures.pop("mass balance"), low=min(by_yield), high=max(by_yield))
    return best, figures


def _balance(start: Figure, now: Figure, ethanol_yield_g_g: float) -> Fermented:
    """The mass balance between two gravities, or an error that names what was typed."""
    try:
        return alcohol_from_gravities(start.value, now.value, ethanol_yield_g_g=ethanol_yield_g_g)
    except ImpossibleError as error:
        got = say(
            "{now} after {start}",
            now=gravity_text(now.value, 4),
            start=gravity_text(start.value, 4),
        )
        raise ImpossibleError("value", error.requirement, got) from error


def _original(how: _Circumstances) -> Figure:
    """Gravity before fermentation; a bare number near one is SG, any other is Brix."""
    quantity = parse_quantity(how.original, "original")
    unit = quantity.unit
    if quantity.dimension == "number":
        unit = "SG" if 0.9 <= quantity.value <= 1.4 else "Brix"
    elif quantity.dimension != "gravity":
        raise InputError(
            "original", say("needs a gravity such as '1.100' or '24 Bx'"), how.original
        )
    figure = gravity_figure(typed(quantity.value, unit), "original")
    if not 1.0 < figure.value <= 1.25:
        raise InputError(
            "original", say("needs a gravity above 1.000 and up to 1.250"), how.original
        )
    return figure


def _temperature(given: object, default: float, name: str) -> tuple[float, list[str]]:
    if given is None:
        return default, []
    value, assumed = temperature_c(given, name)
    return value, _notes(assumed)


def _index(brix: Figure) -> Figure:
    return Figure(
        float(refractive_index_from_brix(brix.value)), INDEX, say("spline of the sucrose table"),
        "ICUMSA2000 SPS-3 (from memory)", {"Brix": brix},
    )  # fmt: skip


def _name(target: Unit | str) -> str:
    return target if isinstance(target, str) else target.name


def _kind(target: Unit | str) -> str:
    if isinstance(target, str):
        return say("a refractive index") if target == MOISTURE else say("a gravity")
    return _KINDS[target.dimension]


def _notes(assumed: str) -> list[str]:
    return [assumed] if assumed else []
