"""How does this maker's cellar differ from others: effects split into house and batch.

Each effect of batch i is ``z = sqrt(rho) h + sqrt(1 - rho) b``: h is the house's and the same for
all batches that are alike in it, b the batch's own. The share rho says how much of what differs
between fermentations is the maker's. It is looked for on a grid with a sceptical prior: most of it
lies on "little".
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.house_prior import HousePrior
from mustwright.kinetics.parameters import EFFECTS
from mustwright.learning.batch_summary import BatchSummary, information
from mustwright.planning.likeness import Likeness

Floats = NDArray[np.float64]

# Chosen with simulated makers (calibration/house.py): a flat prior makes forecasts worse where
# makers do not differ, half of it on "nothing" makes bands too wide where they differ much.
SHARES = (0.0, 0.2, 0.4, 0.6, 0.8)
PRIOR = (0.35, 0.2, 0.15, 0.15, 0.15)
GROUPS = ("yeast", "honey", "cellar")
HONEY_EFFECTS = frozenset(
    {"fermentable", "fructose_share", "yan_error", "ph_start", "buffer", "potassium"}
)
CELLAR_EFFECTS = frozenset({"pitch_error", "temperature_offset", "extract_error", "oxygen", "fed"})
COMBINATIONS = tuple(product(SHARES, repeat=len(GROUPS)))
NEGLIGIBLE = 1e-9  # weight of a combination, of the largest, below which it is left out
_GRID = np.array(COMBINATIONS)
_LOG_PRIOR = np.log([np.prod([PRIOR[SHARES.index(r)] for r in c]) for c in COMBINATIONS])


@dataclass(frozen=True)
class HouseEffect:
    """One effect of the house, for what is alike in it.

    Parameters
    ----------
    name : str
        Of `EFFECTS`.
    group : str
        Of `GROUPS`.
    of : str
        The yeast or honey it belongs to; empty for the cellar.
    mean, sd : float
        In standard deviations of the population [-].
    batches : int
        How many it was learned from.
    """

    name: str
    group: str
    of: str
    mean: float
    sd: float
    batches: int


@dataclass(frozen=True)
class House:
    """What the finished batches of one maker say together.

    Parameters
    ----------
    summaries : tuple of BatchSummary
        In the order of their names.
    combinations : ndarray
        Which of `COMBINATIONS` of shares are not negligible.
    weights : ndarray
        Of each of these [-].
    mean : ndarray
        Of the house's effects under each, combinations by places [-].
    variance : ndarray
        The same [-].
    covariance : ndarray
        Of the places of kinds that a next batch can have, combinations by places by places [-]:
        those of all places grow with the square of the batches whose yeast is not known.
    places : dict of tuple to int
        First place of a group and kind; those that a next batch can have come first.
    """

    summaries: tuple[BatchSummary, ...]
    combinations: NDArray[np.int64]
    weights: Floats
    mean: Floats
    variance: Floats
    covariance: Floats
    places: dict[tuple[str, str], int]

    @property
    def shares(self) -> Floats:
        """Shares of the combinations kept, combinations by groups [-]."""
        return np.asarray(_GRID[self.combinations])

    @property
    def share(self) -> dict[str, float]:
        """Mean share of the house by group [-]."""
        means = self.weights @ self.shares
        return {group: float(means[k]) for k, group in enumerate(GROUPS)}


def group_of(effect: str) -> str:
    """Which group an effect belongs to: what is not the honey's or the cellar's is the yeast's."""
    if effect in HONEY_EFFECTS:
        return "honey"
    return "cellar" if effect in CELLAR_EFFECTS else "yeast"


_GROUP = np.array([GROUPS.index(group_of(effect)) for effect in EFFECTS])
_MEMBERS = [np.flatnonzero(k == _GROUP) for k in range(len(GROUPS))]


