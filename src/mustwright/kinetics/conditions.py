"""Where and with what the must ferments: yeast, pitch, warmth, vessel."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.kinetics.checks import within
from mustwright.texts import say

Floats = NDArray[np.float64]
NitrogenClass = Literal["low", "medium", "high"]
Aeration = Literal["unknown", "none", "once", "repeated", "stirred"]
AERATIONS: tuple[Aeration, ...] = ("unknown", "none", "once", "repeated", "stirred")
Profile = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class StrainTraits:
    """A generic kind of yeast.

    Parameters
    ----------
    alcohol_tolerance_pct_vol : float
        Stated alcohol tolerance, 4 to 22 [% vol].
    nitrogen_class : {"low", "medium", "high"}
        Need of nitrogen: cells per nitrogen scaled as 0.75, 0.9 and 1.25 mg N per g sugar are
        (common practice, no source); medium is the calibrated one.
    temperature_low_c, temperature_high_c : float
        Where this kind works well, by its label; low 0 to 25, high 15 to 40 [°C]. Below it the
        kind slows down, and a kind that bears warmth dies a little later in heat.
    """

    alcohol_tolerance_pct_vol: float = 16.0
    nitrogen_class: NitrogenClass = "medium"
    temperature_low_c: float = 13.0
    temperature_high_c: float = 28.0

    def __post_init__(self) -> None:
        within("strain.temperature_low_c", self.temperature_low_c, 0, 25, "°C")
        within("strain.temperature_high_c", self.temperature_high_c, 15, 40, "°C")
        within("strain.alcohol_tolerance_pct_vol", self.alcohol_tolerance_pct_vol, 4, 22, "% vol")
        if self.nitrogen_class not in ("low", "medium", "high"):
            raise InputError(
                "strain.nitrogen_class", say("low, medium or high"), self.nitrogen_class
            )


@dataclass(frozen=True)
class VesselInRoom:
    """A vessel in a room: the must warms itself and loses heat.

    Parameters
    ----------
    volume_l : float
        Must in it, 0.05 to 100 000 [L].
    material : {"glass", "plastic", "steel", "wood", "insulated"}
    room_c : float or tuple of (h, °C)
        Room temperature, -5 to 45.
    start_c : float
        Must at pitch, 0 to 40 [°C].
    cool_above_c, cooling_w : float
        A cooler starts above this [°C] and takes at most this [W].
    """

    volume_l: float
    material: str = "plastic"
    room_c: float | Profile = 20.0
    start_c: float = 20.0
    cool_above_c: float = 1000.0
    cooling_w: float = 0.0

    def __post_init__(self) -> None:
        within("vessel.volume_l", self.volume_l, 0.05, 100_000, "L")
        within("vessel.start_c", self.start_c, 0, 40, "°C")
        within("vessel.cooling_w", self.cooling_w, 0, 1e6, "W")
        if self.material not in HEAT_PASSAGE_W_M2_K:
            raise InputError(
                "vessel.material",
                say("one of {known}", known=", ".join(HEAT_PASSAGE_W_M2_K)),
                self.material,
            )
        check_profile("vessel.room_c", self.room_c)


# Heat passage from must to still room air [W/m2 K], from memory: the air film (about 8) rules.
HEAT_PASSAGE_W_M2_K = {"glass": 7.0, "plastic": 6.0, "steel": 8.0, "wood": 3.5, "insulated": 1.0}


@dataclass(frozen=True)
class Conditions:
    """Yeast, pitch and warmth of one fermentation.

    Parameters
    ----------
    temperature_c : float or tuple of (h, °C) points
        Temperature of the must, 0 to 45; straight lines between the points. Not used with a vessel.
    vessel : VesselInRoom or None
        Then the temperature follows from a heat balance.
    strain : StrainTraits
    pitch_g_l : float
        Dry yeast, 0.01 to 10 [g/L].
    rehydrated : bool
        Rehydrated as the label says, else strewn dry.
    rehydration_nutrient : bool
        With a nutrient that brings sterols (its nitrogen counts with the must's).
    aeration : {"unknown", "none", "once", "repeated", "stirred"}
        Air the yeast got: none but what pouring brings, once at pitch, repeatedly in the first two
        days, or a must stirred all along and aired at the start.
    horizon_h : float
        How far to look, 24 to 4000 [h].
    measured_c : tuple of (h, °C) points
        Temperature read so far; taken as known, in place of the plan, as long as it lasts.
    reading_sd_gravity : float
        Standard error of one gravity reading, 0 to 0.01 [-]; the bands of gravity and Brix are of
        what would be read.
    unmixed_sd_gravity : float or None
        Standard error of a sample of a must that gas does not mix yet, 0 to 0.02 [-]; it falls
        with `observe.UNMIXED_H`. 0 for a must known to be well mixed; None takes the medium's.
    """

    temperature_c: float | Profile = 20.0
    vessel: VesselInRoom | None = None
    strain: StrainTraits = field(default_factory=StrainTraits)
    pitch_g_l: float = 0.25
    rehydrated: bool = True
    horizon_h: float = 1008.0
    measured_c: Profile = ()
    reading_sd_gravity: float = 0.001
    rehydration_nutrient: bool = False
    aeration: Aeration = "unknown"
    unmixed_sd_gravity: float | None = None

    def __post_init__(self) -> None:
        check_profile("conditions.temperature_c", self.temperature_c)
        if self.measured_c:
            check_profile("conditions.measured_c", self.measured_c)
        within("conditions.pitch_g_l", self.pitch_g_l, 0.01, 10, "g/L")
        within("conditions.horizon_h", self.horizon_h, 24, 4000, "h")
        within("conditions.reading_sd_gravity", self.reading_sd_gravity, 0, 0.01, "")
        if self.unmixed_sd_gravity is not None:
            within("conditions.unmixed_sd_gravity", self.unmixed_sd_gravity, 0, 0.02, "")
        if self.aeration not in AERATIONS:
            raise InputError(
                "conditions.aeration",
                say("one of {known}", known=", ".join(AERATIONS)),
                self.aeration,
            )


def profile_at(profile: float | Profile, times_h: Floats) -> Floats:
    """Value of a constant or of a piecewise straight profile at given times."""
    if isinstance(profile, tuple):
        at, value = zip(*profile, strict=True)
        return np.asarray(np.interp(times_h, at, value))
    return np.full(np.shape(times_h), float(profile))


def check_profile(name: str, profile: float | Profile) -> None:
    """Raise unless every temperature is one a must can have and times rise."""
    points = profile if isinstance(profile, tuple) else ((0.0, profile),)
    if not points:
        raise InputError(name, say("at least one point"), profile)
    for _, value in points:
        within(name, value, -5, 45, "°C")
    at = [time for time, _ in points]
    if any(later < earlier for earlier, later in itertools.pairwise(at)):
        raise InputError(name, say("times in rising order"), profile)


def with_temperature(conditions: Conditions, temperature_c: float) -> Conditions:
    """The same conditions at another constant temperature of the must."""
    return replace(conditions, temperature_c=temperature_c, vessel=None)
