"""What stops a ferment before its sugar is gone, member by member, as far as it is set at pitch.

Acid, potassium, heat and cold act along the course and stand in `model.rates`; here are the limits
a member starts out with: membrane lipids, alcohol it bears, the share that stops for reasons the
model does not have, and the feeding nobody wrote down.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from mustwright.constants import ETHANOL_G_L_PER_PCT_VOL
from mustwright.kinetics.conditions import Conditions
from mustwright.kinetics.inputs import MustAtPitch
from mustwright.kinetics.parameters import EFFECT, typical

Floats = NDArray[np.float64]

# Oxygen a must takes up [mg/L]: middle, and spread of its logarithm. Saturation of a must of 1.100
# at 20 °C is 6 to 7 mg/L; the rest from memory.
OXYGEN_MG_L = {
    "unknown": (3.0, 0.7),
    "none": (1.5, 0.5),
    "once": (6.0, 0.3),
    "repeated": (12.0, 0.3),
    "stirred": (10.0, 0.3),
}
# Pace of a must kept in motion over one that stands (assumed, looking at a stirred, aired must at
# 24 °C that ran twice as fast as this model has standing ones; docs/kinetics.md).
STIRRED_PACE = 2.0
AIRED_LAG = 0.8  # lag of yeast that got air, over that without (assumed)
# Cells [g/L] that the lipids of the must itself allow: solids and waxes of grapes, the
# phytosterol of a synthetic must, next to none in honey (assumed).
LIPID_CELLS_G_L = {"honey": 0.3, "grape_with_skins": 6.0, "clear_juice": 4.0, "unknown": 5.0}
OSMOTIC_FROM_G_L = 220.0  # sugar from which tolerance suffers (assumed)
LAG_OSMOTIC_G_L = 250.0  # sugar above that by which the lag doubles (assumed)
STOP_FROM, STOP_TO = 0.15, 0.95  # of the alcohol the sugar could give: where the unmodelled stop
LEAST_TOLERANCE = 0.4
# Share of ferments that stop for reasons not modelled (assumed, 0.05 to 0.10: bad yeast, killer
# strains, residues, a cold night). None of the 15 red musts of Reiter2021 stopped.
UNMODELLED = {"honey": 0.07, "grape_with_skins": 0.05, "clear_juice": 0.05, "unknown": 0.06}


def lipid_share(conditions: Conditions, medium: str, active: Floats, e: dict[str, Any],
                z: Floats) -> Floats:  # fmt: skip
    """Share of the most cells that membrane lipids allow, 0.02 to 1, by member.

    Parameters
    ----------
    conditions : Conditions
        Aeration and rehydration nutrient count.
    medium : str
        Of the must.
    active : ndarray
        Cells pitched [g/L].
    e : dict
        Effects of the members; ``lipids`` is g of cells per g pitched.
    z : ndarray
        Standard normal numbers of the oxygen taken up [-].

    Returns
    -------
    ndarray
        By member [-].

    Notes
    -----
    Sterol and unsaturated fatty acids are made with oxygen only; else they are what the pitched
    cells brought, thinned out at each doubling, and what the must holds. Supply and ceiling meet
    smoothly: ``s / (1 + s^3)^(1/3)``.
    """
    fixed = typical()
    middle, spread = OXYGEN_MG_L[conditions.aeration]
    oxygen = middle * np.exp(spread * z)
    own = e["lipids"] * active
    if conditions.rehydration_nutrient:
        own = own * fixed["rehydration_lipids"]
    supply = own + fixed["oxygen_cells"] * oxygen + LIPID_CELLS_G_L[medium]
    s = supply / fixed["cells_max"]
    return np.asarray(np.clip(s / np.cbrt(1.0 + s**3), 0.02, 1.0))


def alcohol_end(
    must: MustAtPitch, conditions: Conditions, e: dict[str, Any], lipids: Floats
) -> Floats:
    """Alcohol at which uptake ends [g/L], by member, reasons not modelled left out.

    Parameters
    ----------
    must : MustAtPitch
        Its sugar at pitch counts (osmotic stress).
    conditions : Conditions
        The strain's stated tolerance.
    e : dict
        Effects ``tolerance_factor`` and ``osmotic_loss``.
    lipids : ndarray
        Of `lipid_share` [-].

    Returns
    -------
    ndarray
        By member [g/L].
    """
    fixed = typical()
    stated = conditions.strain.alcohol_tolerance_pct_vol * ETHANOL_G_L_PER_PCT_VOL
    over = max(must.sugar_g_l - OSMOTIC_FROM_G_L, 0.0) / 100.0
    osmotic = np.maximum(1.0 - e["osmotic_loss"] * over, LEAST_TOLERANCE)
    poor = 1.0 - fixed["lipid_tolerance"] * (1.0 - lipids) ** 2
    return np.asarray(stated * e["tolerance_factor"] * osmotic * poor)


def is_unmodelled(medium: str, z: Floats) -> NDArray[np.bool_]:
    """Which members stop for reasons not modelled (from standard normal numbers, by member)."""
    return np.asarray(ndtr(z[EFFECT["unmodelled"]]) < UNMODELLED[medium])


def with_unmodelled(medium: str, end: Floats, sugar: Floats, yield_: Floats, z: Floats) -> Floats:
    """The alcohol at which uptake ends [g/L], the share that stops for other reasons put in.

    Parameters
    ----------
    medium : str
        Of the must.
    end : ndarray
        Of `alcohol_end` [g/L].
    sugar : ndarray
        At pitch [g/L].
    yield_ : ndarray
        Ethanol per sugar [g/g].
    z : ndarray
        Standard normal numbers, effects by members [-].

    Returns
    -------
    ndarray
        By member [g/L].

    Notes
    -----
    These members stop anywhere from 15 to 95 % of the alcohol their sugar could give, late places
    more often than early ones in proportion to how late they are (assumed).
    """
    part = ndtr(z[EFFECT["unmodelled"]]) / UNMODELLED[medium]
    place = STOP_FROM + (STOP_TO - STOP_FROM) * np.sqrt(np.minimum(part, 1.0))
    return np.where(part < 1.0, np.minimum(end, place * yield_ * np.maximum(sugar, 1.0)), end)


def unrecorded_feed(must: MustAtPitch, z: Floats, nitrogen: Floats) -> Floats | None:
    """Nitrogen that nobody wrote down [g N/L], by member; None where the feeding is known.

    Parameters
    ----------
    must : MustAtPitch
    z : ndarray
        Standard normal numbers, effects by members [-].
    nitrogen : ndarray
        What each member starts with, as nitrogen [g/L].

    Returns
    -------
    ndarray or None
        As nitrogen, by member [g/L].
    """
    if must.feeding_known is not False:
        return None
    fixed = typical()
    fed = ndtr(z[EFFECT["fed"]]) < fixed["fed_share"]
    return np.where(fed, np.maximum(fixed["fed_to"] - nitrogen, 0.0), 0.0)
