"""Which feeds suit this must best: cross-entropy search over the feeds that bounds leave open.

Where the maker lets yeast, gravity or temperature change, the same even feeds are tried on the must
with each change alone, and for each aim with the best of them together; it searches on the best.

Seeded, so that the same must and shelf give the same answer. Found on few members with a seed of
their own; whoever uses the result judges it on others.

Notes
-----
Cross-entropy method: draw points from independent normal distributions, keep the best fifth, move
mean and spread towards theirs, repeat (Rubinstein1999, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mustwright.how_far import Progress
from mustwright.kinetics import forecast as model
from mustwright.kinetics.ensemble_setting import SEED
from mustwright.kinetics.feeds import NitrogenPulse, PulseTrigger
from mustwright.kinetics.forecast import Forecast
from mustwright.must.acidity.claims import claims_data
from mustwright.must.acidity.salts import Salt
from mustwright.planning.kinetic_inputs import conditions_of, must_at_pitch, pulse
from mustwright.planning.likeness import population_at
from mustwright.planning.ranking import Aim, outcome_steps
from mustwright.planning.tailor_change import Variant
from mustwright.planning.tailor_space import FeedSpace, TailoredFeed

FOUND_ON = 96  # members a point is tried on
FOUND_SEED = SEED + 101  # other members than those a result is judged on
POINTS, ROUNDS = 20, 6
EVEN_A_ROUND = 12.0  # musts tried with even feeds in the time of a round
ELITE = 0.2
KEPT = 0.3  # of mean and spread from one round to the next
LEAST_SPREAD = 0.15

Together = Callable[[Sequence["Case"]], "Case | None"]


@dataclass(frozen=True)
class Found:
    """Feeds that were tried, and what they would do on the members of the search.

    Parameters
    ----------
    salt_g_l : float
        Of a potassium salt once 15 % of the sugar is gone [g/L].
    case : Case
        The must they were tried on.
    """

    feeds: tuple[TailoredFeed, ...]
    values: Mapping[str, float]
    salt_g_l: float
    case: Case


@dataclass(frozen=True, eq=False)
class Case:
    """One must the search may feed.

    Parameters
    ----------
    variant : Variant
    space : FeedSpace
    salt : Salt or None
        What may go in against the acid; None where it is not varied.
    salt_most_g_l : float
        By law, label and stock [g/L].
    """

    variant: Variant
    space: FeedSpace
    salt: Salt | None = None
    salt_most_g_l: float = 0.0

    @property
    def needs_feeds(self) -> bool:
        """Whether there is something to feed, and a jar to feed it from."""
        return bool(self.space.jars) and self.space.to_add_mg_l > 0


def search(
    cases: Sequence[Case], aims: tuple[Aim, ...], progress: Progress, together: Together
) -> dict[str, Found] | None:
    """The best feeds found for each aim.

    Parameters
    ----------
    cases : sequence of Case
        The must as it is first, then with each single change.
    aims : tuple of Aim
        Each is searched for; every one takes the best of all that was tried.
    progress : callable
        Told the part done (0 to 1); the search stops when it returns False.
    together : callable
        Makes the case of several single changes; None where they do not go together.

    Returns
    -------
    dict of str to Found, or None
        By aim; None when it was stopped.
    """
    trials = [_Trial(case) for case in cases]
    chance = np.random.Generator(np.random.Philox(FOUND_SEED))
    ahead = len(trials) / EVEN_A_ROUND if len(trials) > 1 else 0.0
    rounds = ahead + len(aims) * ROUNDS
    for k, trial in enumerate(trials if ahead else ()):
        if not progress(k / EVEN_A_ROUND / rounds):
            return None
        trial.even(aims[0])
    for a, aim in enumerate(aims):
        trial = trials[0] if not ahead else _best_trial(trials, aim, together)
        space = trial.space
        middle, spread = space.start(), np.ones(space.size)
        for k in range(ROUNDS):
            if not progress((ahead + a * ROUNDS + k) / rounds):
                return None
            points = middle + spread * chance.standard_normal((POINTS, space.size))
            losses = trial.losses(points, aim)
            best = points[np.argsort(losses, kind="stable")[: round(ELITE * POINTS)]]
            middle = KEPT * middle + (1 - KEPT) * best.mean(axis=0)
            spread = np.maximum(KEPT * spread + (1 - KEPT) * best.std(axis=0), LEAST_SPREAD)
    progress(1.0)
    tried = [one for trial in trials for one in trial.tried.values()]
    return {
        aim.id: min(tried, key=lambda one: outcome_steps(one.values, aim)) for aim in aims if tried
    }


def _best_trial(trials: list[_Trial], aim: Aim, together: Together) -> _Trial:
    """The must that does best under even feeds: as it is, with one change, or the best of each.

    A combination is added to the trials, so that another aim finds it there.
    """
    singles = [one for one in trials if len(one.case.variant.changes) == 1]
    as_it_is, picks = trials[0].even(aim), []
    for kind in dict.fromkeys(one.case.variant.kind for one in singles):
        alike = [one for one in singles if one.case.variant.kind == kind]
        best = min(alike, key=lambda one: one.even(aim))
        if best.even(aim) < as_it_is:
            picks.append(best)
    if len(picks) > 1:
        case = together([one.case for one in picks])
        known = [one.case.variant.changes for one in trials]
        if case is not None and case.variant.changes not in known:
            trials.append(_Trial(case))
    return min(trials, key=lambda one: one.even(aim))


class _Trial:
    """Points tried on the members of the search, each set of feeds and salt once."""

    def __init__(self, case: Case) -> None:
        ground = case.variant.ground
        self.case, self.space = case, case.space
        self.must, self.conditions = must_at_pitch(ground), conditions_of(ground)
        self.prior = population_at(ground)
        self.times = np.arange(0.0, self.conditions.horizon_h + 1, 24.0)
        self.tried: dict[tuple[tuple[TailoredFeed, ...], float], Found] = {}

    def even(self, aim: Aim) -> float:
        """The loss of even feeds without salt; tried once."""
        return self.losses(self.space.start()[None], aim)[0]

    def losses(self, points: np.ndarray, aim: Aim) -> list[float]:
        """How far each point is from the best there could be; those not tried yet run at once."""
        decoded = [(self.space.decode(point), self._salt_g_l(point)) for point in points]
        new = [one for one in dict.fromkeys(decoded) if one[0] and one not in self.tried]
        runs = model.forecast_plans(
            self.must,
            [self._pulses(feeds, salt) for feeds, salt in new],
            self.conditions,
            FOUND_ON,
            FOUND_SEED,
            self.times,
            self.prior,
        )
        for one, run in zip(new, runs, strict=True):
            feeds, salt = one
            self.tried[one] = Found(feeds, self._values(feeds, run), salt, self.case)
        return [
            outcome_steps(self.tried[one].values, aim) if one[0] else float("inf")
            for one in decoded
        ]

    def _salt_g_l(self, point: np.ndarray) -> float:
        return self.space.salt_part(point) * self.case.salt_most_g_l

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

    def _pulses(
        self, feeds: tuple[TailoredFeed, ...], salt_g_l: float
    ) -> tuple[NitrogenPulse, ...]:
        volume = self.space.volume_l
        salts: tuple[NitrogenPulse, ...] = ()
        if self.case.salt is not None and salt_g_l > 0:
            salts = (_salt_pulse(self.case.salt, salt_g_l),)
        fed = tuple(
            pulse(
                PulseTrigger(sugar_left_fraction=1 - one.sugar_used)
                if one.sugar_used
                else PulseTrigger(end_of_lag=True),
                float(np.array(one.grams) @ self._per_gram("ammonium_n")) / volume,
                float(np.array(one.grams) @ self._per_gram("amino_n")) / volume,
            )
            for one in feeds
        )
        return (*fed, *salts)

    def _per_gram(self, what: str) -> np.ndarray:
        return np.array([jar.per_gram(what) for jar in self.space.jars])

    def _plain(self) -> np.ndarray:
        return np.array([jar.nitrogen_mg_g for jar in self.space.jars])


def _salt_pulse(salt: Salt, g_l: float) -> NitrogenPulse:
    """So much of a salt once the first part of the sugar is gone."""
    left = 1 - float(claims_data()["start_after_sugar_used"])
    return pulse(PulseTrigger(sugar_left_fraction=left), 0.0, 0.0, salt.addition(g_l, [1.0]))
