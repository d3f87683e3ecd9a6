"""Which grams of what: the blend of each feed as a linear programme over the shelf.

Variables are grams per litre of each nutrient in each feed. What matters first is solved first and
then held fixed: nitrogen asked for, minerals and vitamins still short, cost, number of products.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from mustwright.figure import TYPED
from mustwright.nutrition.shelf import Nutrient
from mustwright.time_budget import spend

Floats = NDArray[np.float64]
SHORT_MG_L = 0.5  # counts as met: less than half a 0.1 g step of DAP brings to 19 L [mg N/L]
COST_SLACK = 0.01  # fewer products may cost this share more
LARGEST_G_L = 50.0
SMALLEST_G_L = 1e-6
UNKNOWN_PRICE = 30.0  # only orders choices among jars with no price; never shown


@dataclass(frozen=True)
class FeedAsk:
    """What one feed is to bring.

    Parameters
    ----------
    nitrogen_mg_l : float
        [mg N/L of must].
    nutrients : tuple of int
        Which jars may be used, as indices.
    ammonium_share_max : float
        0 to 1.
    fixed_g_l : mapping of int to float or None
        Rates to give as they are, when the protocol states grams.
    """

    nitrogen_mg_l: float
    nutrients: tuple[int, ...]
    ammonium_share_max: float = 1.0
    fixed_g_l: Mapping[int, float] | None = None


@dataclass(frozen=True)
class Ceiling:
    """An upper bound on ``sum weight x grams per litre`` over all feeds.

    Parameters
    ----------
    key : str
        ``limit:<substance>``, ``label:<nutrient>``, ``stock:<nutrient>`` or ``share:ammonium``.
    words : str
        For the maker.
    weights : tuple of float
        One a jar.
    most : float
    source : str
        Where the bound is written.
    """

    key: str
    words: str
    weights: tuple[float, ...]
    most: float
    source: str = TYPED


@dataclass(frozen=True)
class DosingProblem:
    """Everything the programme needs.

    Parameters
    ----------
    jars : tuple of Nutrient
    feeds : tuple of FeedAsk
    ceilings : tuple of Ceiling
    ammonium_share_max : float
        Over the whole plan.
    wants : mapping of str to float
        Minerals and vitamins still short [mg/L].
    """

    jars: tuple[Nutrient, ...]
    feeds: tuple[FeedAsk, ...]
    ceilings: tuple[Ceiling, ...]
    ammonium_share_max: float
    wants: Mapping[str, float]


@dataclass(frozen=True)
class DosingSolution:
    """Grams per litre, feeds by jars, and what each feed still lacks.

    Parameters
    ----------
    kept_back : float
        Largest part of a stated rate that a ceiling keeps back (0 to 1).
    """

    grams_l: Floats
    short_mg_l: Floats
    kept_back: float = 0.0

    @property
    def feasible(self) -> bool:
        """Whether every feed brings what was asked."""
        return bool(self.short_mg_l.sum() <= SHORT_MG_L) and self.kept_back < 0.01


def solve(problem: DosingProblem) -> DosingSolution:
    """The best blend for a problem; short of nitrogen only where no blend can bring it.

    Where nitrogen must stay short, the worst-served feed is served first, so that one feed does
    not eat what another may give as well.
    """
    shape = (len(problem.feeds), len(problem.jars))
    asked = np.array([feed.nitrogen_mg_l for feed in problem.feeds])
    if not problem.feeds or not problem.jars:
        return DosingSolution(np.zeros(shape), asked)
    model = _Model(problem)
    best = model.least(model.worst)
    model.hold(model.worst, float(model.worst @ best))
    for aim in (model.shortfall, model.unstated, model.wanting, model.cost):
        found = model.try_least(aim)
        if found is None:  # what is held leaves less room than the solver's tolerance
            break
        best = found
        slack = COST_SLACK if aim is model.cost else 0.0
        model.hold(aim, float(aim @ best) * (1 + slack))
    else:
        best = _fewest(model, best)
    grams = model.grams_of(best)
    short = np.maximum(asked - grams @ model.nitrogen, 0.0)
    return DosingSolution(grams, short, _kept_back(problem, grams))


def _kept_back(problem: DosingProblem, grams: Floats) -> float:
    """Largest part of a stated rate of a jar without nitrogen that is not given."""
    parts = [
        1 - float(grams[i, j]) / rate
        for i, feed in enumerate(problem.feeds)
        for j, rate in (feed.fixed_g_l or {}).items()
        if rate > 0 and problem.jars[j].nitrogen_mg_g <= 0
    ]
    return max(parts, default=0.0)


def _fewest(model: _Model, best: Floats) -> Floats:
    """Leave out jars one by one, the least used first, where everything held still holds."""
    used = model.grams_of(best).sum(axis=0)
    for j in sorted(np.flatnonzero(used), key=lambda j: used[j]):
        without = model.try_without(int(j))
        if without is not None:
            best = without
    return best


def binding(problem: DosingProblem, solution: DosingSolution) -> list[tuple[Ceiling, float]]:
    """Ceilings that keep the nitrogen short, with the shortfall left when each is lifted [mg N/L].

    Empty when the plan is feasible.
    """
    if solution.feasible:
        return []
    short = shortfall(problem)
    found = []
    for ceiling in problem.ceilings:
        lifted = replace(problem, ceilings=tuple(c for c in problem.ceilings if c is not ceiling))
        left = shortfall(lifted)
        if left < short - SHORT_MG_L:
            found.append((ceiling, left))
    return sorted(found, key=lambda pair: pair[1])


def shortfall(problem: DosingProblem) -> float:
    """Least nitrogen that stays short, whatever the blend [mg N/L]."""
    if not problem.feeds or not problem.jars:
        return sum(feed.nitrogen_mg_l for feed in problem.feeds)
    model = _Model(problem)
    return float(model.shortfall @ model.least(model.shortfall))


class _Model:
    """Matrices of one problem: grams, shortfalls of nitrogen and of wants, the worst shortfall."""

    def __init__(self, problem: DosingProblem) -> None:
        self.problem = problem
        self.feeds, self.jars = len(problem.feeds), len(problem.jars)
        self.names = [w for w, mg in problem.wants.items() if mg > 0]
        self.grams = self.feeds * self.jars
        self.size = self.grams + self.feeds + len(self.names) + 1
        self.nitrogen = np.array([j.nitrogen_mg_g * j.uptake_weight for j in problem.jars])
        self.ammonium = np.array([j.per_gram("ammonium_n") for j in problem.jars])
        self.plain = np.array([j.nitrogen_mg_g for j in problem.jars])
        self.rows: list[Floats] = []
        self.lows: list[float] = []
        self.highs: list[float] = []
        self.high = self._most_grams()
        self._nitrogen_rows()
        self._ceiling_rows()
        self._want_rows()
        self.shortfall = self._over(slice(self.grams, self.grams + self.feeds))
        self.worst = self._over(slice(self.size - 1, self.size))
        self.unstated = self._unstated()
        self.wanting = self._wanting()
        self.cost = self._cost()

    def grams_of(self, variables: Floats) -> Floats:
        """Grams per litre, feeds by jars."""
        grams = variables[: self.grams].reshape(self.feeds, self.jars).copy()
        grams[grams < SMALLEST_G_L] = 0.0
        return grams

    def least(self, objective: Floats) -> Floats:
        """Variables that make the objective least under all rows so far."""
        found = self.try_least(objective)
        if found is None:
            raise RuntimeError("the blend programme has no answer, which its slacks rule out")
        return found

    def try_without(self, jar: int) -> Floats | None:
        """The cheapest answer that leaves a jar out for good, or None when there is none."""
        before = self.high.copy()
        self.high[jar : self.grams : self.jars] = 0.0
        found = self.try_least(self.cost)
        if found is None:
            self.high = before
        return found

    def hold(self, objective: Floats, value: float) -> None:
        """Keep what was reached while the next aim is followed."""
        self._row(objective.copy(), -np.inf, value + 1e-7 + 1e-7 * abs(value))

    def try_least(self, objective: Floats) -> Floats | None:
        """As `least`, or None when the rows so far leave no answer."""
        spend()
        result = milp(
            objective,
            constraints=LinearConstraint(np.array(self.rows), self.lows, self.highs),
            bounds=Bounds(np.zeros(self.size), self.high),
        )
        return None if result.x is None else np.maximum(np.asarray(result.x), 0.0)

    def _row(self, row: Floats, low: float, high: float) -> None:
        self.rows.append(row)
        self.lows.append(low)
        self.highs.append(high)

    def _over(self, where: slice) -> Floats:
        row = np.zeros(self.size)
        row[where] = 1.0
        return row

    def _per_jar(self, weights: Floats) -> Floats:
        """A row that weighs each jar over all feeds."""
        row = np.zeros(self.size)
        row[: self.grams] = np.tile(weights, self.feeds)
        return row

    def _nitrogen_rows(self) -> None:
        for i, feed in enumerate(self.problem.feeds):
            row = np.zeros(self.size)
            here = slice(i * self.jars, (i + 1) * self.jars)
            row[here] = self.nitrogen
            row[self.grams + i] = 1.0
            self._row(row, feed.nitrogen_mg_l, feed.nitrogen_mg_l)
            worst = np.zeros(self.size)
            worst[self.grams + i], worst[-1] = 1.0, -feed.nitrogen_mg_l
            self._row(worst, -np.inf, 0.0)
            if feed.ammonium_share_max < 1:
                share = np.zeros(self.size)
                share[here] = self.ammonium - feed.ammonium_share_max * self.plain
                self._row(share, -np.inf, 0.0)
        if self.problem.ammonium_share_max < 1:
            weights = self.ammonium - self.problem.ammonium_share_max * self.plain
            self._row(self._per_jar(weights), -np.inf, 0.0)

    def _ceiling_rows(self) -> None:
        for ceiling in self.problem.ceilings:
            self._row(self._per_jar(np.array(ceiling.weights)), -np.inf, max(ceiling.most, 0.0))

    def _want_rows(self) -> None:
        for k, name in enumerate(self.names):
            row = self._per_jar(np.array([j.per_gram(name) for j in self.problem.jars]))
            row[self.grams + self.feeds + k] = 1.0
            self._row(row, self.problem.wants[name], np.inf)

    def _wanting(self) -> Floats:
        row = np.zeros(self.size)
        for k, name in enumerate(self.names):
            row[self.grams + self.feeds + k] = 1.0 / self.problem.wants[name]
        return row

    def _unstated(self) -> Floats:
        """Less the stated rates of jars without nitrogen: nothing else would ask for them."""
        row = np.zeros(self.size)
        for i, feed in enumerate(self.problem.feeds):
            for j, rate in (feed.fixed_g_l or {}).items():
                if rate > 0 and self.plain[j] <= 0:
                    row[i * self.jars + j] = -1.0 / rate
        return row

    def _cost(self) -> Floats:
        prices = [j.price_per_kg for j in self.problem.jars]
        known = [p for p in prices if p is not None]
        stand_in = max(known) if known else UNKNOWN_PRICE
        per_gram = np.array([(stand_in if p is None else p) / 1000 + 1e-6 for p in prices])
        row = self._per_jar(per_gram)
        # Of equal blends the one that gives minerals first: yeast takes them up in the first hours.
        for j, jar in enumerate(self.problem.jars):
            if jar.group == "mineral":
                row[j : self.grams : self.jars] *= 1 + 1e-3 * np.arange(self.feeds)
        return row

    def _most_grams(self) -> Floats:
        high = np.full(self.size, np.inf)
        high[: self.grams] = 0.0
        for i, feed in enumerate(self.problem.feeds):
            for j in feed.nutrients:
                fixed = (feed.fixed_g_l or {}).get(j)
                high[i * self.jars + j] = LARGEST_G_L if fixed is None else fixed
        return high


def ceilings_of(
    jars: Sequence[Nutrient],
    volume_l: float,
    limits: Sequence[tuple[str, str, Sequence[float], float, str]],
) -> tuple[Ceiling, ...]:
    """Put the ceilings of labels and stock after those of the law.

    Parameters
    ----------
    jars : sequence of Nutrient
    volume_l : float
        Of the must, above 0 [L].
    limits : sequence
        For each legal limit: substance, words, its share in each jar [g/g], the most still
        allowed [g/L], and source.

    Returns
    -------
    tuple of Ceiling
    """
    found = [
        Ceiling(f"limit:{substance}", words, tuple(weights), most, source)
        for substance, words, weights, most, source in limits
    ]
    for j, jar in enumerate(jars):
        alone = tuple(1.0 if k == j else 0.0 for k in range(len(jars)))
        if jar.label_max_g_l is not None:
            most = jar.label_max_g_l.value
            label = "the label" if jar.label_max_g_l.source == TYPED else "the usual label"
            words = f"{label} of {jar.name} allows {most:g} g/L"
            source = jar.label_max_g_l.source
            found.append(Ceiling(f"label:{jar.id}", words, alone, most, source))
        if jar.stock_g is not None:
            words = f"the shelf holds {jar.stock_g:g} g of {jar.name}"
            found.append(Ceiling(f"stock:{jar.id}", words, alone, jar.stock_g / volume_l))
    return tuple(found)
