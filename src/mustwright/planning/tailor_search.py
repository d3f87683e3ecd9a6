"""Which feeds suit this must best: cross-entropy search over the feeds that bounds leave open.

Seeded, so that the same must and shelf give the same answer. Found on few members with a seed of
their own; whoever uses the result judges it on others.

Notes
-----
Cross-entropy method: draw points from independent normal distributions, keep the best fifth, move
mean and spread towards theirs, repeat (Rubinstein1999, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from mustwright.kinetics import forecast as model
from mustwright.kinetics.ensemble_setting import SEED
from mustwright.kinetics.feeds import NitrogenPulse, PulseTrigger
from mustwright.kinetics.forecast import Forecast
from mustwright.planning.kinetic_inputs import conditions_of, must_at_pitch, pulse
from mustwright.planning.likeness import population_at
from mustwright.planning.must_setup import Ground
from mustwright.planning.ranking import Aim, outcome_steps
from mustwright.planning.tailor_space import FeedSpace, TailoredFeed

FOUND_ON = 96  # members a point is tried on
FOUND_SEED = SEED + 101  # other members than those a result is judged on
POINTS, ROUNDS = 20, 6
ELITE = 0.2
KEPT = 0.3  # of mean and spread from one round to the next
LEAST_SPREAD = 0.15

Progress = Callable[[float], bool]  # told how far (0 to 1); says whether to go on


@dataclass(frozen=True)
class Found:
    """Feeds that were tried, and what they would do on the members of the search."""

    feeds: tuple[TailoredFeed, ...]
    values: Mapping[str, float]


def search(
    ground: Ground, space: FeedSpace, aims: tuple[Aim, ...], progress: Progress
) -> dict[str, Found] | None:
    """The best feeds found for each aim.

    Parameters
    ----------
    ground : Ground
    space : FeedSpace
    aims : tuple of Aim
        Each is searched for; every one takes the best of all that was tried.
    progress : callable
        Told the part done (0 to 1); the search stops when it returns False.

    Returns
    -------
    dict of str to Found, or None
        By aim; None when it was stopped.
    """
    trial = _Trial(ground, space)
    chance = np.random.Generator(np.random.Philox(FOUND_SEED))
    rounds = len(aims) * ROUNDS
    for a, aim in enumerate(aims):
        middle, spread = space.start(), np.ones(space.size)
        for k in range(ROUNDS):
            if not progress((a * ROUNDS + k) / rounds):
                return None
            points = middle + spread * chance.standard_normal((POINTS, space.size))
            losses = trial.losses(points, aim)
            best = points[np.argsort(losses, kind="stable")[: round(ELITE * POINTS)]]
            middle = KEPT * middle + (1 - KEPT) * best.mean(axis=0)
            spread = np.maximum(KEPT * spread + (1 - KEPT) * best.std(axis=0), LEAST_SPREAD)
    progress(1.0)
    return {
        aim.id: min(trial.tried.values(), key=lambda one: outcome_steps(one.values, aim))
        for aim in aims
        if trial.tried
    }


class _Trial:
    """Points tried on the members of the search, each set of feeds once."""

    def __init__(self, ground: Ground, space: FeedSpace) -> None:
        self.ground, self.space = ground, space
        self.must, self.conditions = must_at_pitch(ground), conditions_of(ground)
        self.prior = population_at(ground)
        self.times = np.arange(0.0, self.conditions.horizon_h + 1, 24.0)
        self.tried: dict[tuple[TailoredFeed, ...], Found] = {}

    def losses(self, points: np.ndarray, aim: Aim) -> list[float]:
        """How far each point is from the best there could be; those not tried yet run at once."""
        decoded = [self.space.decode(point) for point in points]
        new = [f for f in dict.fromkeys(decoded) if f and f not in self.tried]
        runs = model.forecast_plans(
            self.must,
            [self._pulses(feeds) for feeds in new],
            self.conditions,
            FOUND_ON,
            FOUND_SEED,
            self.times,
            self.prior,
        )
        for feeds, run in zip(new, runs, strict=True):
            self.tried[feeds] = Found(feeds, self._values(feeds, run))
        return [
            outcome_steps(self.tried[feeds].values, aim) if feeds else float("inf")
            for feeds in decoded
        ]

    def _values(self, feeds: tuple[TailoredFeed, ...], run: Forecast) -> dict[str, float]:
        last = self.conditions.horizon_h
        ammonium, whole = (
            sum(float(np.array(f.grams) @ kind) for f in feeds)
            for kind in (self._per_gram("ammonium_n"), self._plain())
        )
        found = {
            "chance_to_finish": 1 - run.chance_of_sticking,
            "days_to_dry": float(np.mean(np.minimum(run.dry_at_h, last))) / 24,
            "peak_temperature_c": float(np.max(run.temperature_c.p50)),
            "ph_trough": float(run.lowest_ph.p50),
            "peak_gas_l_h": float(run.peak_gas_l_h.p50),
            "ammonium_left_mg_l": float(run.nitrogen.unused_ammonium_mg_l.p50),
            "amino_left_mg_l": float(run.nitrogen.unused_amino_mg_l.p50),
            "ammonium_share": ammonium / whole,
            "feeds": float(len(feeds)),
        }
        prices = [jar.price_per_kg for jar in self.space.jars]
        used = np.sum([f.grams for f in feeds], axis=0)
        if all(price is not None for price, grams in zip(prices, used, strict=True) if grams):
            found["cost"] = sum(
                (price or 0.0) * grams / 1000 for price, grams in zip(prices, used, strict=True)
            )
        return found

    def _pulses(self, feeds: tuple[TailoredFeed, ...]) -> tuple[NitrogenPulse, ...]:
        volume = self.space.volume_l
        return tuple(
            pulse(
                PulseTrigger(sugar_left_fraction=1 - one.sugar_used)
                if one.sugar_used
                else PulseTrigger(end_of_lag=True),
                float(np.array(one.grams) @ self._per_gram("ammonium_n")) / volume,
                float(np.array(one.grams) @ self._per_gram("amino_n")) / volume,
            )
            for one in feeds
        )

    def _per_gram(self, what: str) -> np.ndarray:
        return np.array([jar.per_gram(what) for jar in self.space.jars])

    def _plain(self) -> np.ndarray:
        return np.array([jar.nitrogen_mg_g for jar in self.space.jars])
