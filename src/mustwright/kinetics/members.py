"""Which fermentations might this one be: members drawn from a population, ready for the kernel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.constants import ETHANOL_G_L_PER_PCT_VOL
from mustwright.kinetics.conditions import Conditions, profile_at
from mustwright.kinetics.inputs import FERMENTABLE, MustAtPitch
from mustwright.kinetics.model import SUGAR_PER_CELLS
from mustwright.kinetics.parameters import EFFECT, EFFECTS, TRAITS, Population, typical

Floats = NDArray[np.float64]

# Nitrogen in cells by need of the strain, from the 0.75, 0.9, 1.25 mg N/g sugar of common practice.
NEED = {"low": 0.75 / 0.9, "medium": 1.0, "high": 1.25 / 0.9}
DRY_PITCH_LAG = 1.4  # lag of yeast strewn dry over rehydrated yeast (assumed)
_TWO_SIDED = 1.6449  # standard normal number at 95 %


@dataclass(frozen=True)
class Members:
    """Kernel input of every member.

    Parameters
    ----------
    traits : ndarray
        `parameters.TRAITS` by members.
    start : ndarray
        `ensemble.START` by members.
    """

    traits: Floats
    start: Floats

    @property
    def count(self) -> int:
        """Number of members."""
        return int(self.traits.shape[1])


def draw(members: int, seed: int) -> Floats:
    """Standard normal numbers, effects by members; the first members do not depend on how many.

    The same seed gives the same fermentations under every protocol, so that protocols can be
    compared member by member.
    """
    generator = np.random.Generator(np.random.Philox(seed))
    return np.ascontiguousarray(generator.standard_normal((members, len(EFFECTS))).T)


def effects(z: Floats, population: Population) -> dict[str, Any]:
    """Values of the effects of each member from standard normal numbers."""
    out: dict[str, Any] = {}
    for name, place in EFFECT.items():
        centre, spread, scale = population.of(name)
        value = centre + spread * z[place]
        out[name] = np.exp(value) if scale == "log" else value
    return out


def _two_sided(z: Floats, typical_value: float, low: float, high: float) -> Floats:
    below = typical_value + z * (typical_value - low) / _TWO_SIDED
    above = typical_value + z * (high - typical_value) / _TWO_SIDED
    return np.where(z < 0, below, above)


def _nitrogen(z: Floats, error: Floats, value: float, given: tuple[float, float] | None) -> Floats:
    """One pool in g/L: the maker's range where there is one, else the error of the method."""
    if given is None:
        return value * error / 1000
    inside = min(max(value, given[0]), given[1])
    return np.maximum(_two_sided(z, inside, *given), 0.0) / 1000


def build(must: MustAtPitch, conditions: Conditions, z: Floats, population: Population) -> Members:
    """Traits and start of each member.

    Parameters
    ----------
    must : MustAtPitch
    conditions : Conditions
    z : ndarray
        Standard normal numbers, effects by members.
    population : Population
        What such fermentations are like.
    """
    fixed = typical()
    if population.house is not None:
        z = population.house.applied(z)
    e = effects(z, population)
    strain = conditions.strain
    viable = fixed["viable_share_rehydrated" if conditions.rehydrated else "viable_share_direct"]
    active = conditions.pitch_g_l * viable * e["pitch_error"]
    count = z.shape[1]
    traits = np.empty((len(TRAITS), count))
    tolerance = strain.alcohol_tolerance_pct_vol * ETHANOL_G_L_PER_PCT_VOL
    # never above 0.09, so that cells can always store some nitrogen
    cell_n_min = np.minimum(e["cell_n_min"] * NEED[strain.nitrogen_class], 0.09)
    fastest = _fastest_growth(e["uptake_max"], cell_n_min / fixed["cell_n_max"])
    own = {
        "ethanol_end": tolerance * e["tolerance_factor"],
        "cell_n_min": cell_n_min,
        "cell_n_span": fixed["cell_n_max"] - cell_n_min,
        "capacity_min": np.minimum(e["capacity_min"], 1.0),
        "cells_end": fixed["cells_max"] + active,
        "ph_factor": _ph_factor(must.ph, e["ph_half"]),
        "growth_max": np.minimum(e["growth_max"], fastest),
        "uptake_temperature_zero": np.clip(e["uptake_temperature_zero"], -20.0, 1.0),
        "ethanol_yield": np.clip(e["ethanol_yield"], 0.44, 0.505),
        # Twenty times the centre; beyond about 2.7 per hour steps of an hour are unstable.
        "capacity_rate": np.minimum(e["capacity_rate"], 1.0),
    }
    for row, name in enumerate(TRAITS):
        traits[row] = own.get(name, e.get(name, fixed.get(name)))
    lag = e["lag"] * (1.0 if conditions.rehydrated else DRY_PITCH_LAG)
    return Members(traits, _start(must, conditions, z, e, active, lag, population))


