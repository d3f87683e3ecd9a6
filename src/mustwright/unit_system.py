"""In which units is a quantity said: as a person or the cellar chose, else as the must was typed.

Inside the package there is one unit per quantity. This is the one home of how an amount is said to
a maker: every page, command, print and picture takes its volumes, weights and temperatures from
here, and its gravities from `must.gravity_text`. Grams stay grams for nutrients, salts and yeast,
which every maker weighs on a small scale, and concentrations stay per litre, as laws and labels
write them.

What is chosen holds for a thread of work, as a language does: a request of the pages, or a command.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import lru_cache

from mustwright.constants import KG_PER_POUND
from mustwright.errors import InputError, MustwrightError
from mustwright.held import holding
from mustwright.texts import join, say
from mustwright.toml_text import table_in
from mustwright.units import in_unit, parse_quantity

VOLUMES = ("L", "US gal", "imp gal")
MASSES = ("kg", "lb")
TEMPERATURES = ("C", "F")
GRAVITIES = ("SG", "Brix", "Plato")
# A unit and the smaller ones of its family, each from how many litres on [L].
_FAMILY = {
    "US gal": ((3.785, "US gal"), (0.946, "US qt"), (0.0, "US fl oz")),
    "imp gal": ((4.546, "imp gal"), (0.568, "imp pt"), (0.0, "imp fl oz")),
}
_TYPED_VOLUME = {
    "US gal": "US gal", "US qt": "US gal", "US pt": "US gal", "US cup": "US gal",
    "US fl oz": "US gal", "imp gal": "imp gal", "imp pt": "imp gal", "imp fl oz": "imp gal",
}  # fmt: skip
WHOLE_OUNCES_LB = 10.0  # from here on an ounce is under 1 % of the weight


@dataclass(frozen=True)
class UnitSystem:
    """The unit for each kind of quantity.

    Parameters
    ----------
    volume : str
        One of `VOLUMES`; small volumes are said in quarts or pints and fluid ounces.
    mass : str
        One of `MASSES`; pounds go with ounces.
    temperature : str
        One of `TEMPERATURES`.
    gravity : str
        One of `GRAVITIES`, see `must.gravity_text`.
    """

    volume: str = "L"
    mass: str = "kg"
    temperature: str = "C"
    gravity: str = "SG"

    @property
    def key(self) -> str:
        """As it is kept: ``US gal/lb/F``, the scale of gravities behind it if it is not SG."""
        scale = "" if self.gravity == "SG" else f"/{self.gravity}"
        return f"{self.volume}/{self.mass}/{self.temperature}{scale}"


METRIC = UnitSystem()
US = UnitSystem("US gal", "lb", "F")
IMPERIAL = UnitSystem("imp gal", "lb", "C")
NAMED: Mapping[str, UnitSystem] = {"metric": METRIC, "us": US, "imperial": IMPERIAL}

Choice = Callable[[], UnitSystem | None]
Spoken = UnitSystem | str | None
_choice: ContextVar[Choice] = ContextVar("chosen units", default=lambda: None)
_sheet: ContextVar[str] = ContextVar("the must spoken of", default="")


def system_called(text: str) -> UnitSystem:
    """A system by its name, or as it is kept; a scale of gravities may follow either.

    Raises
    ------
    InputError
        For any other word.

    Examples
    --------
    >>> system_called("us") == system_called("US gal/lb/F")
    True
    >>> system_called("us/Brix").key
    'US gal/lb/F/Brix'
    """
    name, _, scale = text.partition("/")
    parts = [*NAMED[name].key.split("/"), scale or "SG"] if name in NAMED else text.split("/")
    known = (VOLUMES, MASSES, TEMPERATURES, GRAVITIES)
    if not 3 <= len(parts) <= 4 or any(
        p not in those for p, those in zip(parts, known, strict=False)
    ):
        raise InputError("units", say("needs one of {names}", names=", ".join(NAMED)), text)
    return UnitSystem(*parts)


def chosen() -> UnitSystem | None:
    """The system chosen here; None where each must's own counts."""
    return _choice.get()()


@contextmanager
def choosing(choice: Choice | UnitSystem | None) -> Iterator[None]:
    """Everything said within is said in a chosen system; a callable is asked when needed."""
    given = choice if callable(choice) else lambda: choice
    with holding(_choice, given):
        yield


def speak_of(sheet: str) -> UnitSystem:
    """From here on, in this thread of work, amounts are those of one must: its system."""
    _sheet.set(sheet)
    return current()


