"""Which fermentations might this one be: members drawn from a population, ready for the kernel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.acid_start import acid_of
from mustwright.kinetics.conditions import Conditions, profile_at
from mustwright.kinetics.house_prior import HousePrior
from mustwright.kinetics.inputs import FERMENTABLE, MustAtPitch
from mustwright.kinetics.model import SHAPE_KNOTS, SUGAR_PER_CELLS
from mustwright.kinetics.parameters import (
    EFFECT,
    EFFECTS,
    SHAPE,
    TRAITS,
    Population,
    deviation,
    typical,
)
from mustwright.kinetics.stops import (
    AIRED_LAG,
    LAG_OSMOTIC_G_L,
    OSMOTIC_FROM_G_L,
    STIRRED_PACE,
    alcohol_end,
    lipid_share,
    unrecorded_feed,
    with_unmodelled,
)

Floats = NDArray[np.float64]

# Nitrogen in cells by need of the strain, from the 0.75, 0.9, 1.25 mg N/g sugar of common practice.
NEED = {"low": 0.75 / 0.9, "medium": 1.0, "high": 1.25 / 0.9}
MOMENTUM = 0.5  # of the walk of the shape: a course that drifts goes on drifting (assumed)
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
    unrecorded_n_g_l : ndarray or None
        Nitrogen a day after pitch that nobody wrote down, by member [g N/L].
    """

    traits: Floats
    start: Floats
    unrecorded_n_g_l: Floats | None = None

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
        value = centre + spread * deviation(name, z[place])
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
        Standard normal numbers, effects by members [-].
    population : Population
        What such fermentations are like.

    Returns
    -------
    Members
    """
    fixed = typical()
    if population.house is not None:
        z = _of_house(population.house, z)
    e = effects(z, population)
    pace = _pace(conditions, population, z)
    e["uptake_max"], e["growth_max"] = e["uptake_max"] * pace, e["growth_max"] * pace
    strain = conditions.strain
    viable = fixed["viable_share_rehydrated" if conditions.rehydrated else "viable_share_direct"]
    active = conditions.pitch_g_l * viable * e["pitch_error"]
    lipids = lipid_share(conditions, must.medium, active, e, z[EFFECT["oxygen"]])
    acid = acid_of(must, z)
    over = max(must.sugar_g_l - OSMOTIC_FROM_G_L, 0.0)
    lag = e["lag"] * (1.0 if conditions.rehydrated else DRY_PITCH_LAG)
    lag = lag * (AIRED_LAG if conditions.aeration in ("once", "repeated", "stirred") else 1.0)
    start = _start(must, conditions, z, e, active, lag * (1 + over / LAG_OSMOTIC_G_L), population)
    sugar = start[4] + start[5]
    start[12], start[13] = acid["base"], acid["potassium"]
    # never above 0.09, so that cells can always store some nitrogen
    cell_n_min = np.minimum(e["cell_n_min"] * NEED[strain.nitrogen_class], 0.09)
    fastest = _fastest_growth(e["uptake_max"], cell_n_min / fixed["cell_n_max"])
    ethanol_yield = np.clip(e["ethanol_yield"], 0.44, 0.505)
    end = alcohol_end(must, conditions, e, lipids)
    own = {
        "ethanol_end": with_unmodelled(must.medium, end, sugar, ethanol_yield, z),
        "cell_n_min": cell_n_min,
        "cell_n_span": fixed["cell_n_max"] - cell_n_min,
        "capacity_min": np.minimum(e["capacity_min"], 1.0),
        "cells_end": fixed["cells_max"] * lipids + active,
        "acid_half": 10.0 ** (3.0 - e["ph_half"]),
        "acid_total": acid["acid_total"],
        "growth_max": np.minimum(e["growth_max"], fastest),
        "uptake_temperature_zero": np.clip(e["uptake_temperature_zero"], -20.0, 1.0),
        "ethanol_yield": ethanol_yield,
        "death_rate": e["death_rate"] * (1.0 + fixed["lipid_death"] * (1.0 - lipids) ** 2),
        # Twenty times the centre; beyond about 2.7 per hour steps of an hour are unstable.
        "capacity_rate": np.minimum(e["capacity_rate"], 1.0),
        "sugar_start": np.maximum(sugar, 1e-3),
        "heat_death": np.minimum(e["heat_death"], 0.006),
        "heat_from": 33.0 + 0.5 * np.clip(strain.temperature_high_c - 28.0, -4.0, 4.0),
        "cold_from": strain.temperature_low_c,
    }
    own |= {f"shape_{k}": row for k, row in enumerate(shape_line(e))}
    traits = np.empty((len(TRAITS), z.shape[1]))
    for row, name in enumerate(TRAITS):
        traits[row] = own.get(name, e.get(name, fixed.get(name)))
    extra = unrecorded_feed(must, z, start[2] + start[3])
    return Members(traits, start, extra)


def _of_house(house: HousePrior, z: Floats) -> Floats:
    """Effects of a house; what stops for reasons not modelled stays as likely as anywhere."""
    new = house.applied(z)
    row = EFFECT["unmodelled"]
    new[row] = z[row]
    return new


def _pace(conditions: Conditions, population: Population, z: Floats) -> Floats:
    """Factor on uptake and growth: strain, air and stirring.

    The medium's centre is that of musts that stand; only a must told to be stirred is quicker.
    """
    centre, spread, _ = population.of("pace")
    if conditions.aeration == "stirred":
        centre = centre + np.log(STIRRED_PACE)
    return np.asarray(np.exp(centre + spread * deviation("pace", z[EFFECT["pace"]])))


def shape_line(e: dict[str, Any]) -> list[Floats]:
    """How far the rate departs from the model's, as a broken line over the share of sugar left.

    Values at the knots are exponentials of a walk whose steps keep a part of the one before; the
    kernel wants the value at none left, the first slope, and changes of slope at the inner knots.
    """
    step = np.zeros_like(e[SHAPE[0]])
    walk: list[Floats] = []
    for name in SHAPE:
        step = MOMENTUM * step + e[name]
        walk.append(walk[-1] + step if walk else step)
    at = np.exp(np.clip(np.stack(walk), -2.5, 2.5))[::-1]  # from none left to all
    knots = (0.0, *SHAPE_KNOTS, 1.0)
    slopes = [(at[k + 1] - at[k]) / (knots[k + 1] - knots[k]) for k in range(4)]
    return [at[0], slopes[0], *(slopes[k] - slopes[k - 1] for k in range(1, 4))]


def _fastest_growth(uptake_max: Any, empty_share: Any) -> Any:
    """Growth that leaves a twentieth of the sugar taken up to ferment, at any temperature.

    Cells cannot be built faster than sugar comes in; 1.25 covers the ratio of the two temperature
    laws (asserted in the unit tests).
    """
    return 0.95 * uptake_max / (1.25 * SUGAR_PER_CELLS * (1.0 - empty_share))


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
        "base": 0.0,
        "potassium": 0.0,
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