def _fastest_growth(uptake_max: Any, empty_share: Any) -> Any:
    """Growth that leaves a twentieth of the sugar taken up to ferment, at any temperature.

    Cells cannot be built faster than sugar comes in; 1.25 covers the ratio of the two temperature
    laws (asserted in the unit tests).
    """
    return 0.95 * uptake_max / (1.25 * SUGAR_PER_CELLS * (1.0 - empty_share))


def _ph_factor(ph: float, half: Any) -> Any:
    """Uptake at a pH over that at 3.5."""
    return (1 + 10 ** (half - 3.5)) / (1 + 10 ** (half - ph))


def _start(
    must: MustAtPitch,
    conditions: Conditions,
    z: Floats,
    e: dict[str, Any],
    active: Floats,
    lag: Floats,
    population: Population,
) -> Floats:
    fixed = typical()
    share = _fermentable(must, z[EFFECT["fermentable"]], population)
    fructose = must.fructose_g_l / must.sugar_g_l if must.sugar_g_l > 0 else 0.5
    fructose = np.clip(fructose + e["fructose_share"], 0.0, 1.0)
    extract = must.extract_g_l * e["extract_error"]
    sugar = extract * share
    warm = _start_c(conditions)
    z_yan = z[EFFECT["yan_error"]]
    rate = fixed["readiness_rate"]
    rows = {
        "active": active,
        "total": active,
        "ammonium_n": _nitrogen(
            z_yan, e["yan_error"], must.ammonium_n_mg_l, must.ammonium_n_range_mg_l
        ),
        "amino_n": _nitrogen(z_yan, e["yan_error"], must.amino_n_mg_l, must.amino_n_range_mg_l),
        "glucose": sugar * (1 - fructose),
        "fructose": sugar * fructose,
        "capacity": fixed["capacity_pitch"],
        "readiness": 1.0 / (1.0 + np.exp(np.minimum(rate * lag, 60.0))),
        "temperature": warm + e["temperature_offset"],
        "cell_n": fixed["cell_n_pitch"] * active,
        "ethanol": must.ethanol_g_l,
        "solids": extract - sugar,
    }
    start = np.empty((len(rows), z.shape[1]))
    for row, value in enumerate(rows.values()):
        start[row] = value
    return start


def _fermentable(must: MustAtPitch, z: Floats, population: Population) -> Floats:
    """Share of the extract that ferments, 0.3 to 0.998."""
    if must.extract_g_l <= 0:
        return np.ones_like(z)
    given = must.sugar_g_l / must.extract_g_l
    if must.fermentable_range is not None:
        low, high = must.fermentable_range
        share = _two_sided(z, min(max(given, low), high), low, high)
    elif population.fermentable is not None:
        # The must's own figure moves the population, as far as it differs from the medium's.
        centre, spread = population.fermentable
        share = given + centre - FERMENTABLE[must.medium][0] + spread * z
    else:
        centre, low, high = FERMENTABLE[must.medium]
        share = given + _two_sided(z, centre, low, high) - centre
    return np.clip(share, 0.3 * given, np.maximum(given, 0.998))


def _start_c(conditions: Conditions) -> float:
    """Temperature at pitch."""
    if conditions.measured_c:
        return float(profile_at(conditions.measured_c, np.zeros(1))[0])
    if conditions.vessel:
        return conditions.vessel.start_c
    return float(profile_at(conditions.temperature_c, np.zeros(1))[0])
