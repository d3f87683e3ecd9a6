"""What a step that was done leaves in the log: the amounts really used, and what they brought."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from mustwright.batch.finishing_record import HELD, Added, Poured, StepDone
from mustwright.errors import InputError
from mustwright.figure import Figure
from mustwright.finishing.liquid import Liquid, mead
from mustwright.finishing.step import Addition
from mustwright.texts import say


def held_as(name: str) -> tuple[str, float]:
    """What the log holds of a quantity per litre, and how many of its units are a gram.

    Examples
    --------
    >>> held_as("total_so2_mg_l"), held_as("sugar_g_l")
    (('total_so2', 1000.0), ('sugar', 1.0))
    """
    held = name.removesuffix("_mg_l").removesuffix("_g_l")
    return held, 1000.0 if name.endswith("_mg_l") else 1.0


@dataclass(frozen=True)
class AnsweredStep:
    """An answer and what it was worked out from.

    Parameters
    ----------
    result : object
        What the use case gave.
    volume_l : float
        Of the batch before [L].
    given : mapping
        The fields of the step.
    gravity, alcohol_pct : float or None
        Of the batch before [SG 20/20, % vol].
    lots : sequence of Added
        Of a blend, what a litre of each lot would bring.
    own : int or None
        Which of the lots is this batch.
    """

    result: Any
    volume_l: float
    given: Mapping[str, object]
    gravity: float | None = None
    alcohol_pct: float | None = None
    lots: Sequence[Added] = ()
    own: int | None = None

    @property
    def is_stopped(self) -> bool:
        """Whether somebody said that yeast was stopped."""
        return self.given.get("stabilised") not in (None, "", "no")

    def volume_after_l(self, made: StepDone) -> float:
        """The batch once it is done [L]."""
        left = self.volume_l - made.lost_l
        poured = [one.liquid for one in made.added if one.liquid is not None]
        if not poured or self.gravity is None or self.alcohol_pct is None:
            return max(left, 0.0)
        liquid = mead(left, self.gravity, self.alcohol_pct) if left > 1e-6 else Liquid(0, 0, 0)
        for one in poured:
            liquid = liquid + Liquid(one.mass_g, one.extract_g, one.ethanol_g)
        return liquid.volume_l


def added(
    case: AnsweredStep,
    one: Addition,
    grams: float,
    liquid: Liquid | None = None,
    whole_g: float = 0.0,
) -> Added:
    """An addition with the grams that went in.

    Parameters
    ----------
    liquid : Liquid or None
        What `whole_g` of it brings, where it makes the volume grow.
    """
    after = case.result.recorded.after.get("volume_l")
    volume = case.volume_l if after is None or liquid is None else after.value
    held = {held_as(name): figure.value * volume for name, figure in one.brings.items()}
    brings = {name: value / units for (name, units), value in held.items() if name in HELD}
    whole = whole_g or one.grams.value
    poured = None if liquid is None else Poured(liquid.mass_g, liquid.extract_g, liquid.ethanol_g)
    base = Added(one.substance[:120], one.name[:120], whole, brings, poured)
    return base.times(grams / whole) if whole > 0 else base


def as_used(case: AnsweredStep, used: Mapping[str, float]) -> tuple[Added, ...]:
    """Additions that make the volume no other, with the grams that were used."""
    additions = case.result.recorded.additions
    return tuple(added(case, one, used[f"grams.{i}"]) for i, one in enumerate(additions, 1))


def gained(case: AnsweredStep, before_l: float) -> Liquid:
    """What went in by the answer: the mead after less the mead before."""
    if case.gravity is None or case.alcohol_pct is None:
        raise InputError("gravity", say("needs gravity and alcohol of the mead"), None)
    after = case.result.recorded.after
    now = mead(before_l, case.gravity, case.alcohol_pct)
    then = mead(after["volume_l"].value, after["gravity"].value, after["alcohol_pct"].value)
    return then + now.times(-1.0)


def over(
    case: AnsweredStep,
    parts: Sequence[Added],
    name: str,
    answered: Figure,
    limit: Figure | None,
    what: str,
) -> dict[str, str]:
    """A word for the log where what was used passes a limit of law that the answer kept.

    Parameters
    ----------
    name : str
        Of what counts, as an answer says what an addition brings (``total_so2_mg_l``).
    answered : Figure
        How much the answer leaves in the mead [mg/L].
    """
    held, per_litre = held_as(name)
    used = sum(per_litre * one.brings_g.get(held, 0.0) / case.volume_l for one in parts)
    by_answer = sum(one.brings[name].value for one in case.result.recorded.additions)
    value = answered.value - by_answer + used
    if limit is None or value <= limit.value * (1 + 1e-6):
        return {}
    said = say(
        "{value:.0f} mg/L of {what}; the law chosen allows {limit:.0f}",
        value=value,
        what=what,
        limit=limit.value,
    )
    return {"over the limit": said}
