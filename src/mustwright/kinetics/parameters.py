"""Which numbers the model uses, and how they differ between fermentations."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright import data
from mustwright.kinetics.house_prior import HousePrior

Floats = NDArray[np.float64]

# What one member carries into the right-hand side, one row each in the kernel.
TRAITS = (
    "uptake_max",
    "growth_max",
    "ethanol_half",
    "ethanol_end",
    "uptake_temperature_zero",
    "cell_n_min",
    "death_rate",
    "capacity_rate",
    "cell_n_span",
    "ethanol_yield",
    "sugar_osmotic",
    "acid_half",
    "glucose_half",
    "fructose_half",
    "ethanol_growth_half",
    "cells_end",
    "cell_n_max",
    "nitrogen_uptake_max",
    "nitrogen_half",
    "amino_preference",
    "ethanol_nitrogen_end",
    "capacity_min",
    "heat_tolerance_loss",
    "glycerol_yield",
    "readiness_rate",
    "sugar_start",
    "acid_constant",
    "acid_total",
    "acid_per_cells",
    "potassium_loss",
    "heat_death",
    "heat_from",
    "cold_from",
    "shape_0",
    "shape_1",
    "shape_2",
    "shape_3",
    "shape_4",
)
# What differs from one fermentation to the next: one standard normal number each.
EFFECTS = (
    "uptake_max",
    "growth_max",
    "lag",
    "ethanol_half",
    "fermentable",
    "tolerance_factor",
    "uptake_temperature_zero",
    "cell_n_min",
    "death_rate",
    "capacity_rate",
    "capacity_min",
    "ethanol_yield",
    "sugar_osmotic",
    "ph_half",
    "yan_error",
    "pitch_error",
    "temperature_offset",
    "fructose_share",
    "extract_error",
    "pace",
    "shape_a",
    "shape_b",
    "shape_c",
    "shape_d",
    "shape_e",
    "ph_start",
    "buffer",
    "potassium",
    "potassium_loss",
    "heat_death",
    "lipids",
    "oxygen",
    "osmotic_loss",
    "unmodelled",
    "fed",
)
# Steps of the walk that bends the course away from the model's, from all sugar to none.
SHAPE = ("shape_a", "shape_b", "shape_c", "shape_d", "shape_e")
EFFECT = {name: place for place, name in enumerate(EFFECTS)}
# Tails: nearly all ferments run as the model does, a few quite otherwise (two of fourteen red musts
# of Reiter2021 at two thirds of the pace of the rest), and then readings can take a member that far
# (assumed). Those of the pace keep the 5 and 95 % of a normal number.
HEAVY = 0.15
HEAVY_TAILED = ("uptake_max", "growth_max", "lag", "pace")
_TWO_SIDED = 1.6449  # standard normal number at 95 %


_FILE = "kinetics/parameters"
_FITTED = "kinetics/calibrated"


def raw(name: str) -> float:
    """Value of one parameter before calibration."""
    return float(data.load(_FILE)[name]["value"])


@cache
def typical() -> dict[str, float]:
    """Value of every parameter, with the constants the calibration found."""
    values = {name: raw(name) for name in data.load(_FILE)}
    return values | {name: float(v) for name, v in calibrated()["shared"].items()}


def calibrated() -> dict[str, Any]:
    """What the calibration found (`calibrated.toml`)."""
    return data.load(_FITTED)


@dataclass(frozen=True)
class Population:
    """What fermentations of one medium are like: centre and spread of each effect.

    Parameters
    ----------
    name : str
        Medium or other name, for messages.
    centre, spread : dict of str to float
        By effect, on its own scale: the logarithm for scale "log".
    fermentable : tuple of float or None
        Centre and spread of the fermentable share; None takes the must's own.
    house : HousePrior or None
        How the maker's own fermentations differ from these; None for a maker nothing is known of.
    """

    name: str
    centre: dict[str, float]
    spread: dict[str, float]
    fermentable: tuple[float, float] | None = None
    house: HousePrior | None = None

    def of(self, effect: str) -> tuple[float, float, str]:
        """Centre, spread and scale of one effect."""
        if effect in _OUTSIDE:
            return (0.0, _OUTSIDE[effect], "plain")
        return self.centre[effect], self.spread[effect], scale(effect)


# Effects that are no parameter of the model: these are handled with the must, the last two by the
# place of the number in its distribution.
_OUTSIDE = {
    "fermentable": 1.0,
    "fructose_share": 0.015,
    "ph_start": 1.0,
    "buffer": 1.0,
    "potassium": 1.0,
    "oxygen": 1.0,
    "unmodelled": 1.0,
    "fed": 1.0,
}


def scale(effect: str) -> str:
    """Scale on which an effect is normal: "log" or "plain"."""
    return str(data.load(_FILE)[effect]["scale"])


def deviation(effect: str, z: Any) -> Any:
    """How many spreads an effect lies from its centre.

    Parameters
    ----------
    effect : str
        One of `EFFECTS`.
    z : array_like
        Standard normal numbers [-].

    Returns
    -------
    array_like
        Rising with `z`; `z` itself where the tails are those of a normal number [-].
    """
    if effect in SHAPE:
        return z * (1.0 + HEAVY * z**2)
    if effect in HEAVY_TAILED:
        return z * (1.0 + HEAVY * z**2) / (1.0 + HEAVY * _TWO_SIDED**2)
    return z


def population_of_house(medium: str, house: HousePrior | None) -> Population | None:
    """The population of a medium as a house has it; None, the usual one, without a house.

    Parameters
    ----------
    medium : str
        Of the must.
    house : HousePrior or None
    """
    return None if house is None else replace(population(medium), house=house)


def prior() -> Population:
    """The population before any calibration: published values and assumed spreads."""
    centre, spread = {}, {}
    for name in EFFECTS:
        if name in _OUTSIDE:
            continue
        record = data.load(_FILE)[name]
        value = float(record["value"])
        centre[name] = float(np.log(value)) if record["scale"] == "log" else value
        spread[name] = float(record["spread"])
    return Population("prior", centre, spread)


@cache
def population(medium: str) -> Population:
    """The calibrated population of a medium, on top of the prior."""
    base = prior()
    fitted = calibrated()["medium"][medium]
    centre = base.centre | {k: float(v) for k, v in fitted["centre"].items()}
    spread = base.spread | {k: float(v) for k, v in fitted["spread"].items()}
    share = fitted.get("fermentable")
    return Population(
        medium, centre, spread, None if share is None else (float(share[0]), float(share[1]))
    )
