"""Matrices of one dosing problem: what is varied, what holds, and each aim as a row."""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from mustwright.nutrition.dosing_problem import DosingProblem, Floats
from mustwright.time_budget import spend

LARGEST_G_L = 50.0
SMALLEST_G_L = 1e-6
UNKNOWN_PRICE = 30.0  # only orders choices among jars with no price; never shown


class DosingModel:
    """One problem as a linear programme.

    Columns: grams per litre (feeds by jars), then for each feed what it lacks and what it brings
    beyond its own, what its ammonium is beyond its share; what minerals and vitamins lack; what
    exceeds each piece of advice, and the most that labels of its kind allow; a part of each jar's
    stated rates; and the largest relative lack and surplus.
    """

    def __init__(self, problem: DosingProblem) -> None:
        self.problem = problem
        self.feeds, self.jars = len(problem.feeds), len(problem.jars)
        self.names = [w for w, mg in problem.wants.items() if mg > 0]
        self.advice = [c for c in problem.ceilings if c.advises and c.most > 0]
        self._columns()
        self.nitrogen = np.array([j.nitrogen_mg_g * j.uptake_weight for j in problem.jars])
        self.ammonium = np.array([j.per_gram("ammonium_n") for j in problem.jars])
        self.plain = np.array([j.nitrogen_mg_g for j in problem.jars])
        self.rows: list[Floats] = []
        self.lows: list[float] = []
        self.highs: list[float] = []
        self.high = self._most()
        self._nitrogen_rows()
        self._share_rows()
        self._rate_rows()
        self._ceiling_rows()
        self._want_rows()
        self.net = self._over(self.lack) - self._over(self.surplus)
        self._row(self.net, 0.0, np.inf)
        self.cost = self._cost()
        self.aims = self._aims()

    # What may be asked of it ---------------------------------------------------------------------

    def grams_of(self, variables: Floats) -> Floats:
        """Grams per litre, feeds by jars."""
        grams = variables[self.grams].reshape(self.feeds, self.jars).copy()
        grams[grams < SMALLEST_G_L] = 0.0
        return grams

    def least(self, objective: Floats) -> Floats:
        """Variables that make the objective least under all rows so far."""
        found = self.try_least(objective)
        if found is None:
            raise RuntimeError("the blend programme has no answer, which its slacks rule out")
        return found

    def try_least(self, objective: Floats) -> Floats | None:
        """As `least`, or None when the rows so far leave no answer."""
        spend()
        result = milp(
            objective,
            constraints=LinearConstraint(np.array(self.rows), self.lows, self.highs),
            bounds=Bounds(np.zeros(self.size), self.high),
        )
        return None if result.x is None else np.maximum(np.asarray(result.x), 0.0)

    def is_reached(self, objective: Floats, variables: Floats) -> bool:
        """Whether no answer can make the objective less: a sum of what is never negative, at 0."""
        return bool((objective >= 0).all() and objective @ variables <= 0)

    def try_without(self, jar: int) -> Floats | None:
        """The cheapest answer that leaves a jar out for good, or None when there is none."""
        before = self.high.copy()
        self.high[jar : self.grams.stop : self.jars] = 0.0
        found = self.try_least(self.cost)
        if found is None:
            self.high = before
        return found

    def hold(self, objective: Floats, value: float) -> None:
        """Keep what was reached while the next aim is followed."""
        self._row(objective.copy(), -np.inf, value + 1e-7 + 1e-7 * abs(value))

    # Columns and rows ----------------------------------------------------------------------------

    def _columns(self) -> None:
        sizes = {
            "grams": self.feeds * self.jars,
            "lack": self.feeds,
            "surplus": self.feeds,
            "beyond_share": self.feeds + 1,
            "wanting": len(self.names),
            "beyond_usual": len(self.advice),
            "beyond_most": len(self.advice),
            "rate_given": self.jars,
            "worst": 1,
            "fullest": 1,
        }
        start, found = 0, {}
        for name, size in sizes.items():
            found[name] = slice(start, start + size)
            start += size
        self.size = start
        self.grams, self.lack, self.surplus = found["grams"], found["lack"], found["surplus"]
        self.beyond_share, self.wanting = found["beyond_share"], found["wanting"]
        self.beyond_usual, self.beyond_most = found["beyond_usual"], found["beyond_most"]
        self.rate_given = found["rate_given"]
        self.worst, self.fullest = found["worst"].start, found["fullest"].start

    def _row(self, row: Floats, low: float, high: float) -> None:
        self.rows.append(row)
        self.lows.append(low)
        self.highs.append(high)

    def _over(self, where: slice) -> Floats:
        row = np.zeros(self.size)
        row[where] = 1.0
        return row

    def _here(self, i: int) -> slice:
        return slice(i * self.jars, (i + 1) * self.jars)

    def _per_jar(self, weights: Floats) -> Floats:
        """A row that weighs each jar over all feeds."""
        row = np.zeros(self.size)
        row[self.grams] = np.tile(weights, self.feeds)
        return row

    def _most(self) -> Floats:
        high = np.full(self.size, np.inf)
        high[self.grams] = 0.0
        for i, feed in enumerate(self.problem.feeds):
            for j in (*feed.nutrients, *feed.stand_ins):
                fixed = (feed.fixed_g_l or {}).get(j)
                high[i * self.jars + j] = LARGEST_G_L if fixed is None else fixed
        if self.problem.strict or any(f.fixed_g_l is not None for f in self.problem.feeds):
            high[self.surplus] = 0.0
        for i, feed in enumerate(self.problem.feeds):
            if feed.nitrogen_mg_l <= 0:
                high[self.surplus.start + i] = 0.0
        high[self.rate_given] = 1.0
        return high

    def _nitrogen_rows(self) -> None:
        for i, feed in enumerate(self.problem.feeds):
            row = np.zeros(self.size)
            row[self._here(i)] = self.nitrogen
            row[self.lack.start + i], row[self.surplus.start + i] = 1.0, -1.0
            self._row(row, feed.nitrogen_mg_l, feed.nitrogen_mg_l)
            for column, largest in ((self.lack, self.worst), (self.surplus, self.fullest)):
                relative = np.zeros(self.size)
                relative[column.start + i], relative[largest] = 1.0, -feed.nitrogen_mg_l
                if column is self.lack or feed.nitrogen_mg_l > 0:
                    self._row(relative, -np.inf, 0.0)

    def _share_rows(self) -> None:
        """Ammonium beyond the shares the protocol wants; a stated rate is given as stated."""
        for i, feed in enumerate(self.problem.feeds):
            if feed.ammonium_share_max < 1 and feed.fixed_g_l is None:
                row = np.zeros(self.size)
                row[self._here(i)] = self.ammonium - feed.ammonium_share_max * self.plain
                self._beyond(row, self.beyond_share.start + i)
        free = all(feed.fixed_g_l is None for feed in self.problem.feeds)
        if self.problem.ammonium_share_max < 1 and free:
            weights = self.ammonium - self.problem.ammonium_share_max * self.plain
            self._beyond(self._per_jar(weights), self.beyond_share.stop - 1)

    def _beyond(self, row: Floats, slack: int) -> None:
        if not self.problem.strict:
            row[slack] = -1.0
        self._row(row, -np.inf, 0.0)

    def _rate_rows(self) -> None:
        """A stated rate that a ceiling cuts is cut by the same part in every feed."""
        for i, feed in enumerate(self.problem.feeds):
            for j, rate in (feed.fixed_g_l or {}).items():
                row = np.zeros(self.size)
                row[i * self.jars + j], row[self.rate_given.start + j] = 1.0, -rate
                self._row(row, 0.0, 0.0)

    def _ceiling_rows(self) -> None:
        for ceiling in self.problem.ceilings:
            row = self._per_jar(np.array(ceiling.weights))
            if ceiling not in self.advice:
                self._row(row, -np.inf, max(ceiling.most, 0.0))
                continue
            k = self.advice.index(ceiling)
            usual, most = row.copy(), row.copy()
            usual[self.beyond_usual.start + k] = -ceiling.most
            most[self.beyond_most.start + k] = -ceiling.most
            self._row(usual, -np.inf, ceiling.most)
            self._row(most, -np.inf, ceiling.high or ceiling.most)

    def _want_rows(self) -> None:
        for k, name in enumerate(self.names):
            row = self._per_jar(np.array([j.per_gram(name) for j in self.problem.jars]))
            row[self.wanting.start + k] = 1.0
            self._row(row, self.problem.wants[name], np.inf)

    # Aims ----------------------------------------------------------------------------------------

    def _aims(self) -> tuple[Floats, ...]:
        """What is made least once the nitrogen is settled, in this order."""
        worst, fullest = np.zeros(self.size), np.zeros(self.size)
        worst[self.worst], fullest[self.fullest] = 1.0, 1.0
        beyond_most, beyond_usual = self._over(self.beyond_most), self._over(self.beyond_usual)
        aims = (
            worst,
            self._over(self.lack),
            self._preferences(),
            fullest,
            beyond_most,
            beyond_usual,
            self._unstated(),
            self._wanting(),
            self.cost,
        )
        return tuple(aim for aim in aims if aim.any())

    def _preferences(self) -> Floats:
        """Nitrogen of jars the protocol does not name, and ammonium beyond its shares [mg N/L]."""
        row = self._over(self.beyond_share)
        for i, feed in enumerate(self.problem.feeds):
            for j in feed.stand_ins:
                row[i * self.jars + j] = self.nitrogen[j]
        return row

    def _wanting(self) -> Floats:
        row = np.zeros(self.size)
        for k, name in enumerate(self.names):
            row[self.wanting.start + k] = 1.0 / self.problem.wants[name]
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
                row[j : self.grams.stop : self.jars] *= 1 + 1e-3 * np.arange(self.feeds)
        return row