@contextmanager
def speaking_of(sheet: str) -> Iterator[UnitSystem]:
    """Amounts within are those of one must."""
    with holding(_sheet, sheet):
        yield current()


def current() -> UnitSystem:
    """The system in which amounts are said here."""
    return units_of(_sheet.get())


def units_of(sheet: str) -> UnitSystem:
    """The system for a must: what is chosen, else what its sheet was typed in, else metric."""
    return chosen() or typed_units(sheet)


def system_of(spoken: Spoken) -> UnitSystem:
    if isinstance(spoken, UnitSystem):
        return spoken
    return current() if spoken is None else units_of(spoken)


@lru_cache(maxsize=256)
def typed_units(sheet: str) -> UnitSystem:
    """The system that a must's own sheet is typed in; metric where nothing tells.

    Examples
    --------
    >>> typed_units('[must]\\nvolume = "5 US gal"').key
    'US gal/lb/F'
    >>> typed_units('[must]\\nvolume = "5 imp gal"\\ntemperature = "65 F"').key
    'imp gal/lb/F'
    """
    try:
        must = table_in(sheet, "must")
        lines = must.get("ingredient", [])
        amounts = [must.get("volume"), *(one.get("amount") for one in lines)]
        heat = str(must.get("temperature", "")).strip()
    except (AttributeError, TypeError):
        return METRIC
    volume, mass = _first(amounts, "volume"), _first(amounts, "mass")
    family = _TYPED_VOLUME.get(volume, "L")
    pounds = mass in ("lb", "oz") if mass else family != "L"
    in_f = heat.upper().endswith("F") if heat else family == "US gal"
    return UnitSystem(family, "lb" if pounds else "kg", "F" if in_f else "C")


def _first(amounts: list[object], dimension: str) -> str:
    """Unit of the first amount of a dimension; empty without one."""
    for amount in amounts:
        try:
            quantity = parse_quantity(amount, "amount")
        except MustwrightError:
            continue
        if quantity.dimension == dimension:
            return quantity.unit
    return ""


def unit_for(value: float, unit: str, system: UnitSystem) -> str:
    """The unit in which an amount of this size is said.

    Parameters
    ----------
    value : float
        In `unit` [any unit].
    unit : str
        A base unit: ``L``, ``mL``, ``kg`` or ``C``; every other stays as it is.
    system : UnitSystem

    Examples
    --------
    >>> unit_for(19.0, "L", US), unit_for(0.2, "L", US), unit_for(5.0, "g", US)
    ('US gal', 'US fl oz', 'g')
    """
    if unit in ("L", "mL"):
        litres = abs(value) * (1.0 if unit == "L" else 1e-3)
        family = _FAMILY.get(system.volume)
        return unit if family is None else next(u for least, u in family if litres >= least)
    if unit == "kg" and system.mass == "lb":
        return "lb"
    if unit in ("C", "°C") and system.temperature == "F":
        return "F"
    return unit


def number_in(value: float, unit: str, shown: str, *, digits: int = 1) -> str:
    """An amount in another unit, as it is read; pounds carry their own unit.

    Parameters
    ----------
    value : float
        In `unit` [any unit].
    unit, shown : str
        A base unit, and the one it is said in, see `unit_for`.
    digits : int
        Of a temperature, after the point.

    Examples
    --------
    >>> number_in(19.0, "L", "US gal"), number_in(7.0, "kg", "lb"), number_in(20.0, "C", "F")
    ('5.02', '15 lb 7 oz', '68')
    """
    if shown == "lb":
        return _pounds(value)
    if shown == "F":
        return say("{value:g}", value=round(in_unit(value, "F"), digits))
    found = in_unit(value * (1e-3 if unit == "mL" else 1.0), shown)
    return say("{found:g}", found=round(found, 2 if abs(found) < 10 else 1))


def _pounds(kg: float) -> str:
    """Pounds with ounces; ounces alone below one pound."""
    ounces = in_unit(abs(kg), "oz")
    sign = "-" if kg < 0 else ""
    ounces = round(ounces, 0 if ounces >= 16 * WHOLE_OUNCES_LB else 1)
    whole, rest = divmod(ounces, 16)
    rest = round(rest, 1)
    if not whole:
        return say("{sign}{rest:g} oz", sign=sign, rest=rest) if ounces else "0 oz"
    return join(" ", [f"{sign}{whole:.0f} lb", *([say("{rest:g} oz", rest=rest)] if rest else [])])


