"""Is there enough potassium for this acid: the ratio to hydrogen ions, and what a lack may cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright import data
from mustwright.constants import POTASSIUM_G_MOL
from mustwright.must.acidity.draws import chance, quantile

Floats = NDArray[np.float64]
HARM_MIDDLE, HARM_SPREAD = 0.7, 1.0  # assumed: log odds per fivefold lack, and its log spread
LOW_PH, LOW_PH_HARM = 3.0, 2.0  # assumed: log odds per unit of pH under it


@dataclass(frozen=True)
class PotassiumSheet:
    """Potassium against the acid at the trough.

    Parameters
    ----------
    must_mg_l, fed_mg_l, dose_mg_l : float
        Brought by the must (middle), by the feeds, and by the salt [mg/L].
    needed_mg_l : tuple of float
        For the published ratio at the 5, 50 and 95 % trough pH [mg/L]; the first is the least.
    ratio : tuple of float
        Moles of potassium per mole of hydrogen ion at 5, 50 and 95 % [-].
    chance_short : float
        Of a ratio under the published one.
    """

    must_mg_l: float
    fed_mg_l: float
    dose_mg_l: float
    needed_mg_l: tuple[float, float, float]
    ratio: tuple[float, float, float]
    chance_short: float


def published_ratio() -> float:
    """Moles of potassium per mole of hydrogen ion that kept ferments from stopping (Kudo1998)."""
    return float(data.load("requirements")["potassium_by_ph"]["ratio_mol_mol"])


def potassium_for_ph(ph: ArrayLike) -> Floats:
    """Potassium for the published ratio [mg/L].

    Parameters
    ----------
    ph : array_like
        2 to 8.

    Examples
    --------
    >>> round(float(potassium_for_ph(3.2)))
    617
    """
    hydrogen = 10.0 ** -np.asarray(ph, dtype=float)
    return np.asarray(published_ratio() * hydrogen * POTASSIUM_G_MOL * 1000)


def ratio_to_hydrogen(potassium_mg_l: ArrayLike, ph: ArrayLike) -> Floats:
    """Moles of potassium per mole of hydrogen ion [-]."""
    potassium = np.asarray(potassium_mg_l, dtype=float) / 1000 / POTASSIUM_G_MOL
    return np.asarray(potassium / 10.0 ** -np.asarray(ph, dtype=float))


def sticking_odds_factor(trough_ph: ArrayLike, potassium_mg_l: ArrayLike, seed: int = 0) -> Floats:
    """Factor on the odds of a stuck ferment, member by member, each with its own wide doubt.

    Parameters
    ----------
    trough_ph : array_like
        Lowest pH, one per member, 2 to 8 [-].
    potassium_mg_l : array_like
        In the must with everything added, at least 0 [mg/L].
    seed : int

    Returns
    -------
    ndarray
        1 where the ratio is met and the pH is above 3.0; rising as potassium falls short or pH
        falls further; at most 50 [-].

    Notes
    -----
    ``exp(harm x log5(ratio wanted / ratio))`` times ``exp(2 x (3.0 - pH))`` under pH 3.0; `harm` is
    log-normal about 0.7, a factor of about 5 either way at 90 %. Kudo1998 gives the ratio; how
    much a lack costs is assumed, and so the spread is wide. Neither factor may be read as a rate.

    Examples
    --------
    >>> sticking_odds_factor([3.6], [600.0]).tolist()
    [1.0]
    """
    ph, potassium = np.broadcast_arrays(
        np.atleast_1d(np.asarray(trough_ph, dtype=float)), np.asarray(potassium_mg_l, dtype=float)
    )
    rng = np.random.default_rng(seed + 15485863)
    harm = HARM_MIDDLE * np.exp(HARM_SPREAD * rng.standard_normal(ph.size)).reshape(ph.shape)
    ratio = np.maximum(ratio_to_hydrogen(potassium, ph), 1e-6)
    lack = np.maximum(np.log(published_ratio() / ratio) / np.log(5.0), 0.0)
    acid = LOW_PH_HARM * np.maximum(LOW_PH - ph, 0.0)
    return np.asarray(np.exp(np.minimum(harm * lack + acid, np.log(50.0))))


def potassium_sheet(
    must_mg_l: Floats, fed_mg_l: float, dose_mg_l: float, trough_ph: Floats
) -> PotassiumSheet:
    """Set potassium against the acid at the trough, for a whole ensemble.

    Parameters
    ----------
    must_mg_l : ndarray
        Potassium the must brings, one per member [mg/L].
    fed_mg_l, dose_mg_l : float
        Brought by the feeds and by the salt, at least 0 [mg/L].
    trough_ph : ndarray
        Lowest pH of each member, 2 to 8 [-].

    Returns
    -------
    PotassiumSheet

    Notes
    -----
    The ratio of potassium to hydrogen ions is that of Kudo1998.
    """
    ratio = ratio_to_hydrogen(must_mg_l + fed_mg_l + dose_mg_l, trough_ph)
    low, middle, high = (quantile(trough_ph, p) for p in (0.05, 0.5, 0.95))
    need = potassium_for_ph([high, middle, low])
    return PotassiumSheet(
        quantile(must_mg_l, 0.5),
        fed_mg_l,
        dose_mg_l,
        (float(need[0]), float(need[1]), float(need[2])),
        (quantile(ratio, 0.05), quantile(ratio, 0.5), quantile(ratio, 0.95)),
        chance(ratio < published_ratio()),
    )