def house_of(summaries: Sequence[BatchSummary]) -> House | None:
    """What finished batches say together; None where there is nothing to learn from.

    Parameters
    ----------
    summaries : sequence of BatchSummary
        In any order: the answer is the same to the last digit.

    Returns
    -------
    House or None

    Notes
    -----
    Gaussian throughout, given the shares. With ``L`` and ``v`` from `information`, ``A`` and ``D``
    the diagonals of sqrt(rho) and 1 - rho, batch i adds ``A (L - L (L + 1/D)^-1 L) A`` to the
    precision of h and ``A (1/D) (L + 1/D)^-1 v`` to its vector; the evidence weighs the shares.
    """
    known = tuple(sorted((s for s in summaries if s.explained), key=lambda s: s.batch))
    if not known:
        return None
    places, size, likely = _places(known)
    root, rest = np.sqrt(_GRID)[:, _GROUP], 1 - _GRID[:, _GROUP]
    told = [(_at(places, s), *_evidence_of(*information(s), root, rest)) for s in known]
    solved = [_solved(told, k, size, likely) for k in range(len(_GRID))]
    evidence = np.array([one.evidence for one in solved]) + _LOG_PRIOR
    weights = np.exp(evidence - evidence.max())
    kept = np.flatnonzero(weights > NEGLIGIBLE * weights.max())
    mean = np.stack([solved[k].mean for k in kept])
    variance = np.stack([solved[k].variance for k in kept])
    covariance = np.stack([solved[k].covariance for k in kept])
    shares = weights[kept] / weights[kept].sum()
    return House(known, kept, shares, mean, variance, covariance, places)


def houses_of(summaries: Sequence[BatchSummary]) -> dict[str, House]:
    """A house for each medium: effects are counted in the spread of a medium's fermentations."""
    media = sorted({s.likeness.medium for s in summaries})
    found = {m: house_of([s for s in summaries if s.likeness.medium == m]) for m in media}
    return {medium: house for medium, house in found.items() if house is not None}


def prior_for(house: House | None, likeness: Likeness) -> HousePrior | None:
    """Where the next batch of this kind is drawn from.

    Parameters
    ----------
    house : House or None
    likeness : Likeness
        Its yeast and honey. What no finished batch had is as in the population.

    Returns
    -------
    HousePrior or None
        None without a house: the population, bit for bit.
    """
    if house is None:
        return None
    weights = house.weights
    mean, covariance = _house_moments(house, likeness)
    covariance += np.eye(len(EFFECTS)) * (1 - house.shares[:, _GROUP])[:, None, :]
    middle = weights @ mean
    apart = mean - middle
    whole = np.einsum("c,cij->ij", weights, covariance + apart[:, :, None] * apart[:, None, :])
    return HousePrior(
        tuple(float(m) for m in middle),
        tuple(tuple(float(c) for c in row) for row in (whole + whole.T) / 2),
        _key(house, likeness),
    )


def effects_of(house: House) -> tuple[HouseEffect, ...]:
    """Every effect of the house by group and kind, with what is not known of it.

    Parameters
    ----------
    house : House

    Returns
    -------
    tuple of HouseEffect
        In the order of groups, kinds and effects.
    """
    weights = house.weights
    found = []
    for (group, kind), first in sorted(house.places.items()):
        number = GROUPS.index(group)
        share = house.shares[:, number]
        count = sum(_kind(s, group) == kind for s in house.summaries)
        for offset, effect in enumerate(_MEMBERS[number]):
            at = first + offset
            mean = np.sqrt(share) * house.mean[:, at]
            middle = float(weights @ mean)
            square = float(weights @ (share * house.variance[:, at] + mean**2))
            spread = float(np.sqrt(max(square - middle**2, 0.0)))
            shown = kind if group != "cellar" else ""
            found.append(HouseEffect(EFFECTS[effect], group, shown, middle, spread, count))
    return tuple(found)


def _kind(summary: BatchSummary, group: str) -> str:
    """What a batch is alike in; a batch whose kind is not known is alike to none."""
    if group == "cellar":
        return "cellar"
    if _is_alone(summary, group):
        return f"batch {summary.batch}"
    return str(getattr(summary.likeness, group))


