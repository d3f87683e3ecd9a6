"""How warm it will be: the temperature of the must by steps, or the vessel in its room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from mustwright.errors import InputError
from mustwright.kinetics.conditions import HEAT_PASSAGE_W_M2_K
from mustwright.texts import say
from mustwright.units import parse_quantity, temperature_c

MATERIALS = tuple(HEAT_PASSAGE_W_M2_K)
MOST_STEPS = 40
Steps = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Warmth:
    """What decides the temperature of the must.

    Parameters
    ----------
    start_c : float
        At pitch [°C].
    steps : tuple of (h, °C)
        Temperatures the must is held at, straight lines between; empty for one temperature.
    material : str
        Of the vessel; empty when the must is held at its temperature.
    room_c : float
        Of the room the vessel stands in [°C].
    cool_above_c, cooling_w : float
        A cooler that starts above this and takes at most this [W].
    """

    start_c: float
    steps: Steps = ()
    material: str = ""
    room_c: float = 20.0
    cool_above_c: float = 1000.0
    cooling_w: float = 0.0


def read_warmth(
    must: Mapping[str, Any], vessel: Mapping[str, Any], start_c: float, assumptions: list[str]
) -> Warmth:
    """The warmth of a sheet: ``must.temperature_steps`` or a ``[vessel]`` table, not both.

    Raises
    ------
    InputError
        Naming the field.
    """
    steps = _steps(must.get("temperature_steps"))
    if not vessel:
        return Warmth(start_c, steps)
    if steps:
        raise InputError("must.temperature_steps", say("needs no [vessel] beside it"), "both")
    material = str(vessel.get("material", "plastic")).strip().lower()
    if material not in MATERIALS:
        raise InputError(
            "vessel.material",
            say("needs one of {known}", known=", ".join(MATERIALS)),
            vessel["material"],
        )
    if "room" not in vessel:
        raise InputError(
            "vessel.room", say("needs the temperature of the room such as '18 C'"), "none"
        )
    room, note = temperature_c(vessel["room"], "vessel.room")
    assumptions.append(note)
    if not -5 <= room <= 45:
        raise InputError("vessel.room", say("needs a room from -5 to 45 C"), vessel["room"])
    above, watts = _cooler(vessel, assumptions)
    return Warmth(start_c, (), material, room, above, watts)


def _steps(content: object) -> Steps:
    where = "must.temperature_steps"
    if content is None:
        return ()
    requirement = say('needs pairs of a time and a temperature such as [["0 h", "20 C"], ...]')
    rows = content if isinstance(content, Sequence) and not isinstance(content, str) else ()
    if not 1 <= len(rows) <= MOST_STEPS:
        raise InputError(where, requirement, content)
    found: list[tuple[float, float]] = []
    for row in rows:
        if not isinstance(row, Sequence) or isinstance(row, str) or len(row) != 2:
            raise InputError(where, requirement, row)
        time = parse_quantity(row[0], where)
        if time.dimension not in ("time", "number") or not 0 <= time.value <= 4000:
            raise InputError(where, say("needs times from 0 to 4000 h"), row[0])
        warm, _ = temperature_c(row[1], where)
        if not 0 <= warm <= 45:
            raise InputError(where, say("needs temperatures from 0 to 45 C"), row[1])
        if found and time.value <= found[-1][0]:
            raise InputError(where, say("needs times in rising order"), row[0])
        found.append((time.value, warm))
    return tuple(found)


def _cooler(vessel: Mapping[str, Any], assumptions: list[str]) -> tuple[float, float]:
    if ("cool_above" in vessel) != ("cooling_w" in vessel):
        raise InputError(
            "vessel.cool_above",
            say("needs cooling_w beside it, and the other way round"),
            say("one of the two"),
        )
    if "cool_above" not in vessel:
        return 1000.0, 0.0
    above, note = temperature_c(vessel["cool_above"], "vessel.cool_above")
    assumptions.append(note)
    watts = vessel["cooling_w"]
    good = isinstance(watts, int | float) and not isinstance(watts, bool) and 0 < watts <= 1e6
    if not good:
        raise InputError("vessel.cooling_w", say("needs watts above 0 up to 1000000"), watts)
    return above, float(watts)
