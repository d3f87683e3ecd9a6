"""Which plan for what the maker wants: ranked by outcome, the same in effect grouped.

Each plan's outcome is weighed by the aim into one loss, every part of it shown. Plans whose loss
differs by less than a maker would notice are one group, and within the best group trade practice
decides. What may be recommended at all is said in `mustwright.nutrition.choose`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from mustwright import data
from mustwright.errors import UnknownKindError
from mustwright.figure import Figure
from mustwright.nutrition.choose import ProtocolVerdict, by_practice, candidates
from mustwright.texts import join, say

DEFAULT_AIM = "security"
ALIKE = say("no real difference here")
MOST_STEPS = 20.0  # of one quantity: a plan that never gets dry is not worse than can be counted


@dataclass(frozen=True)
class Aim:
    """What a maker wants most.

    Parameters
    ----------
    id, name, words : str
    weights : mapping of str to float
        How much a noticeable step of each outcome counts.
    """

    id: str
    name: str
    words: str
    weights: Mapping[str, float]


@dataclass(frozen=True)
class Ranked:
    """Plans in the light of an aim.

    Parameters
    ----------
    pick : int
        The one to recommend.
    order : tuple of int
        All of them, the pick first, then by group and loss.
    groups : tuple of int
        For each plan its group, 1 for the best; plans of one group make no real difference.
    losses : tuple of Figure
        For each plan, in noticeable steps weighed by the aim, against the best of each outcome.
    aim : Aim
    """

    pick: int
    order: tuple[int, ...]
    groups: tuple[int, ...]
    losses: tuple[Figure, ...]
    aim: Aim


@cache
def aims() -> dict[str, Aim]:
    """Every aim, by id, the default first."""
    return {
        identity: Aim(identity, one["name"], one["words"], dict(one["weight"]))
        for identity, one in data.load("aims")["aim"].items()
    }


def aim_called(identity: str, where: str = "goal.aim") -> Aim:
    """An aim by id.

    Raises
    ------
    UnknownKindError
    """
    plain = identity.strip().lower().replace(" ", "_").replace("-", "_")
    if plain not in aims():
        raise UnknownKindError(
            where, say("needs one of {known}", known=", ".join(aims())), identity
        )
    return aims()[plain]


def rank(
    outcomes: Sequence[Mapping[str, float]], verdicts: Sequence[ProtocolVerdict], aim: Aim
) -> Ranked:
    """Plans ranked by what they would do.

    Parameters
    ----------
    outcomes : sequence of mapping
        For each plan its outcome by the names of ``data/aims.toml``, in their units; what is not
        there for every plan does not count. Empty mappings where nothing was forecast.
    verdicts : sequence of ProtocolVerdict
        For each plan.
    aim : Aim

    Returns
    -------
    Ranked
    """
    parts = _losses(outcomes, aim)
    losses = [sum(one.values()) for one in parts]
    may = candidates(verdicts)
    real = float(data.load("aims")["real_loss"])
    least = min(losses[i] for i in may)
    pick = by_practice([i for i in may if losses[i] - least < real], verdicts)
    groups = _groups(losses, pick, real)
    order = sorted(
        range(len(losses)),
        key=lambda i: (i != pick, groups[i], verdicts[i].faults, losses[i], verdicts[i].practice),
    )
    figures = tuple(_figure(one, aim) for one in parts)
    return Ranked(pick, tuple(order), groups, figures, aim)


def against(ranked: Ranked, k: int, pace: str) -> str:
    """How a plan differs from the recommended one, in words.

    Parameters
    ----------
    ranked : Ranked
    k : int
        Index of the plan.
    pace : str
        When it is dry against the recommended one, or `ALIKE`.

    Returns
    -------
    str
        `ALIKE` for every plan of the best group.
    """
    if ranked.groups[k] == 1:
        return ALIKE
    mine, best = ranked.losses[k].inputs, ranked.losses[ranked.pick].inputs
    worse = {
        step["worse"]: float(mine[step["name"]]) - float(best[step["name"]])
        for step in data.load("aims")["step"].values()
        if "worse" in step and step["name"] in mine
    }
    most = max(worse, key=worse.__getitem__, default="")
    said = [most] if most and worse[most] > 0 else []
    said += [] if pace == ALIKE else [pace]
    return join("; ", said) if said else ALIKE


def outcome_steps(values: Mapping[str, float], aim: Aim) -> float:
    """One outcome in noticeable steps weighed by the aim: the less, the better.

    Parameters
    ----------
    values : mapping of str to float
        By the names of ``data/aims.toml``, in their units.
    aim : Aim

    Returns
    -------
    float
        Only the difference of two outcomes means anything.
    """
    return sum(
        aim.weights.get(name, 0.0) * float(np.clip(values[name] / float(step["size"]), -1e9, 1e9))
        for name, step in data.load("aims")["step"].items()
        if name in values
    )


def _losses(outcomes: Sequence[Mapping[str, float]], aim: Aim) -> list[dict[str, float]]:
    """For each plan the weighed steps by which each outcome is worse than the best there is."""
    found: list[dict[str, float]] = [{} for _ in outcomes]
    for name, step in data.load("aims")["step"].items():
        weight = aim.weights.get(name, 0.0)
        if weight <= 0 or any(name not in one for one in outcomes):
            continue
        steps = np.clip(np.array([one[name] for one in outcomes]) / float(step["size"]), -1e9, 1e9)
        worse = np.minimum(steps - np.min(steps), MOST_STEPS)
        for one, value in zip(found, worse, strict=True):
            one[name] = weight * float(value)
    return found


def _groups(losses: Sequence[float], pick: int, real: float) -> tuple[int, ...]:
    """Groups of plans within a real loss of their best; the pick's is the first."""
    left = sorted(range(len(losses)), key=lambda i: losses[i])
    groups = [0] * len(losses)
    number = 0
    while left:
        first = losses[pick] if number == 0 else losses[left[0]]
        number += 1
        near = [i for i in left if abs(losses[i] - first) < real] or [left[0]]
        for i in near:
            groups[i] = number
        left = [i for i in left if i not in near]
    return tuple(groups)


def _figure(parts: Mapping[str, float], aim: Aim) -> Figure:
    steps = data.load("aims")["step"]
    return Figure(
        round(sum(parts.values()), 3),
        say("noticeable steps"),
        say(
            "sum of weight x steps worse than the best plan, weighed for {aim}",
            aim=aim.name,
        ),
        say("assumed: the weights are a judgement"),
        {steps[name]["name"]: round(value, 3) for name, value in parts.items()},
    )
