"""What does a reading tell, made or still to come: weights, bench trials, worth of measuring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.must.acidity.balance import solve_ph
from mustwright.must.acidity.draws import quantile
from mustwright.must.acidity.members import MustMembers, pick
from mustwright.must.acidity.path import Path
from mustwright.must.acidity.salts import Salt
from mustwright.texts import say

Floats = NDArray[np.float64]
IMAGINED = 41  # readings imagined in turn, spread over what the ensemble expects


@dataclass(frozen=True)
class Worth:
    """What a reading would save, before it is made.

    Parameters
    ----------
    name : str
        What is read, with what.
    dose_g_l, dose_after_g_l : float
        Dose that keeps the floor now, and on average once the reading is known [g/L].
    width, width_after : float
        Width of the 90 % band of the trough now, and on average afterwards [-].
    """

    name: str
    dose_g_l: float
    dose_after_g_l: float
    width: float
    width_after: float

    @property
    def saved_g_l(self) -> float:
        """Salt saved on average [g/L], not below zero."""
        return max(self.dose_g_l - self.dose_after_g_l, 0.0)


def worth_of_reading(
    name: str,
    read: Floats,
    sd: float,
    each_g_l: Floats,
    trough: Floats,
    *,
    wanted: float = 0.9,
    most_g_l: float = np.inf,
) -> Worth:
    """What a reading would be worth, before anyone makes it.

    Parameters
    ----------
    name : str
        What is read, with what.
    read : ndarray
        What each member would show, in the unit of the reading [any unit].
    sd : float
        Error of the reading, above 0, in the same unit [any unit].
    each_g_l : ndarray
        Dose each member needs, at least 0 [g/L].
    trough : ndarray
        Lowest pH of each member [-].
    wanted : float
        Chance of keeping the floor that the dose is for, 0 to 1 [-].
    most_g_l : float
        Ceiling of the dose [g/L].

    Returns
    -------
    Worth

    Notes
    -----
    41 readings, evenly spread over the quantiles the members foresee, are imagined in turn; the
    members are weighted by each and the dose and the band averaged.
    """
    dose = np.minimum(each_g_l, most_g_l)
    places = (np.arange(IMAGINED) + 0.5) / IMAGINED
    after, widths = [], []
    for place in places:
        weights = np.exp(-0.5 * ((read - quantile(read, place)) / sd) ** 2)
        after.append(quantile(dose, wanted, weights))
        widths.append(quantile(trough, 0.95, weights) - quantile(trough, 0.05, weights))
    return Worth(
        name,
        quantile(dose, wanted),
        float(np.mean(after)),
        quantile(trough, 0.95) - quantile(trough, 0.05),
        float(np.mean(widths)),
    )


def reading_weights(path: Path, readings: Sequence[tuple[float, float, float]]) -> Floats:
    """Weight of each member after pH readings made during the ferment.

    Parameters
    ----------
    path : Path
    readings : sequence of (float, float, float)
        Part of the sugar used, pH, standard deviation.

    Returns
    -------
    ndarray
        Adding up to 1. Equal weights where no member comes near any reading would hide a
        contradiction, so the nearest then take all: look at ``effective_members``.
    """
    log = np.zeros(path.ph.shape[0])
    for used, ph, sd in readings:
        log -= 0.5 * ((path.at(used) - ph) / sd) ** 2
    weights = np.exp(log - log.max())
    return np.asarray(weights / weights.sum())


def effective_members(weights: Floats) -> float:
    """How many equal members a weighted ensemble is worth."""
    return float(weights.sum() ** 2 / (weights**2).sum())


@dataclass(frozen=True)
class Bench:
    """A bench titration with a salt, scaled to the batch.

    Parameters
    ----------
    must : MustMembers
        Drawn again by how well each member meets the trial.
    grams_l : float or None
        Dose for the wanted pH read off the trial's own points; None where they do not reach it.
    effective : float
        Members the trial left, in equal ones.
    """

    must: MustMembers
    rows: NDArray[np.int64]
    grams_l: float | None
    effective: float


def bench_trial(
    must: MustMembers,
    salt: Salt,
    points: Sequence[tuple[float, float]],
    ph_sd: float,
    seed: int,
    *,
    wanted_ph: float | None = None,
) -> Bench:
    """Weigh the members by a titration on the bench, at one point or several.

    Parameters
    ----------
    must : MustMembers
    salt : Salt
        What was stirred in.
    points : sequence of (float, float)
        Salt per litre of sample, above 0 to 20 [g/L], and the pH it then showed once degassed,
        1.5 to 10 [-].
    ph_sd : float
        Standard deviation of each reading, above 0 [-].
    seed : int
    wanted_ph : float or None
        pH the batch is to reach [-]; straight lines are drawn between the points.

    Returns
    -------
    Bench

    Raises
    ------
    InputError
        If there is no point, or one is out of range.
    """
    if not points:
        raise InputError("bench", say("needs at least one point of grams per litre and pH"), "none")
    for grams, ph in points:
        if not (0 < grams <= 20 and 1.5 <= ph <= 10):
            raise InputError(
                "bench", say("needs grams per litre up to 20 and a pH"), f"{grams}:{ph}"
            )
    start = must.ph()
    log = np.zeros(must.size)
    for grams, ph in points:
        mol = grams / salt.molar_mass / must.solvent_kg_l
        rows = must.rows.with_base(mol * salt.base)
        if salt.acid:
            rows = rows.with_acid(salt.acid, mol)
        log -= 0.5 * ((solve_ph(rows) - ph) / ph_sd) ** 2
    weights = np.exp(log - log.max())
    weights /= weights.sum()
    rng = np.random.default_rng(seed + 32452843)
    chosen = np.sort(rng.choice(must.size, must.size, p=weights))
    return Bench(
        _picked(must, chosen),
        chosen,
        _read_off(points, float(np.median(start)), wanted_ph),
        effective_members(weights),
    )


def _picked(must: MustMembers, rows: NDArray[np.int64]) -> MustMembers:
    return replace(pick(must, rows), ph_sd=must.ph_sd, ta_measured=must.ta_measured)


def _read_off(
    points: Sequence[tuple[float, float]], start_ph: float, wanted: float | None
) -> float | None:
    if wanted is None:
        return None
    ordered = sorted([(0.0, start_ph), *points])
    grams, ph = [g for g, _ in ordered], [p for _, p in ordered]
    if ph[0] > ph[-1]:
        grams, ph = grams[::-1], ph[::-1]
    if not min(ph) <= wanted <= max(ph):
        return None
    return float(np.interp(wanted, ph, grams))


def batch_grams(grams_in_sample: float, sample_ml: float, batch_l: float) -> float:
    """Scale the grams in a bench sample up to the batch.

    Parameters
    ----------
    grams_in_sample : float
        At least 0 [g].
    sample_ml : float
        Above 0 [mL].
    batch_l : float
        Above 0 [L].

    Returns
    -------
    float
        [g].

    Raises
    ------
    InputError
        If one of them is out of range.

    Examples
    --------
    0.05 g in 250 mL is 3.8 g in 19 L:

    >>> round(batch_grams(0.05, 250, 19), 2)
    3.8
    """
    if not (sample_ml > 0 and batch_l > 0 and grams_in_sample >= 0):
        raise InputError("bench", say("needs a sample and a batch above zero"), sample_ml)
    return grams_in_sample * 1000 / sample_ml * batch_l
