"""What a forecast has to beat: the mean course of the other musts, a logistic, the last reading."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibration.measured import Site

Floats = NDArray[np.float64]
END_BRIX = -1.2  # apparent Brix of a dry red must (the least of Reiter2021)


def mean_curve(site: Site, others: list[Site]) -> Floats:
    """Brix of a site if it ran like the mean of the others, by share of the fall."""
    hours = np.arange(0.0, 200.0, 4.0)
    shares = []
    for other in others:
        t = np.concatenate([[0.0], other.t_h])
        brix = np.concatenate([[start_brix(other)], other.brix])
        share = np.clip((brix - END_BRIX) / (start_brix(other) - END_BRIX), 0.0, 1.0)
        shares.append(np.interp(hours, t, share))
    left = np.interp(site.t_h, hours, np.mean(shares, axis=0))
    return np.asarray(END_BRIX + (start_brix(site) - END_BRIX) * left)


def start_brix(site: Site) -> float:
    """Brix at pitch."""
    from mustwright.must.gravity import brix_from_gravity

    return float(brix_from_gravity(site.must.gravity))


def logistic(
    start: float, end: float, t_h: Floats, seen: Floats, at_h: Floats, guess_h: float = 50.0
) -> Floats:
    """A falling logistic with two parameters (half-time and slope) put through some points.

    Parameters
    ----------
    start, end : float
        Where it begins and ends, in the unit of `seen`.
    t_h, seen : ndarray
        Points to meet [h].
    at_h : ndarray
        Where the curve is wanted [h].
    guess_h : float
        First guess of the half-time [h].
    """

    def curve(p: Floats, t: Floats) -> Floats:
        half, steep = np.exp(p[0]), np.exp(p[1])
        whole = 1.0 + np.exp(-steep)  # so that it starts at `start`
        share = whole / (1.0 + np.exp(np.clip(steep * (t / half - 1.0), -50.0, 50.0)))
        return end + (start - end) * share

    answer = least_squares(lambda p: curve(p, t_h) - seen, [np.log(guess_h), 1.0])
    return np.asarray(curve(answer.x, at_h))
