"""The measured honey musts and the stirred must at 24 °C, as inputs and as points to meet.

Nothing but what the files state goes in; what they do not state is left to the medium's spread.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.measured import CELLS_G, columns, records
from mustwright.kinetics.inputs import (
    Conditions,
    MustAtPitch,
    NitrogenPulse,
    PulseTrigger,
    StrainTraits,
)

Floats = NDArray[np.float64]
ROOM_C = 20.0  # of the gas musts: assumed in the file
OWN_N_MG_L = (10.0, 80.0)  # nitrogen of honey and water: the range of batch forecasts (assumed)
COMPLEX_N_MG_G = 100.0  # nitrogen of a complex nutrient [mg N per g] (from memory, 80 to 120)
DOSE_G_L = 0.3  # of a complex nutrient where the file does not say how much (from memory)


@dataclass(frozen=True)
class GasMust:
    """A honey must known by the pace of its bubbles.

    Parameters
    ----------
    t_h, rate : ndarray
        Hours from the first point, and bubbles per minute.
    """

    name: str
    must: MustAtPitch
    conditions: Conditions
    feeds: tuple[NitrogenPulse, ...]
    t_h: Floats
    rate: Floats

    @property
    def half_h(self) -> float:
        """Hours until half of all bubbles have come."""
        return half_time(self.t_h, gas_of(self.t_h, self.rate))


def gas_of(t_h: Floats, rate: Floats) -> Floats:
    """Sum of a rate along its points."""
    steps = np.diff(t_h) * (rate[1:] + rate[:-1]) / 2
    return np.concatenate([[0.0], np.cumsum(steps)])


def half_time(t_h: Floats, made: Floats) -> float:
    """When half of the last value is reached [h]."""
    return float(np.interp(0.5 * made[-1], made, t_h))


def _complex(hours: float, grams_l: float) -> NitrogenPulse:
    amount = grams_l * COMPLEX_N_MG_G
    return NitrogenPulse(PulseTrigger(at_h=hours), 0.5 * amount, 0.5 * amount)


def known(kind: Any, **values: Any) -> dict[str, Any]:
    """Those of some inputs that a form has."""
    names = {f.name for f in fields(kind)}
    return {k: v for k, v in values.items() if k in names}


def gas_musts() -> list[GasMust]:
    """Three honey musts; pitch of a packet of 5 g in 5 L where it is not stated (assumed)."""
    low, high = OWN_N_MG_L
    middle = (low * high) ** 0.5
    out = []
    recipes: dict[str, tuple[float, float, StrainTraits, float, tuple[NitrogenPulse, ...]]] = {
        "m01": (1.094, 5.0, StrainTraits(15.0, "low"), 0.0,
                (_complex(24.0, DOSE_G_L), _complex(72.0, DOSE_G_L))),
        "m02": (1.093, 4.5, StrainTraits(14.0, "medium"), 10.0, ()),
        "m03": (1.096, 4.7, StrainTraits(15.0, "low"), 0.05 * COMPLEX_N_MG_G * 3.0 / 4.7,
                (_complex(24.0, 1.5 / 4.7), _complex(72.0, 1.5 / 4.7))),
    }  # fmt: skip
    rows = records("honey_gas_rates")
    for name, (gravity, volume, strain, plus, feeds) in recipes.items():
        must = MustAtPitch.from_gravity(
            gravity, volume, amino_n_mg_l=middle + plus,
            amino_n_range_mg_l=(low + plus, high + plus),
        )  # fmt: skip
        pitch = 2.5 / 4.7 if name == "m03" else 1.0
        conditions = Conditions(
            ROOM_C, strain=strain, pitch_g_l=pitch, rehydrated=name == "m03",
            **known(Conditions, rehydration_nutrient=name == "m03"),
        )  # fmt: skip
        mine = [r for r in rows if r["batch"] == name]
        t = np.array([float(r["t_h_from_first_point"]) for r in mine])
        rate = np.array([float(r["bubbles_per_min"]) for r in mine])
        out.append(GasMust(name, must, conditions, feeds, t, rate))
    return out


def berry() -> tuple[MustAtPitch, Conditions, dict[str, Floats]]:
    """The honey and berry must: nitrogen 20 to 120 mg/L of its own (assumed), feeding not told."""
    seen = columns("honey_berry_mead")
    must = MustAtPitch.from_gravity(
        1.1023, 3.79, ammonium_n_mg_l=20.0, amino_n_mg_l=35.0, ph=3.8,
        ammonium_n_range_mg_l=(6.0, 45.0), amino_n_range_mg_l=(14.0, 75.0),
        **known(MustAtPitch, feeding_known=False),
    )  # fmt: skip
    ok = np.isfinite(seen["temperature_c"])
    profile = tuple(
        (float(t), float(c)) for t, c in zip(seen["t_h"][ok], seen["temperature_c"][ok],
                                             strict=True)
    )  # fmt: skip
    return must, Conditions(profile, pitch_g_l=1.3), seen


def stirred() -> tuple[MustAtPitch, Conditions, Rounds]:
    """The stirred, aired must at 24 °C, and the CO2 of its four rounds by day."""
    must = MustAtPitch(0.25, 100.0, 100.0, 8.0, 148.0, 277.0, ph=3.3, medium="clear_juice")
    conditions = Conditions(
        24.0, pitch_g_l=1.8e9 * CELLS_G / 0.6, horizon_h=600.0,
        **known(Conditions, aeration="stirred"),
    )  # fmt: skip
    return must, conditions, rounds()


@dataclass(frozen=True)
class Rounds:
    """Repeats of one fermentation, by day.

    Parameters
    ----------
    t_h, co2_g_l : ndarray
        Means of the rounds [h, g/L].
    repeat_sd_g_l : ndarray
        Standard deviation from round to round [g/L].
    count : int
        Rounds.
    """

    t_h: Floats
    co2_g_l: Floats
    repeat_sd_g_l: Floats
    count: int

    @property
    def error_g_l(self) -> Floats:
        """Standard error of the means [g/L]."""
        return self.repeat_sd_g_l / math.sqrt(self.count)


def rounds() -> Rounds:
    """The rounds of the stirred must, the start left out.

    They were read within an hour and a half of each other, so that on the first two days a part
    of the spread is that of the hour.
    """
    rows = records("synthetic_must_24C")
    days = sorted({int(r["day"]) for r in rows} - {0})
    t_h, gas = (
        np.array([[float(r[key]) for r in rows if int(r["day"]) == day] for day in days])
        for key in ("t_h", "co2_g_l")
    )
    return Rounds(t_h.mean(axis=1), gas.mean(axis=1), gas.std(axis=1, ddof=1), gas.shape[1])
