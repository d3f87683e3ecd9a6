"""The acid a member starts with, as one weak acid that stands for all of them.

The charge balance of `mustwright.must.acidity` is exact and slow; inside ten thousand members one
acid of pK 3.7 with the same buffer capacity at the start does for it. docs/kinetics.md says how far
the two lie apart.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.constants import POTASSIUM_G_MOL
from mustwright.kinetics.inputs import MustAtPitch
from mustwright.kinetics.parameters import EFFECT, typical

Floats = NDArray[np.float64]

METER_SD_PH = 0.04  # of a measured pH (meter and electrode in sugar; docs/acidity.md, 0.03 to 0.05)
# Buffer capacity at the start [meq/L per pH] and potassium [mg/L]: middle and spread of the
# logarithm. Honey buffer: docs/acidity.md (7.0, 1.6 to 17). Potassium of honey musts: 35 to 3640
# mg/kg of honey (docs/acidity.md) at 0.3 kg/L; grape and the rest from memory.
BUFFER = {
    "honey": (7.0, 0.6),
    "grape_with_skins": (45.0, 0.25),
    "clear_juice": (30.0, 0.4),
    "unknown": (35.0, 0.5),
}
POTASSIUM_MG_L = {
    "honey": (200.0, 0.7),
    "grape_with_skins": (1500.0, 0.3),
    "clear_juice": (1000.0, 0.4),
    "unknown": (1200.0, 0.5),
}
_TWO_SIDED = 1.6449


def acid_of(must: MustAtPitch, z: Floats) -> dict[str, Any]:
    """Total acid, base and potassium of each member.

    Parameters
    ----------
    must : MustAtPitch
    z : ndarray
        Standard normal numbers, effects by members.

    Returns
    -------
    dict
        ``acid_total`` [mmol/L], ``base`` [meq/L], ``potassium`` [mmol/L], by member. The charge
        balance ``base + h = total K / (K + h)`` then holds at the member's pH.
    """
    ph = np.clip(must.ph + _ph_sd(must) * z[EFFECT["ph_start"]], 2.0, 7.0)
    h = 10.0 ** (3.0 - ph)  # mmol/L
    k = typical()["acid_constant"]
    buffer = spread_value(
        must.buffer_meq_l_ph, must.buffer_range_meq_l_ph, BUFFER[must.medium], z[EFFECT["buffer"]]
    )
    total = np.maximum(buffer / np.log(10.0) - h, 0.5) * (k + h) ** 2 / (k * h)
    potassium = spread_value(
        must.potassium_mg_l, must.potassium_range_mg_l, POTASSIUM_MG_L[must.medium],
        z[EFFECT["potassium"]],
    )  # fmt: skip
    return {
        "acid_total": total,
        "base": total * k / (k + h) - h,
        "potassium": potassium / POTASSIUM_G_MOL,
    }


def _ph_sd(must: MustAtPitch) -> float:
    if must.ph_range is None:
        return METER_SD_PH
    return max((must.ph_range[1] - must.ph_range[0]) / 2 / _TWO_SIDED, METER_SD_PH)


def spread_value(
    value: float | None, given: tuple[float, float] | None, usual: tuple[float, float], z: Floats
) -> Floats:
    """A log-normal quantity by member: the must's own value and range, else the medium's.

    Parameters
    ----------
    value : float or None
        The must's own, 0 or more [any unit].
    given : tuple of float or None
        About a 90 % range of it [any unit].
    usual : tuple of float
        Middle [any unit] and spread of the logarithm [-] of the medium.
    z : ndarray
        Standard normal numbers, by member [-].

    Returns
    -------
    ndarray
        By member, above 0 [any unit].
    """
    if value is None:
        middle, spread = usual
    else:
        middle, spread = max(value, 1e-3), 0.2
        if given is not None and given[0] > 0:
            spread = np.log(max(given[1], given[0] * 1.01) / given[0]) / 2 / _TWO_SIDED
    return np.asarray(middle * np.exp(spread * z))
