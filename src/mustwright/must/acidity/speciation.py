"""How far is each acid split at a pH: mean charges, for turning readings into amounts."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright.must.acidity.balance import Solution, activity, constants, split
from mustwright.must.acidity.species import Chemistry

Floats = NDArray[np.float64]


def charge_means(
    chemistry: Chemistry,
    ph: ArrayLike,
    ionic: float,
    *,
    temperature_c: float = 20.0,
    lift: ArrayLike = 0.0,
) -> Floats:
    """Mean charge of each acid (columns) at each pH (rows) and one ionic strength.

    Parameters
    ----------
    chemistry : Chemistry
    ph : array_like
        -2 to 16 [-].
    ionic : float
        Ionic strength, 0 to 0.5 [mol/kg].
    temperature_c : float
        0 to 45 [°C].
    lift : array_like
        Added to the pK of gluconic acid, one for all or one per pH [-].

    Returns
    -------
    ndarray
        Mean charge [-].

    Notes
    -----
    Activity coefficients of Davies1962, in water without alcohol or sugar.

    Examples
    --------
    Half of acetic acid is split at its pK, a little more with other ions around:

    >>> from mustwright.must.acidity.species import must_chemistry
    >>> chemistry = must_chemistry()
    >>> means = charge_means(chemistry, [4.757], 0.0, temperature_c=25.0)
    >>> round(float(means[0, chemistry.index("acetic")]), 6)
    -0.5
    """
    pk_free = np.atleast_1d(np.asarray(ph, dtype=float))
    zero = np.zeros_like(pk_free)
    lifts = np.ascontiguousarray(np.broadcast_to(np.asarray(lift, dtype=float), zero.shape))
    totals = np.zeros((zero.size, chemistry.size))
    rows = Solution(
        totals, zero, zero, zero + temperature_c, zero, zero, zero, lifts, zero, chemistry
    )
    k, _kx = constants(rows)
    return split(rows, k, activity(rows, zero + ionic), 10.0**-pk_free)[0]
