"""What one finished batch says of its own effects: mean and covariance, about six kilobytes.

The summary is made under the population alone, never under the house, so that each batch speaks for
itself: it is independent of every other batch, and leaving one out is exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.kinetics.parameters import EFFECTS
from mustwright.planning.likeness import Likeness
from mustwright.texts import say

if TYPE_CHECKING:
    from mustwright.kinetics.update import Posterior

Floats = NDArray[np.float64]
MEMBERS, SEED = 4000, 17
INDEPENDENT = 0.5  # share of resampled members that count as independent (assumed)


@dataclass(frozen=True)
class BatchSummary:
    """What the readings of a finished batch said of its effects.

    Parameters
    ----------
    batch : str
        Its short name.
    likeness : Likeness
    mean : tuple of float
        By `EFFECTS`, in standard deviations of the population [-].
    covariance : tuple of tuple of float
    members : int
        Fermentations it was made from.
    explained : bool
        False where no fermentation meets the readings: such a batch teaches nothing.
    """

    batch: str
    likeness: Likeness
    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    members: int
    explained: bool = True


def summary_of_members(
    batch: str, likeness: Likeness, z: Floats, explained: bool = True
) -> BatchSummary:
    """Moments of the members that explain a batch.

    Parameters
    ----------
    batch : str
    likeness : Likeness
    z : ndarray
        Effects by members, equal weights [-].
    explained : bool

    Returns
    -------
    BatchSummary

    Raises
    ------
    InputError
        For members of another number of effects, or too few of them.
    """
    if z.ndim != 2 or z.shape[0] != len(EFFECTS):
        raise InputError("z", say("{effects} effects by members", effects=len(EFFECTS)), z.shape)
    if z.shape[1] < 4 * len(EFFECTS):
        raise InputError("members", say("{least} or more", least=4 * len(EFFECTS)), z.shape[1])
    covariance = np.cov(z)
    return BatchSummary(
        batch,
        likeness,
        tuple(round(float(m), 6) for m in z.mean(axis=1)),
        tuple(tuple(round(float(c), 5) for c in row) for row in covariance),
        z.shape[1],
        explained,
    )


def summary_of_posterior(batch: str, likeness: Likeness, found: Posterior) -> BatchSummary:
    """Moments of the members after the readings, and whether the batch teaches.

    Parameters
    ----------
    batch : str
    likeness : Likeness
    found : Posterior
        Drawn from the population.

    Returns
    -------
    BatchSummary
        It teaches where usual fermentations meet the readings, all or all but one that others came
        after, also where the course had to be bent for it.

    Raises
    ------
    InputError
        As `summary_of_members`.
    """
    verdict = found.verdict
    return summary_of_members(batch, likeness, found.z, verdict.is_met and verdict.is_usual)


def information(summary: BatchSummary) -> tuple[Floats, Floats]:
    """What a batch adds to the population: precision and information vector.

    Parameters
    ----------
    summary : BatchSummary

    Returns
    -------
    precision : ndarray
        Positive semidefinite, effects by effects [-].
    vector : ndarray
        By effect [-].

    Notes
    -----
    ``C^-1 - 1`` and ``C^-1 m``. Directions the readings say nothing about have a variance of 1; as
    counted over M members it scatters down to ``(1 - sqrt(d/M))^2`` (Marchenko and Pastur, from
    memory). Members were resampled and moved, so only half of them count as independent here.
    Directions above that edge are taken as not learned, so that many batches do not add up noise to
    certainty.
    """
    values, vectors = np.linalg.eigh(np.array(summary.covariance))
    edge = (1 - np.sqrt(len(values) / (INDEPENDENT * summary.members))) ** 2
    seen = values < edge
    held = np.maximum(values[seen], 1e-4)
    kept = vectors[:, seen]
    precision = (kept * (1 / held - 1)) @ kept.T
    vector = (kept / held) @ (kept.T @ np.array(summary.mean))
    return precision, vector
