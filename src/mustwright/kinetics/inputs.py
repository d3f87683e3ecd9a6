"""What the forecast must know: the must at pitch, the feeds, the surroundings, the readings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from mustwright.errors import ImpossibleError, InputError
from mustwright.must.gravity import (
    gravity_from_brix,
    gravity_from_composition,
    sugar_g_l_from_brix,
)

Medium = Literal["honey", "grape_with_skins", "clear_juice"]
NitrogenClass = Literal["low", "medium", "high"]
Profile = tuple[tuple[float, float], ...]

# Share of the extract that yeast can ferment: typical, low, high (5 % and 95 %). Honey: brief of the
# project (assumed); grape: solids of must 15 to 30 g/L (from memory), refined by the calibration.
FERMENTABLE = {
    "honey": (0.95, 0.88, 0.98),
    "grape_with_skins": (0.93, 0.89, 0.965),
    "clear_juice": (0.95, 0.90, 0.98),
}
FRUCTOSE_SHARE = {"honey": 1.2 / 2.2, "grape_with_skins": 0.5, "clear_juice": 0.5}


@dataclass(frozen=True)
class MustAtPitch:
    """The must when the yeast goes in.

    Parameters
    ----------
    volume_l : float
        0.05 to 100 000 [L].
    glucose_g_l, fructose_g_l : float
        Fermentable sugars (sucrose counts half to each), 0 to 450 in all [g/L].
    solids_g_l : float
        Other dissolved matter, 0 to 150 [g/L].
    ammonium_n_mg_l, amino_n_mg_l : float
        Assimilable nitrogen in the must, without proline, 0 to 1500 each [mg N/L].
    ammonium_n_range_mg_l, amino_n_range_mg_l : tuple of float or None
        About a 90 % range of each [mg N/L]; None where only the method's error is meant.
    ph : float
        2.3 to 6 [-].
    medium : {"honey", "grape_with_skins", "clear_juice"}
        Which population of fermentations it belongs to.
    fermentable_range : tuple of float or None
        5 % and 95 % of the fermentable share of the extract [-]; None takes the medium's.
    ethanol_g_l : float
        Alcohol already there, 0 to 160 [g/L].
    """

    volume_l: float
    glucose_g_l: float
    fructose_g_l: float
    solids_g_l: float = 0.0
    ammonium_n_mg_l: float = 0.0
    amino_n_mg_l: float = 0.0
    ammonium_n_range_mg_l: tuple[float, float] | None = None
    amino_n_range_mg_l: tuple[float, float] | None = None
    ph: float = 3.6
    medium: Medium = "honey"
    fermentable_range: tuple[float, float] | None = None
    ethanol_g_l: float = 0.0

    def __post_init__(self) -> None:
        _within("must.volume_l", self.volume_l, 0.05, 100_000, "L")
        _within("must.glucose_g_l", self.glucose_g_l, 0, 450, "g/L")
        _within("must.fructose_g_l", self.fructose_g_l, 0, 450, "g/L")
        _within("must.solids_g_l", self.solids_g_l, 0, 150, "g/L")
        _within("must.ammonium_n_mg_l", self.ammonium_n_mg_l, 0, 1500, "mg N/L")
        _within("must.amino_n_mg_l", self.amino_n_mg_l, 0, 1500, "mg N/L")
        _within("must.ph", self.ph, 2.3, 6, "")
        _within("must.ethanol_g_l", self.ethanol_g_l, 0, 160, "g/L")
        if self.glucose_g_l + self.fructose_g_l > 450:
            raise ImpossibleError(
                "must.glucose_g_l", "sugars of 450 g/L at most in all", self.sugar_g_l
            )
        if self.medium not in FERMENTABLE:
            raise InputError("must.medium", "one of " + ", ".join(FERMENTABLE), self.medium)
        for name in ("ammonium_n_range_mg_l", "amino_n_range_mg_l"):
            _ordered(f"must.{name}", getattr(self, name), 0, 2000)
        _ordered("must.fermentable_range", self.fermentable_range, 0.3, 1.0)

    @property
    def sugar_g_l(self) -> float:
        """Glucose and fructose [g/L]."""
        return self.glucose_g_l + self.fructose_g_l

    @property
    def extract_g_l(self) -> float:
        """All dissolved matter but ethanol [g/L]."""
        return self.sugar_g_l + self.solids_g_l

    @property
    def gravity(self) -> float:
        """Apparent gravity 20/20 [-]."""
        return float(gravity_from_composition(self.extract_g_l, self.ethanol_g_l))

    @classmethod
    def from_brix(
        cls,
        brix: float,
        volume_l: float,
        *,
        ammonium_n_mg_l: float = 0.0,
        amino_n_mg_l: float = 0.0,
        ph: float = 3.6,
        medium: Medium = "honey",
        ammonium_n_range_mg_l: tuple[float, float] | None = None,
        amino_n_range_mg_l: tuple[float, float] | None = None,
        fermentable_range: tuple[float, float] | None = None,
        fructose_share: float | None = None,
    ) -> MustAtPitch:
        """A must known by its Brix; the medium gives fermentable share and sugar kinds.

        Examples
        --------
        >>> must = MustAtPitch.from_brix(23.77, 19.0, amino_n_mg_l=30.0)
        >>> round(must.gravity, 3), round(must.sugar_g_l)
        (1.1, 248)
        """
        _within("must.brix", brix, 0, 42, "Brix")
        if medium not in FERMENTABLE:
            raise InputError("must.medium", "one of " + ", ".join(FERMENTABLE), medium)
        extract = float(sugar_g_l_from_brix(brix))
        share = FERMENTABLE[medium][0]
        if fermentable_range is not None:
            share = (fermentable_range[0] + fermentable_range[1]) / 2
        fructose = FRUCTOSE_SHARE[medium] if fructose_share is None else fructose_share
        return cls(
            volume_l,
            extract * share * (1 - fructose),
            extract * share * fructose,
            extract * (1 - share),
            ammonium_n_mg_l,
            amino_n_mg_l,
            ammonium_n_range_mg_l,
            amino_n_range_mg_l,
            ph,
            medium,
            fermentable_range,
        )

    @classmethod
    def from_gravity(
        cls,
        gravity: float,
        volume_l: float,
        *,
        ammonium_n_mg_l: float = 0.0,
        amino_n_mg_l: float = 0.0,
        ph: float = 3.6,
        medium: Medium = "honey",
        ammonium_n_range_mg_l: tuple[float, float] | None = None,
        amino_n_range_mg_l: tuple[float, float] | None = None,
        fermentable_range: tuple[float, float] | None = None,
        fructose_share: float | None = None,
    ) -> MustAtPitch:
        """A must known by its gravity; see `from_brix`."""
        from mustwright.must.gravity import brix_from_gravity

        _within("must.gravity", gravity, 1.0, 1.19, "")
        return cls.from_brix(
            max(float(brix_from_gravity(gravity)), 0.0),
            volume_l,
            ammonium_n_mg_l=ammonium_n_mg_l,
            amino_n_mg_l=amino_n_mg_l,
            ph=ph,
            medium=medium,
            ammonium_n_range_mg_l=ammonium_n_range_mg_l,
            amino_n_range_mg_l=amino_n_range_mg_l,
            fermentable_range=fermentable_range,
            fructose_share=fructose_share,
        )


@dataclass(frozen=True)
class Trigger:
    """When a feed is due: the first of the named conditions that comes true.

    Every condition is looked at once each half hour of each member. At least one must be given.

    Parameters
    ----------
    at_h : float or None
        Hours after pitch.
    gravity_below : float or None
        Apparent gravity at or below this [-].
    gravity_drop : float or None
        Gravity has fallen by this since pitch [-].
    sugar_left_fraction : float or None
        Fermentable sugar left, of that at pitch (one third used: 2/3) [-].
    end_of_lag : bool
        Readiness of the cells has passed 0.9.
    not_before_h : float
        Whatever the conditions say, not before this [h].
    skip_below_sugar_fraction : float
        When due with less sugar left than this share, the feed is left out [-].
    """

    at_h: float | None = None
    gravity_below: float | None = None
    gravity_drop: float | None = None
    sugar_left_fraction: float | None = None
    end_of_lag: bool = False
    not_before_h: float = 0.0
    skip_below_sugar_fraction: float = 0.0

    def __post_init__(self) -> None:
        given = (self.at_h, self.gravity_below, self.gravity_drop, self.sugar_left_fraction)
        if not self.end_of_lag and all(value is None for value in given):
            raise InputError("feed.trigger", "at least one condition", "none")
        if self.at_h is not None:
            _within("feed.trigger.at_h", self.at_h, 0, 10_000, "h")
        if self.gravity_below is not None:
            _within("feed.trigger.gravity_below", self.gravity_below, 0.97, 1.2, "")
        if self.gravity_drop is not None:
            _within("feed.trigger.gravity_drop", self.gravity_drop, 0.0, 0.2, "")
        if self.sugar_left_fraction is not None:
            _within("feed.trigger.sugar_left_fraction", self.sugar_left_fraction, 0, 1, "")
        _within("feed.trigger.not_before_h", self.not_before_h, 0, 10_000, "h")
        _within(
            "feed.trigger.skip_below_sugar_fraction", self.skip_below_sugar_fraction, 0, 1, ""
        )


@dataclass(frozen=True)
class Feed:
    """One addition of nitrogen, per litre of must, 0 to 1000 of each kind [mg N/L]."""

    trigger: Trigger
    ammonium_n_mg_l: float = 0.0
    amino_n_mg_l: float = 0.0

    def __post_init__(self) -> None:
        _within("feed.ammonium_n_mg_l", self.ammonium_n_mg_l, 0, 1000, "mg N/L")
        _within("feed.amino_n_mg_l", self.amino_n_mg_l, 0, 1000, "mg N/L")


@dataclass(frozen=True)
class Strain:
    """A generic kind of yeast.

    Parameters
    ----------
    alcohol_tolerance_pct_vol : float
        Stated alcohol tolerance, 4 to 22 [% vol].
    nitrogen_class : {"low", "medium", "high"}
        Need of nitrogen: cells per nitrogen scaled as 0.75, 0.9 and 1.25 mg N per g sugar are
        (common practice, no source); medium is the calibrated one.
    """

    alcohol_tolerance_pct_vol: float = 16.0
    nitrogen_class: NitrogenClass = "medium"

    def __post_init__(self) -> None:
        _within("strain.alcohol_tolerance_pct_vol", self.alcohol_tolerance_pct_vol, 4, 22, "% vol")
        if self.nitrogen_class not in ("low", "medium", "high"):
            raise InputError("strain.nitrogen_class", "low, medium or high", self.nitrogen_class)


@dataclass(frozen=True)
class Vessel:
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
        _within("vessel.volume_l", self.volume_l, 0.05, 100_000, "L")
        _within("vessel.start_c", self.start_c, 0, 40, "°C")
        _within("vessel.cooling_w", self.cooling_w, 0, 1e6, "W")
        if self.material not in HEAT_PASSAGE_W_M2_K:
            raise InputError(
                "vessel.material", "one of " + ", ".join(HEAT_PASSAGE_W_M2_K), self.material
            )
        _profile("vessel.room_c", self.room_c)


# Heat passage from must to still room air [W/m2 K], from memory: the air film (about 8) rules.
HEAT_PASSAGE_W_M2_K = {"glass": 7.0, "plastic": 6.0, "steel": 8.0, "wood": 3.5, "insulated": 1.0}


@dataclass(frozen=True)
class Conditions:
    """Yeast, pitch and warmth of one fermentation.

    Parameters
    ----------
    temperature_c : float or tuple of (h, °C) points
        Temperature of the must, 0 to 45; straight lines between the points. Not used with a vessel.
    vessel : Vessel or None
        Then the temperature follows from a heat balance.
    strain : Strain
    pitch_g_l : float
        Dry yeast, 0.01 to 10 [g/L].
    rehydrated : bool
        Rehydrated as the label says, else strewn dry.
    horizon_h : float
        How far to look, 24 to 4000 [h].
    measured_c : tuple of (h, °C) points
        Temperature read so far; taken as known, in place of the plan, as long as it lasts.
    reading_sd_gravity : float
        Standard error of one gravity reading, 0 to 0.01 [-]; the bands of gravity and Brix are of
        what would be read.
    """

    temperature_c: float | Profile = 20.0
    vessel: Vessel | None = None
    strain: Strain = field(default_factory=Strain)
    pitch_g_l: float = 0.25
    rehydrated: bool = True
    horizon_h: float = 1008.0
    measured_c: Profile = ()
    reading_sd_gravity: float = 0.001

    def __post_init__(self) -> None:
        _profile("conditions.temperature_c", self.temperature_c)
        if self.measured_c:
            _profile("conditions.measured_c", self.measured_c)
        _within("conditions.pitch_g_l", self.pitch_g_l, 0.01, 10, "g/L")
        _within("conditions.horizon_h", self.horizon_h, 24, 4000, "h")
        _within("conditions.reading_sd_gravity", self.reading_sd_gravity, 0, 0.01, "")


@dataclass(frozen=True)
class Reading:
    """What was read from the real must.

    Parameters
    ----------
    t_h : float
        Hours after pitch, 0 to 4000 [h].
    gravity : float or None
        Apparent gravity at 20 °C, corrected for the instrument [-].
    brix : float or None
        What a hydrometer marked in Brix shows (alcohol not corrected) [Brix].
    temperature_c : float or None
        Of the must; taken as known [°C].
    ph : float or None
        Kept for the record; the model does not learn from it.
    sd_gravity : float or None
        Standard error of this reading [-]; None takes the conditions'.
    """

    t_h: float
    gravity: float | None = None
    brix: float | None = None
    temperature_c: float | None = None
    ph: float | None = None
    sd_gravity: float | None = None

    def __post_init__(self) -> None:
        _within("reading.t_h", self.t_h, 0, 4000, "h")
        if self.gravity is not None:
            _within("reading.gravity", self.gravity, 0.96, 1.25, "")
        if self.brix is not None:
            _within("reading.brix", self.brix, -8, 50, "Brix")
        if self.temperature_c is not None:
            _within("reading.temperature_c", self.temperature_c, -5, 50, "°C")

    @property
    def as_gravity(self) -> float | None:
        """The reading on the gravity scale, whichever of the two was given."""
        if self.gravity is not None:
            return self.gravity
        return None if self.brix is None else float(gravity_from_brix(self.brix))


def profile_at(profile: float | Profile, times_h: np.ndarray) -> np.ndarray:
    """Value of a constant or of a piecewise straight profile at given times."""
    if isinstance(profile, tuple):
        at, value = zip(*profile, strict=True)
        return np.interp(times_h, at, value)
    return np.full(np.shape(times_h), float(profile))


def _within(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise InputError(name, f"{low:g} to {high:g} {unit}".rstrip(), value)


def _ordered(name: str, pair: tuple[float, float] | None, low: float, high: float) -> None:
    if pair is not None and not low <= pair[0] <= pair[1] <= high:
        raise InputError(name, f"low and high end, from {low:g} to {high:g}", pair)


def _profile(name: str, profile: float | Profile) -> None:
    points = profile if isinstance(profile, tuple) else ((0.0, profile),)
    if not points:
        raise InputError(name, "at least one point", profile)
    for _, value in points:
        _within(name, value, -5, 45, "°C")
    at = [time for time, _ in points]
    if any(later < earlier for earlier, later in zip(at, at[1:], strict=False)):
        raise InputError(name, "times in rising order", profile)
