"""What the maker wrote: a must sheet read field by field, into the things the core works with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from mustwright.errors import InputError
from mustwright.kinetics.conditions import AERATIONS, Aeration
from mustwright.must.blend import PRIMARY, Portion
from mustwright.must.gravity import gravity_from_brix
from mustwright.nutrition.limits import LegalProfile, legal_profile
from mustwright.nutrition.shelf import Shelf, read_shelf
from mustwright.planning.ranking import DEFAULT_AIM, Aim, aim_called
from mustwright.planning.sheet_gravity import gravity_typed, question_heavy
from mustwright.planning.sheet_ingredients import read_ingredients
from mustwright.planning.sheet_temperature import Warmth, read_warmth
from mustwright.planning.sheet_values import mapping, number_within
from mustwright.planning.sheet_wishes import aim_of, follows_author, labels_advise
from mustwright.texts import join, say
from mustwright.toml_text import toml_table
from mustwright.units import parse_quantity, temperature_c, volume_l
from mustwright.yeast.pitch import Strain, strain_called

DEFAULT_TEMPERATURE_C = 20.0
DEFAULT_STRAIN = "low_demand_neutral"
DEFAULT_PROFILE = "home"
# What the sheet says of feeds outside its plan; None leaves it to the kind of must.
FEEDINGS = {"as planned": None, "unknown": False}
TABLES: dict[str, tuple[str, ...]] = {
    "must": (
        "name",
        "volume",
        "gravity",
        "brix",
        "alcohol",
        "finish",
        "temperature",
        "temperature_steps",
        "ingredient",
        "ph",
        "aeration",
        "feeding",
    ),
    "yeast": ("kind", "amount", "name", "rehydrated", "price_per_kg", "aeration"),
    "vessel": ("material", "room", "cool_above", "cooling_w"),
    "goal": ("aim", "protocols"),
    "legal": ("profile", "labels"),
    "measured": ("gravity", "brix", "yan_mg_l", "ph"),
}


@dataclass(frozen=True)
class MustTarget:
    """What the must or the mead is to reach, as the sheet says.

    Parameters
    ----------
    volume_l, brix, alcohol_pct, finish_gravity : float or None
        None where the sheet leaves it open; a finish of None with an alcohol means dry.
    """

    volume_l: float | None
    brix: float | None
    alcohol_pct: float | None
    finish_gravity: float | None


@dataclass(frozen=True)
class Measured:
    """What was measured on the real must."""

    brix: float | None = None
    yan_mg_l: float | None = None
    ph: float | None = None


@dataclass(frozen=True)
class Sheet:
    """A must sheet, read.

    Parameters
    ----------
    portions : tuple of Portion
        Kilograms count only where the amount was typed.
    parts : tuple of float
        For each portion its part among those to solve.
    assumptions : tuple of str
        What was taken for granted in reading.
    yeast_price_per_kg : float or None
        In the maker's money.
    aeration : str
        Air the yeast gets, one of `kinetics.conditions.AERATIONS`.
    feeding_known : bool or None
        False where the sheet says that what was fed was not written down.
    labels_advise : bool
        Whether the maxima of typed labels only advise.
    aim : Aim
        What the maker wants most.
    follow_author : bool
        Whether protocols are followed as written, the law apart.
    """

    name: str
    target: MustTarget
    portions: tuple[Portion, ...]
    parts: tuple[float, ...]
    warmth: Warmth
    strain: Strain
    strain_typed: bool
    yeast_g: float | None
    rehydrated: bool
    shelf: Shelf
    profile: LegalProfile
    measured: Measured
    assumptions: tuple[str, ...]
    yeast_price_per_kg: float | None = None
    aeration: Aeration = "unknown"
    feeding_known: bool | None = None
    labels_advise: bool = False
    aim: Aim = field(default_factory=lambda: aim_called(DEFAULT_AIM))
    follow_author: bool = False

    @property
    def temperature_c(self) -> float:
        """Of the must at pitch [°C]."""
        return self.warmth.start_c


def read_sheet(text: str, name: str = "must") -> Sheet:
    """A sheet from its TOML text.

    Raises
    ------
    InputError, UnknownKindError
        Naming the first field that cannot be used.

    Examples
    --------
    >>> sheet = read_sheet('[must]\\nvolume = "19 L"\\n[measured]\\ngravity = "1.100"')
    >>> round(sheet.measured.brix, 2)
    23.77
    """
    return sheet_from(toml_table(text, "sheet"), name)


def sheet_from(content: Mapping[str, Any], name: str = "must") -> Sheet:
    """A sheet from parsed data."""
    _refuse_unknown(content)
    assumptions: list[str] = []
    must = _table(content, "must")
    measured = _measured(_table(content, "measured"), must)
    portions, parts = read_ingredients(must.get("ingredient"), assumptions)
    target = _target(must, assumptions)
    temperature = _temperature(must, assumptions)
    warmth = read_warmth(must, _table(content, "vessel"), temperature, assumptions)
    yeast = _table(content, "yeast")
    strain, yeast_g = _yeast(yeast, assumptions)
    legal = _table(content, "legal")
    if "profile" not in legal:
        assumptions.append(
            join(
                ": ",
                ("legal.profile", say("not given, '{profile}' assumed", profile=DEFAULT_PROFILE)),
            )
        )
    shelf = read_shelf(_table(content, "shelf"))
    assumptions.extend(shelf.assumed)
    if not portions and measured.brix is None and target.brix is not None:
        assumptions.append(
            join(": ", ("must.gravity", say("no ingredient given, so it is taken as measured")))
        )
        measured = replace(measured, brix=target.brix)
    if not any(p.stage == PRIMARY for p in portions) and measured.brix is None:
        raise InputError(
            "must.ingredient",
            say(
                "needs [[must.ingredient]] tables that go in before pitching, or a "
                "[measured] gravity or brix"
            ),
            "neither",
        )
    return Sheet(
        str(must.get("name") or content.get("name") or name),
        target,
        portions,
        parts,
        warmth,
        strain,
        "kind" in yeast,
        yeast_g,
        _rehydrated(yeast),
        shelf,
        legal_profile(legal.get("profile", DEFAULT_PROFILE)),
        measured,
        tuple(note for note in assumptions if note),
        number_within(
            yeast.get("price_per_kg"), "yeast.price_per_kg", 0, 1e6, say("a price of a kilogram")
        ),
        _aeration(must, yeast),
        _feeding_known(must),
        labels_advise(legal),
        aim_of(_table(content, "goal")),
        follows_author(_table(content, "goal")),
    )


def _aeration(must: Mapping[str, Any], yeast: Mapping[str, Any]) -> Aeration:
    field = "must.aeration" if "aeration" in must else "yeast.aeration"
    value = must.get("aeration", yeast.get("aeration", "unknown"))
    for known in AERATIONS:
        if value == known:
            return known
    raise InputError(field, say("needs one of {known}", known=", ".join(AERATIONS)), value)


def _feeding_known(must: Mapping[str, Any]) -> bool | None:
    value = must.get("feeding", "as planned")
    if value not in FEEDINGS:
        raise InputError(
            "must.feeding", say("needs one of {known}", known=", ".join(FEEDINGS)), value
        )
    return FEEDINGS[value]


def _refuse_unknown(content: Mapping[str, Any]) -> None:
    """A misspelt table or key is an error: silence would lose what the maker meant."""
    for key, value in content.items():
        if key in ("name", "shelf", "notes"):
            continue
        if key not in TABLES:
            known = ", ".join([*TABLES, "shelf", "name", "notes"])
            raise InputError(
                key, say("is no table of a must sheet; known: {known}", known=known), key
            )
        for inner in mapping(value, key):
            if inner not in TABLES[key]:
                known = ", ".join(TABLES[key])
                raise InputError(
                    f"{key}.{inner}", say("is not known; known: {known}", known=known), value[inner]
                )


def _table(content: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    return mapping(content.get(name, {}), name)


def _target(must: Mapping[str, Any], assumptions: list[str]) -> MustTarget:
    given = [key for key in ("gravity", "brix", "alcohol") if key in must]
    if len(given) > 1:
        raise InputError(
            f"must.{given[1]}",
            say("needs to stand alone: give gravity, brix or alcohol"),
            " and ".join(given),
        )
    volume = None
    if "volume" in must and must["volume"] != "solve":
        volume, note = volume_l(must["volume"], "must.volume")
        assumptions.append(note)
        if not 0.01 <= volume <= 1e6:
            raise InputError(
                "must.volume", say("needs a volume of 0.01 to 1000000 L"), must["volume"]
            )
    brix = None
    if "gravity" in must:
        brix = gravity_typed(must["gravity"], "must.gravity")
    elif "brix" in must:
        brix = gravity_typed(must["brix"], "must.brix", bare="Brix")
    if brix is not None and brix < 0:
        raise InputError("must.gravity", say("needs a gravity of 1.000 or more"), must[given[0]])
    if brix is not None:
        question_heavy(brix, f"must.{given[0]}", must[given[0]])
    alcohol, finish = _alcohol(must)
    return MustTarget(volume, brix, alcohol, finish)


def _alcohol(must: Mapping[str, Any]) -> tuple[float | None, float | None]:
    if "alcohol" not in must:
        if "finish" in must:
            raise InputError("must.finish", say("goes only with must.alcohol"), must["finish"])
        return None, None
    quantity = parse_quantity(must["alcohol"], "must.alcohol")
    if quantity.dimension not in ("alcohol", "number") or not 0.3 <= quantity.value <= 22:
        raise InputError(
            "must.alcohol", say("needs a strength from 0.3 to 22 % such as '12 %'"), must["alcohol"]
        )
    finish = must.get("finish", "dry")
    if isinstance(finish, str) and finish.strip().lower() == "dry":
        return quantity.value, None
    return quantity.value, float(gravity_from_brix(gravity_typed(finish, "must.finish")))


def _temperature(must: Mapping[str, Any], assumptions: list[str]) -> float:
    if "temperature" not in must:
        assumptions.append(
            join(
                ": ",
                (
                    "must.temperature",
                    say("not given, {celsius:g} C assumed", celsius=DEFAULT_TEMPERATURE_C),
                ),
            )
        )
        return DEFAULT_TEMPERATURE_C
    value, note = temperature_c(must["temperature"], "must.temperature")
    assumptions.append(note)
    if not 0 <= value <= 45:
        raise InputError(
            "must.temperature",
            say("needs a ferment temperature from 0 to 45 C"),
            must["temperature"],
        )
    return value


def _yeast(yeast: Mapping[str, Any], assumptions: list[str]) -> tuple[Strain, float | None]:
    if "kind" not in yeast:
        assumptions.append(
            join(": ", ("yeast.kind", say("not given, a low-demand neutral strain assumed")))
        )
    strain = strain_called(yeast.get("kind", DEFAULT_STRAIN))
    amount = yeast.get("amount")
    if amount is None or amount == "solve":
        return strain, None
    quantity = parse_quantity(amount, "yeast.amount")
    grams = quantity.value if quantity.dimension == "number" else quantity.value * 1000
    if quantity.dimension not in ("mass", "number") or not 0 < grams <= 1e6:
        raise InputError("yeast.amount", say("needs a mass of dry yeast such as '5 g'"), amount)
    if quantity.dimension == "number":
        assumptions.append(join(": ", ("yeast.amount", say("no unit given, read as grams"))))
    return strain, grams


def _rehydrated(yeast: Mapping[str, Any]) -> bool:
    value = yeast.get("rehydrated", True)
    if not isinstance(value, bool):
        raise InputError("yeast.rehydrated", say("needs true or false"), value)
    return value


def _measured(measured: Mapping[str, Any], must: Mapping[str, Any]) -> Measured:
    if "gravity" in measured and "brix" in measured:
        raise InputError("measured.brix", say("needs to stand alone: give gravity or brix"), "both")
    brix = None
    if "gravity" in measured:
        brix = gravity_typed(measured["gravity"], "measured.gravity")
    elif "brix" in measured:
        brix = gravity_typed(measured["brix"], "measured.brix", bare="Brix")
    if brix is not None and brix < -0.13:  # half a hydrometer mark of 0.001 below water
        typed = "gravity" if "gravity" in measured else "brix"
        raise InputError(
            f"measured.{typed}",
            say("needs the gravity before fermentation, 1.000 or more"),
            measured[typed],
        )
    if brix is not None:
        typed = "gravity" if "gravity" in measured else "brix"
        question_heavy(brix, f"measured.{typed}", measured[typed])
    ph = measured.get("ph", must.get("ph"))
    return Measured(
        brix,
        number_within(measured.get("yan_mg_l"), "measured.yan_mg_l", 0, 2000, "mg N/L"),
        number_within(ph, "measured.ph", 2.0, 8.0, "pH"),
    )
