"""What the forecast must know: the must at pitch, the feeds, the surroundings, the readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from mustwright.errors import ImpossibleError, InputError
from mustwright.kinetics.checks import ordered, within
from mustwright.kinetics.conditions import Conditions, Profile, StrainTraits, VesselInRoom
from mustwright.kinetics.feeds import NitrogenPulse, PulseTrigger
from mustwright.must.gravity import (
    brix_from_gravity,
    gravity_from_brix,
    gravity_from_composition,
    sugar_g_l_from_brix,
)
from mustwright.texts import say

__all__ = [
    "Conditions",
    "Medium",
    "MustAtPitch",
    "MustReading",
    "NitrogenPulse",
    "Profile",
    "PulseTrigger",
    "StrainTraits",
    "VesselInRoom",
    "told_feeding",
]

Medium = Literal["honey", "grape_with_skins", "clear_juice", "unknown"]

# Share of the extract that yeast can ferment: typical, low, high (5 % and 95 %). Honey: 0.95, 0.88
# to 0.98 (assumed); grape: solids of must 15 to 30 g/L (from memory), refined by the calibration.
FERMENTABLE = {
    "honey": (0.95, 0.88, 0.98),
    "grape_with_skins": (0.93, 0.89, 0.965),
    "clear_juice": (0.95, 0.90, 0.98),
    "unknown": (0.95, 0.88, 0.98),
}
FRUCTOSE_SHARE = {"honey": 1.2 / 2.2, "grape_with_skins": 0.5, "clear_juice": 0.5, "unknown": 0.5}


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
    ph_range : tuple of float or None
        About a 90 % range of the pH [-]; None where it was measured (a meter's error counts).
    buffer_meq_l_ph, buffer_range_meq_l_ph : float or None, tuple of float or None
        Buffer capacity at that pH and about a 90 % range, 0.5 to 200 [meq/L per pH]; None takes
        the medium's.
    potassium_mg_l, potassium_range_mg_l : float or None, tuple of float or None
        0 to 10000 [mg/L]; None takes the medium's.
    feeding_known : bool or None
        Whether nothing was fed but what is told. False: it may have been, as cellars do. None:
        False only for a must of unknown kind that is forecast without a feed.
    medium : {"honey", "grape_with_skins", "clear_juice", "unknown"}
        Which population of fermentations it belongs to; unknown for a must that was only measured.
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
    ph_range: tuple[float, float] | None = None
    buffer_meq_l_ph: float | None = None
    buffer_range_meq_l_ph: tuple[float, float] | None = None
    potassium_mg_l: float | None = None
    potassium_range_mg_l: tuple[float, float] | None = None
    feeding_known: bool | None = None

    def __post_init__(self) -> None:
        within("must.volume_l", self.volume_l, 0.05, 100_000, "L")
        within("must.glucose_g_l", self.glucose_g_l, 0, 450, "g/L")
        within("must.fructose_g_l", self.fructose_g_l, 0, 450, "g/L")
        within("must.solids_g_l", self.solids_g_l, 0, 150, "g/L")
        within("must.ammonium_n_mg_l", self.ammonium_n_mg_l, 0, 1500, "mg N/L")
        within("must.amino_n_mg_l", self.amino_n_mg_l, 0, 1500, "mg N/L")
        within("must.ph", self.ph, 2.3, 6, "")
        within("must.ethanol_g_l", self.ethanol_g_l, 0, 160, "g/L")
        if self.glucose_g_l + self.fructose_g_l > 450:
            raise ImpossibleError(
                "must.glucose_g_l", say("sugars of 450 g/L at most in all"), self.sugar_g_l
            )
        if self.medium not in FERMENTABLE:
            raise InputError(
                "must.medium", say("one of {known}", known=", ".join(FERMENTABLE)), self.medium
            )
        for name in ("ammonium_n_range_mg_l", "amino_n_range_mg_l"):
            ordered(f"must.{name}", getattr(self, name), 0, 2000)
        ordered("must.fermentable_range", self.fermentable_range, 0.3, 1.0)
        ordered("must.ph_range", self.ph_range, 1.0, 8.0)
        ordered("must.buffer_range_meq_l_ph", self.buffer_range_meq_l_ph, 0.1, 500.0)
        ordered("must.potassium_range_mg_l", self.potassium_range_mg_l, 0.0, 20_000.0)
        if self.buffer_meq_l_ph is not None:
            within("must.buffer_meq_l_ph", self.buffer_meq_l_ph, 0.5, 200, "meq/L per pH")
        if self.potassium_mg_l is not None:
            within("must.potassium_mg_l", self.potassium_mg_l, 0, 10_000, "mg/L")

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
        feeding_known: bool | None = None,
    ) -> MustAtPitch:
        """A must known by its Brix.

        Parameters
        ----------
        brix : float
            0 to 42 [Brix].
        volume_l : float
            0.05 to 100 000 [L].
        ammonium_n_mg_l, amino_n_mg_l : float
            0 to 1500 each [mg N/L].
        ph : float
            2.3 to 6 [-].
        medium : {"honey", "grape_with_skins", "clear_juice", "unknown"}
            Gives the fermentable share and the kinds of sugar.
        ammonium_n_range_mg_l, amino_n_range_mg_l : tuple of float or None
            About a 90 % range of each [mg N/L].
        fermentable_range : tuple of float or None
            5 % and 95 % of the fermentable share of the extract, 0.3 to 1 [-].
        fructose_share : float or None
            Of the sugars, 0 to 1 [-].
        feeding_known : bool or None
            As in the class.

        Returns
        -------
        MustAtPitch

        Raises
        ------
        InputError

        Examples
        --------
        >>> must = MustAtPitch.from_brix(23.77, 19.0, amino_n_mg_l=30.0)
        >>> round(must.gravity, 3), round(must.sugar_g_l)
        (1.1, 248)
        """
        within("must.brix", brix, 0, 42, "Brix")
        if medium not in FERMENTABLE:
            raise InputError(
                "must.medium", say("one of {known}", known=", ".join(FERMENTABLE)), medium
            )
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
            feeding_known=feeding_known,
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
        feeding_known: bool | None = None,
    ) -> MustAtPitch:
        """A must known by its gravity.

        Parameters
        ----------
        gravity : float
            1.0 to 1.19 [-].
        volume_l : float
            0.05 to 100 000 [L].
        ammonium_n_mg_l, amino_n_mg_l : float
            0 to 1500 each [mg N/L].
        ph : float
            2.3 to 6 [-].
        medium : {"honey", "grape_with_skins", "clear_juice", "unknown"}
            Gives the fermentable share and the kinds of sugar.
        ammonium_n_range_mg_l, amino_n_range_mg_l : tuple of float or None
            About a 90 % range of each [mg N/L].
        fermentable_range : tuple of float or None
            5 % and 95 % of the fermentable share of the extract, 0.3 to 1 [-].
        fructose_share : float or None
            Of the sugars, 0 to 1 [-].
        feeding_known : bool or None
            As in the class.

        Returns
        -------
        MustAtPitch

        Raises
        ------
        InputError
        """
        within("must.gravity", gravity, 1.0, 1.19, "")
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
            feeding_known=feeding_known,
        )


@dataclass(frozen=True)
class MustReading:
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
    sd_ph : float or None
        Standard error of the pH, 0.01 to 1; None takes that of a meter.
    """

    t_h: float
    gravity: float | None = None
    brix: float | None = None
    temperature_c: float | None = None
    ph: float | None = None
    sd_gravity: float | None = None
    sd_ph: float | None = None

    def __post_init__(self) -> None:
        within("reading.t_h", self.t_h, 0, 4000, "h")
        if self.gravity is not None:
            within("reading.gravity", self.gravity, 0.96, 1.25, "")
        if self.brix is not None:
            within("reading.brix", self.brix, -8, 50, "Brix")
        if self.temperature_c is not None:
            within("reading.temperature_c", self.temperature_c, -5, 50, "°C")
        if self.sd_ph is not None:
            within("reading.sd_ph", self.sd_ph, 0.01, 1, "pH")

    @property
    def as_gravity(self) -> float | None:
        """The reading on the gravity scale, whichever of the two was given."""
        if self.gravity is not None:
            return self.gravity
        return None if self.brix is None else float(gravity_from_brix(self.brix))


def told_feeding(must: MustAtPitch, is_fed: bool) -> MustAtPitch:
    """The must with its `feeding_known` settled: not, for one of unknown kind without a feed."""
    if must.feeding_known is not None:
        return must
    return replace(must, feeding_known=is_fed or must.medium != "unknown")