def _is_alone(summary: BatchSummary, group: str) -> bool:
    """Whether no other batch is alike, as its kind is not known."""
    return group != "cellar" and not getattr(summary.likeness, group)


def _places(known: Sequence[BatchSummary]) -> tuple[dict[tuple[str, str], int], int, int]:
    """First places, how many there are, and how many of them a next batch can have."""
    places: dict[tuple[str, str], int] = {}
    size = likely = 0
    for alone in (False, True):
        for group, members in zip(GROUPS, _MEMBERS, strict=True):
            for kind in sorted({_kind(s, group) for s in known if _is_alone(s, group) == alone}):
                places[group, kind] = size
                size += members.size
        likely = likely if alone else size
    return places, size, likely


def _at(places: dict[tuple[str, str], int], summary: BatchSummary) -> NDArray[np.int64]:
    """Where the effects of a batch stand among those of the house."""
    at = np.empty(len(EFFECTS), np.int64)
    for group, members in zip(GROUPS, _MEMBERS, strict=True):
        at[members] = places[group, _kind(summary, group)] + np.arange(members.size)
    return at


def _evidence_of(
    precision: Floats, vector: Floats, root: Floats, rest: Floats
) -> tuple[Floats, Floats, Floats]:
    """What one batch adds under each combination: precision, vector, log evidence."""
    own = np.eye(rest.shape[1]) * (1 / rest)[:, None, :]
    inner = np.linalg.inv(precision + own)
    add = root[:, :, None] * (precision - precision @ inner @ precision) * root[:, None, :]
    pulled = inner @ vector
    fit = 0.5 * (pulled @ vector) - 0.5 * (
        np.log(rest).sum(axis=1) + np.linalg.slogdet(precision + own)[1]
    )
    return (add + add.transpose(0, 2, 1)) / 2, root / rest * pulled, fit


@dataclass(frozen=True)
class _Solved:
    """The house's effects under one combination of shares."""

    mean: Floats
    variance: Floats
    covariance: Floats
    evidence: float


def _solved(told: Sequence[Any], k: int, size: int, likely: int) -> _Solved:
    """Gather what the batches add under combination k, and solve; covariance of the first places.

    The whole covariance goes at once: with a dozen batches of unknown kinds it has 0.7 MB under
    each combination.
    """
    from scipy.linalg import cho_factor, cho_solve

    precision, vector, evidence = np.eye(size), np.zeros(size), 0.0
    for at, add, pull, fit in told:
        precision[at[:, None], at] += add[k]
        vector[at] += pull[k]
        evidence += float(fit[k])
    factor = cho_factor(precision, lower=True)[0]
    mean = np.asarray(cho_solve((factor, True), vector))
    evidence += float(0.5 * mean @ vector - np.log(np.diag(factor)).sum())
    whole = np.asarray(cho_solve((factor, True), np.eye(size)))
    return _Solved(mean, np.diag(whole).copy(), whole[:likely, :likely].copy(), evidence)


def _house_moments(house: House, likeness: Likeness) -> tuple[Floats, Floats]:
    """Mean and covariance of sqrt(rho) h for a kind of batch, under each combination."""
    root = np.sqrt(house.shares)[:, _GROUP]
    size = len(EFFECTS)
    mean = np.zeros((len(root), size))
    covariance = np.tile(np.eye(size), (len(root), 1, 1))
    wanted = {"yeast": likeness.yeast, "honey": likeness.honey, "cellar": "cellar"}
    mine, theirs = [], []
    for group, members in zip(GROUPS, _MEMBERS, strict=True):
        first = house.places.get((group, wanted[group]))
        if first is not None:
            mine += list(members)
            theirs += list(range(first, first + members.size))
    mean[:, mine] = house.mean[:, theirs]
    covariance[:, np.array(mine)[:, None], mine] = house.covariance[
        :, np.array(theirs)[:, None], theirs
    ]
    return root * mean, root[:, :, None] * covariance * root[:, None, :]


def _key(house: House, likeness: Likeness) -> str:
    said = repr((house.summaries, likeness)).encode()
    return hashlib.sha256(said).hexdigest()[:20]