def volume(litres: float, system: Spoken = None, decimals: int = 1) -> str:
    """A volume in words.

    Parameters
    ----------
    litres : float
        [L].
    system : UnitSystem or str or None
        A system, or the sheet of the must it is about; None for what is spoken of here.
    decimals : int
        After the point in litres; other units take three figures.

    Examples
    --------
    >>> volume(18.927, US), volume(0.95, US), volume(0.2, IMPERIAL), volume(19.0, METRIC)
    ('5 US gal', '1 US qt', '7.04 imp fl oz', '19.0 L')
    """
    system = system_of(system)
    shown = unit_for(litres, "L", system)
    if shown == "L":
        return say("{litres:.{decimals}f} L", litres=litres, decimals=decimals)
    return say("{amount} {shown}", amount=number_in(litres, "L", shown), shown=shown)


def short_volume(litres: float, system: Spoken = None) -> str:
    """A volume as briefly as hundredths allow.

    Examples
    --------
    >>> short_volume(17.034, US), short_volume(17.0, METRIC)
    ('4.5 US gal', '17 L')
    """
    system = system_of(system)
    if system.volume == "L":
        return say("{litres:g} L", litres=round(litres, 2))
    return volume(litres, system)


def measured_volume(litres: float, system: Spoken = None) -> str:
    """A volume as finely as a vessel is read: hundredths of a litre.

    Examples
    --------
    >>> measured_volume(18.1, METRIC), measured_volume(18.1, US)
    ('18.10 L', '4.78 US gal')
    """
    return volume(litres, system, 2)


def millilitres(ml: float, system: Spoken = None) -> str:
    """Water by the cup, in words: millilitres, or fluid ounces.

    Examples
    --------
    >>> millilitres(125.0, METRIC), millilitres(125.0, US)
    ('125 mL', '4.23 US fl oz')
    """
    system = system_of(system)
    if system.volume == "L":
        return say("{ml:.0f} mL", ml=ml) if ml >= 10 else say("{ml:.2g} mL", ml=ml)
    return volume(ml / 1000, system)


def mass(kg: float, system: Spoken = None, decimals: int = 2) -> str:
    """A weight of honey, fruit or water in words; doses are said in grams instead.

    Examples
    --------
    >>> mass(7.0, US), mass(0.2, US), mass(7.0, METRIC)
    ('15 lb 7 oz', '7.1 oz', '7.00 kg')
    """
    system = system_of(system)
    return (
        _pounds(kg)
        if system.mass == "lb"
        else say("{kg:.{decimals}f} kg", kg=kg, decimals=decimals)
    )


def in_pounds(grams: float, system: Spoken = None) -> bool:
    """Whether what goes in is so much that it is weighed in pounds; smaller doses stay grams."""
    return system_of(system).mass == "lb" and grams >= 1000 * KG_PER_POUND


def weighed(grams: float, system: Spoken = None) -> str:
    """Honey or sugar as it is weighed out: whole grams, or pounds from one pound on.

    Examples
    --------
    >>> weighed(1047.0, METRIC), weighed(1047.0, US), weighed(120.0, US)
    ('1047 g', '2 lb 4.9 oz', '120 g')
    """
    return (
        mass(grams / 1000, system)
        if in_pounds(grams, system)
        else say("{grams:.0f} g", grams=grams)
    )


def degrees(celsius: float, system: Spoken = None, digits: int = 1) -> str:
    """A temperature in words; a final zero is left out.

    Examples
    --------
    >>> degrees(29.44, US), degrees(20.0, '')
    ('85 °F', '20 °C')
    """
    number = degrees_number(celsius, system, digits)
    return say("{number} {sign}", number=number, sign=degree_sign(system))


def degrees_number(celsius: float, system: Spoken = None, digits: int = 1) -> str:
    """A temperature without its sign."""
    system = system_of(system)
    if system.temperature == "F":
        return number_in(celsius, "C", "F", digits=digits)
    return say("{celsius:g}", celsius=round(celsius, digits))


def temperature_unit(spoken: Spoken = None) -> str:
    """C or F, as a field of temperatures takes it."""
    return system_of(spoken).temperature


def degree_sign(system: Spoken = None) -> str:
    """°C or °F."""
    return f"°{system_of(system).temperature}"


def temperature_step(celsius: float, system: Spoken = None) -> str:
    """A difference between two temperatures in words.

    Examples
    --------
    >>> temperature_step(10.0, US), temperature_step(10.0, METRIC)
    ('18 °F', '10 °C')
    """
    system = system_of(system)
    factor = 1.8 if system.temperature == "F" else 1.0
    step = round(celsius * factor, 1)
    return say("{step:g} {sign}", step=step, sign=degree_sign(system))
