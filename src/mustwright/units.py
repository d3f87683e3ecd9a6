"""What did the maker type: quantities with units as people write them, and back again.

Inside the package there is one unit per quantity (litre, kilogram, degree Celsius, ...); this is
the only place where another one is understood or shown.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from mustwright import constants as c
from mustwright.errors import InputError
from mustwright.languages import spoken
from mustwright.texts import Text, say


@dataclass(frozen=True)
class Unit:
    """One spelling-independent unit.

    ``value_in_base = typed * factor + offset``; nonlinear scales (gravity) have no factor here:
    the must package converts them.
    """

    name: str
    dimension: str
    factor: float = 1.0
    offset: float = 0.0
    spellings: tuple[str, ...] = ()


UNITS: tuple[Unit, ...] = (
    Unit("L", "volume", 1.0, spellings=("l", "litre", "litres", "liter", "liters", "ltr")),
    Unit(
        "mL",
        "volume",
        1e-3,
        spellings=("ml", "millilitre", "millilitres", "milliliter", "milliliters", "cc"),
    ),
    Unit(
        "hL",
        "volume",
        100.0,
        spellings=("hl", "hectolitre", "hectolitres", "hectoliter", "hectoliters"),
    ),
    Unit(
        "US gal",
        "volume",
        c.LITRES_PER_US_GALLON,
        spellings=(
            "us gal",
            "us gallon",
            "us gallons",
            "us gals",
            "usgal",
            "us_gal",
            "gal us",
            "gallon us",
            "gallons us",
            "gal (us)",
            "gallon (us)",
            "gallons (us)",
        ),
    ),
    Unit(
        "imp gal",
        "volume",
        c.LITRES_PER_IMPERIAL_GALLON,
        spellings=(
            "imp gal",
            "imperial gal",
            "imperial gallon",
            "imperial gallons",
            "uk gal",
            "uk gallon",
            "uk gallons",
            "imp gallon",
            "imp gallons",
            "impgal",
            "imp_gal",
            "gal (imp)",
            "gal (uk)",
            "gallons (imp)",
        ),
    ),
    Unit("US qt", "volume", c.LITRES_PER_US_QUART, spellings=("us qt", "qt", "quart", "quarts")),
    Unit("US pt", "volume", c.LITRES_PER_US_PINT, spellings=("us pt", "us pint", "us pints")),
    Unit(
        "imp pt",
        "volume",
        c.LITRES_PER_IMPERIAL_PINT,
        spellings=("imp pt", "imperial pint", "imperial pints", "uk pint", "uk pints"),
    ),
    Unit("US cup", "volume", c.LITRES_PER_US_CUP, spellings=("us cup", "cup", "cups")),
    Unit(
        "US fl oz",
        "volume",
        c.LITRES_PER_US_FLUID_OUNCE,
        spellings=("us fl oz", "fl oz", "fluid ounce", "fluid ounces", "floz"),
    ),
    Unit(
        "imp fl oz",
        "volume",
        c.LITRES_PER_IMPERIAL_FLUID_OUNCE,
        spellings=("imp fl oz", "imperial fl oz", "uk fl oz", "imperial fluid ounces"),
    ),
    Unit("tsp", "volume", c.LITRES_PER_TEASPOON, spellings=("tsp", "teaspoon", "teaspoons")),
    Unit(
        "tbsp", "volume", c.LITRES_PER_TABLESPOON, spellings=("tbsp", "tablespoon", "tablespoons")
    ),
    Unit("kg", "mass", 1.0, spellings=("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms")),
    Unit("g", "mass", 1e-3, spellings=("g", "gr", "gram", "grams", "gramme", "grammes")),
    Unit("mg", "mass", 1e-6, spellings=("mg", "milligram", "milligrams")),
    Unit("lb", "mass", c.KG_PER_POUND, spellings=("lb", "lbs", "pound", "pounds", "#")),
    Unit("oz", "mass", c.KG_PER_OUNCE, spellings=("oz", "ounce", "ounces")),
    Unit("C", "temperature", 1.0, spellings=("c", "°c", "deg c", "celsius", "degc")),
    Unit("F", "temperature", 5 / 9, -160 / 9, spellings=("f", "°f", "deg f", "fahrenheit", "degf")),
    Unit("K", "temperature", 1.0, -c.KELVIN_AT_0_C, spellings=("k", "kelvin")),
    Unit("SG", "gravity", spellings=("sg", "s.g.", "gravity", "specific gravity")),
    Unit("Brix", "gravity", spellings=("brix", "bx", "°bx", "°brix", "deg brix", "bx.")),
    Unit("Plato", "gravity", spellings=("plato", "p", "°p", "deg plato", "°plato")),
    Unit("Baume", "gravity", spellings=("baume", "baumé", "bé", "be", "°bé", "°be", "°baumé")),
    Unit("Oechsle", "gravity", spellings=("oechsle", "oe", "°oe", "öchsle", "°öchsle", "°oechsle")),
    Unit("KMW", "gravity", spellings=("kmw", "°kmw", "babo", "klosterneuburg")),
    Unit("g/L sugar", "gravity", spellings=("g/l sugar", "g sugar/l")),
    Unit(
        "g/L",
        "mass concentration",
        1.0,
        spellings=("g/l", "gram/l", "g per l", "grams per litre", "grams per liter", "g per litre"),
    ),
    Unit("mg/L", "mass concentration", 1e-3, spellings=("mg/l", "ppm", "mg per l", "mg per litre")),
    Unit("g/hL", "mass concentration", 1e-2, spellings=("g/hl", "g per hl")),
    Unit(
        "g/US gal",
        "mass concentration",
        1 / c.LITRES_PER_US_GALLON,
        spellings=("g/us gal", "g per us gal", "g/us gallon", "g per us gallon"),
    ),
    Unit(
        "lb/1000 US gal",
        "mass concentration",
        c.KG_PER_POUND / c.LITRES_PER_US_GALLON,
        spellings=("lb/1000 us gal", "lb per 1000 us gal", "lb/kgal"),
    ),
    Unit(
        "% vol",
        "alcohol",
        1.0,
        spellings=("% vol", "%vol", "% abv", "%abv", "abv", "vol%", "vol %", "% v/v", "%"),
    ),
    Unit("h", "time", 1.0, spellings=("h", "hr", "hrs", "hour", "hours")),
    Unit("d", "time", 24.0, spellings=("d", "day", "days")),
    Unit("min", "time", 1 / 60, spellings=("min", "mins", "minute", "minutes")),
    Unit("bar", "pressure", 1.0, spellings=("bar", "bars")),
    Unit("kPa", "pressure", 0.01, spellings=("kpa",)),
    Unit("psi", "pressure", c.BAR_PER_PSI, spellings=("psi", "psig")),
    Unit("atm", "pressure", c.BAR_PER_ATM, spellings=("atm", "atmosphere", "atmospheres")),
    Unit("cm", "length", 1.0, spellings=("cm", "centimetre", "centimetres")),
    Unit("mm", "length", 0.1, spellings=("mm", "millimetre", "millimetres")),
    Unit("in", "length", 2.54, spellings=("in", "inch", "inches")),
)

_BY_SPELLING: dict[str, Unit] = {
    spelling: unit for unit in UNITS for spelling in (*unit.spellings, unit.name.lower())
}
_BARE_GALLON = ("gal", "gals", "gallon", "gallons")

_NUMBER = re.compile(r"\s*([+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*")
_FRACTION = re.compile(r"\s*(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)(?=\s|[a-zA-Z])\s*")
_UNIT_WORD = re.compile(r"[^\d+\-.,][^\d+,]*(?:1000 us gal)?", re.IGNORECASE)


_COMMA = re.compile(r"(?<![\d.,])(\d*),(\d+)(?![\d.,])")


def _comma_is_decimal() -> bool:
    """Whether numbers are written with a decimal comma in the language spoken here."""
    language = spoken()
    return language is not None and language.decimal == ","


def plainly_typed(text: str) -> str:
    """An amount as it was typed here, its numbers with a point: so it reads alike in any language.

    Only where the language spoken here has a decimal comma; elsewhere "1,100" may mean thousands,
    and what was typed stays, to be refused where it is read. What holds more than one comma between
    digits is no amount, and stays.

    Parameters
    ----------
    text : str
        What was typed into one field: an amount such as ``"1,5 kg"``.

    Examples
    --------
    >>> plainly_typed("1,100")
    '1,100'
    >>> from mustwright.languages import language_called, speaking
    >>> with speaking(language_called("de")):
    ...     plainly_typed("1,100"), plainly_typed("2 lb 3,5 oz"), plainly_typed("16,64,112")
    ('1.100', '2 lb 3.5 oz', '16,64,112')
    """
    if not _comma_is_decimal():
        return text
    return _COMMA.sub(r"\1.\2", text)


_QUOTED = re.compile(r'(=\s*)"([^"\n]*)"')


def sheet_plainly_typed(sheet: str) -> str:
    """A sheet as it was typed here, its amounts with a point: what is kept reads alike anywhere.

    Examples
    --------
    >>> from mustwright.languages import language_called, speaking
    >>> with speaking(language_called("de")):
    ...     sheet_plainly_typed('name = "Met 1,100"\\ngravity = "1,100"')
    'name = "Met 1,100"\\ngravity = "1.100"'
    """
    return _QUOTED.sub(_plain_amount, sheet) if _comma_is_decimal() else sheet


def _plain_amount(found: re.Match[str]) -> str:
    try:
        parse_quantity(found[2], "amount")
    except InputError:
        return found[0]
    return f'{found[1]}"{plainly_typed(found[2])}"'


@dataclass(frozen=True)
class Quantity:
    """A parsed quantity.

    Parameters
    ----------
    value : float
        In the base unit of the dimension; for gravity scales, as typed.
    dimension : str
        ``volume`` [L], ``mass`` [kg], ``temperature`` [°C], ``mass concentration`` [g/L],
        ``alcohol`` [% vol], ``time`` [h], ``pressure`` [bar], ``length`` [cm], ``gravity`` (scale
        in `unit`) or ``number``.
    unit : str
        Name of the unit as typed (the first one of a compound).
    assumed : str
        An assumption the maker should know of (``gallon read as US gallon``), else empty.
    """

    value: float
    dimension: str
    unit: str
    assumed: str = ""


def parse_quantity(text: object, field: str) -> Quantity:
    """Read one quantity as people type it.

    Parameters
    ----------
    text : object
        ``"15 lb 4 oz"``, ``"5 US gal"``, ``"1.095"``, ``"24 Bx"``, ``"1 1/2 lb"``, ``19``.
    field : str
        Named in the error.

    Raises
    ------
    InputError
        If it is not a finite quantity in known units.

    Examples
    --------
    >>> parse_quantity("15 lb 4 oz", "amount").value
    6.91728...
    >>> parse_quantity("5 US gal", "must.volume")
    Quantity(value=18.92705892, dimension='volume', unit='US gal', assumed='')
    """
    requirement = say("needs a quantity such as '19 L', '15 lb 4 oz', '24 Bx' or '20 C'")
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise InputError(field, requirement, text)
    rest = str(text).replace("\u2212", "-").replace("\u00a0", " ").strip()
    if not rest or len(rest) > 80:
        raise InputError(field, requirement, text)
    parts: list[tuple[float, Unit | None, str]] = []
    while rest:
        number, rest = _take_number(rest, field, requirement, text)
        word, rest = _take_unit(rest)
        unit, assumed = _unit_named(word, field)
        parts.append((number, unit, assumed))
    return _combine(parts, field, requirement, text)


def _take_number(rest: str, field: str, requirement: str, text: object) -> tuple[float, str]:
    fraction = _FRACTION.match(rest)
    if fraction and int(fraction[3]):
        return int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3]), rest[fraction.end() :]
    number = _NUMBER.match(rest)
    if not number:
        raise InputError(field, requirement, text)
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", number[1]) and not _comma_is_decimal():
        needs = say("needs digits without a thousands comma (1500 or 1.5)")
        raise InputError(field, needs, text)
    value = float(number[1].replace(",", "."))
    if not math.isfinite(value):
        raise InputError(field, requirement, text)
    return value, rest[number.end() :]


def _take_unit(rest: str) -> tuple[str, str]:
    word = _UNIT_WORD.match(rest)
    if not word:
        return "", rest
    return word[0], rest[word.end() :]


def _unit_named(word: str, field: str) -> tuple[Unit | None, str]:
    spelling = " ".join(word.lower().replace(" and", " ").strip(" ,").split())
    if not spelling:
        return None, ""
    if spelling in _BARE_GALLON:
        return _BY_SPELLING["us gal"], _gallon_read(field, spelling)
    if spelling in _BY_SPELLING:
        return _BY_SPELLING[spelling], ""
    if spelling.rstrip(".") in _BY_SPELLING:
        return _BY_SPELLING[spelling.rstrip(".")], ""
    needs = say(
        "needs a unit this tool knows (L, mL, US gal, imp gal, kg, g, lb, oz, C, F, SG, Brix, "
        "Plato, Baume, Oechsle, KMW, g/L, mg/L, % vol, h, d, bar, psi, cm)"
    )
    raise InputError(field, needs, word.strip())


def _gallon_read(field: str, spelling: str) -> Text:
    return say("{field}: '{word}' read as US gallon (3.785 L)", field=field, word=spelling)


def _combine(
    parts: list[tuple[float, Unit | None, str]], field: str, requirement: str, text: object
) -> Quantity:
    first_value, first_unit, assumed = parts[0]
    if first_unit is None:
        if len(parts) > 1:
            raise InputError(field, requirement, text)
        return Quantity(first_value, "number", "", assumed)
    if len(parts) == 1:
        value = first_value * first_unit.factor + first_unit.offset
        return Quantity(value, first_unit.dimension, first_unit.name, assumed)
    value = 0.0
    for number, unit, also in parts:
        same = unit is not None and unit.dimension == first_unit.dimension
        if not same or first_unit.dimension not in ("mass", "volume", "time") or number < 0:
            raise InputError(field, requirement, text)
        assert unit is not None
        value += number * unit.factor
        assumed = assumed or also
    return Quantity(value, first_unit.dimension, first_unit.name, assumed)


def in_unit(value: float, unit_name: str, field: str = "unit") -> float:
    """A value in base units, shown in another unit of the same dimension.

    Examples
    --------
    >>> round(in_unit(19.0, "US gal"), 4)
    5.0193
    """
    unit = unit_called(unit_name, field)
    return (value - unit.offset) / unit.factor


def unit_called(name: str, field: str) -> Unit:
    """The unit of any known spelling; a bare gallon is the US one."""
    unit, _ = _unit_named(name, field)
    if unit is None:
        raise InputError(field, say("needs the name of a unit such as 'US gal' or 'Brix'"), name)
    return unit


def volume_l(text: object, field: str) -> tuple[float, str]:
    """A volume above zero [L] and what was assumed in reading it; a bare number is litres."""
    needs = say("needs a volume above zero such as '19 L' or '5 US gal'")
    return _positive(text, field, "volume", needs, "L")


def mass_kg(text: object, field: str) -> tuple[float, str]:
    """A mass above zero [kg] and what was assumed in reading it; a bare number is refused."""
    needs = say("needs a mass above zero such as '6.5 kg' or '15 lb 4 oz'")
    return _positive(text, field, "mass", needs, "")


def _positive(
    text: object, field: str, dimension: str, requirement: str, bare_unit: str
) -> tuple[float, str]:
    quantity = parse_quantity(text, field)
    assumed = quantity.assumed
    if quantity.dimension == "number" and bare_unit:
        assumed = say("{field}: no unit given, read as {unit}", field=field, unit=bare_unit)
    elif quantity.dimension != dimension:
        raise InputError(field, requirement, text)
    if not quantity.value > 0:
        raise InputError(field, requirement, text)
    return quantity.value, assumed


def temperature_c(text: object, field: str) -> tuple[float, str]:
    """A temperature [°C] between -10 and 120 and what was assumed; a bare number is °C."""
    requirement = say("needs a temperature from -10 to 120 C such as '20 C' or '68 F'")
    quantity = parse_quantity(text, field)
    assumed = quantity.assumed
    if quantity.dimension == "number":
        assumed = say("{field}: no unit given, read as degrees Celsius", field=field)
    elif quantity.dimension != "temperature":
        raise InputError(field, requirement, text)
    if not -10 <= quantity.value <= 120:
        raise InputError(field, requirement, text)
    return quantity.value, assumed
