"""One trial from lot to answer: which vessel holds what, what was read off, what it shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from mustwright.errors import ConflictError, InputError
from mustwright.learning.randomisation import (
    TrialEffect,
    arms_effect,
    paired_effect,
    several_arms_p,
)
from mustwright.learning.trial_design import LEVEL, THING_WORDS, THINGS, allot, smallest_p
from mustwright.texts import say

LONGEST_NAME = 80
EXPECTED = ("", "more", "less")


@dataclass(frozen=True)
class TrialArm:
    """One of the ways compared.

    Parameters
    ----------
    name : str
        For people.
    protocol : str
        Id of the feeding protocol; empty for the one that suits best.
    must : str
        Sheet of this arm: short name of a kept must; empty where all share one.
    """

    name: str
    protocol: str = ""
    must: str = ""


@dataclass(frozen=True)
class TrialVessel:
    """One vessel.

    Parameters
    ----------
    vessel, arm, must : int
        Numbers from 1; the must counts where several are split in pairs.
    code : int
        On its label; says nothing of the arm.
    batch : str
        Short name of the batch in it.
    value : float or None
        What was scored or measured under its code [any unit].
    """

    vessel: int
    arm: int
    code: int
    must: int = 1
    batch: str = ""
    value: float | None = None


@dataclass(frozen=True)
class TrialRecord:
    """A trial.

    Parameters
    ----------
    name : str
    thing : str
        The one thing that differs, of `THINGS`.
    arms : tuple of TrialArm
    vessels : tuple of TrialVessel
    seed : int
        Of the lot.
    paired : bool
    started_at : datetime
    expected : str
        What was expected of the second arm beforehand: "more", "less", or nothing. Only what was
        said beforehand makes a one-sided answer honest.
    measure : str
        What the values are, once there are some.
    opened_at : datetime or None
        When the codes were opened.
    opened_early : bool
        Before every vessel had its value: scores given later are not blind.
    """

    name: str
    thing: str
    arms: tuple[TrialArm, ...]
    vessels: tuple[TrialVessel, ...]
    seed: int
    paired: bool
    started_at: datetime
    expected: str = ""
    measure: str = ""
    opened_at: datetime | None = None
    opened_early: bool = False

    @property
    def is_open(self) -> bool:
        """Whether codes may be shown with their arms."""
        return self.opened_at is not None

    @property
    def is_scored(self) -> bool:
        """Whether every vessel has its value."""
        return all(v.value is not None for v in self.vessels)


@dataclass(frozen=True)
class TrialAnswer:
    """What a trial shows.

    Parameters
    ----------
    means : dict of str to float
        By arm [any unit].
    effect : TrialEffect or None
        Second arm less first; None with more than two arms.
    p : float
        Of two arms in the direction expected beforehand, else two-sided; "do they differ at all"
        for more arms [-].
    smallest_p : float
        Smallest that this layout could reach in the same sense [-].
    message : str
    """

    means: dict[str, float]
    effect: TrialEffect | None
    p: float
    smallest_p: float
    message: str


def new_trial(
    name: str,
    thing: str,
    arms: tuple[TrialArm, ...],
    vessels: int,
    seed: int,
    started_at: datetime,
    paired: bool = False,
    expected: str = "",
) -> TrialRecord:
    """A trial with its lot drawn.

    Parameters
    ----------
    name : str
    thing : {"protocol", "nutrient", "yeast", "pitch", "temperature", "salt", "other"}
    arms : tuple of TrialArm
        Two to six, each with a name of its own.
    vessels : int
        A multiple of the arms.
    seed : int
        Random seed: the same seed gives the same draw.
    started_at : datetime
    paired : bool
        Several musts, each split in two.
    expected : {"", "more", "less"}
        Of the second of two arms.

    Returns
    -------
    TrialRecord

    Raises
    ------
    InputError
        Naming the field.
    """
    if not name.strip() or len(name) > LONGEST_NAME:
        raise InputError(
            "name",
            say("needs a name of 1 to {most} characters", most=LONGEST_NAME),
            name,
        )
    check_thing(thing)
    names = [arm.name.strip() for arm in arms]
    if not all(names) or len(set(names)) < len(names):
        raise InputError("arms", say("needs a name of its own for each"), ", ".join(names))
    if expected not in EXPECTED or (expected and len(arms) > 2):
        raise InputError("expected", say("more or less of the second of two arms"), expected)
    dealt = allot(vessels, len(arms), seed, paired)
    held = tuple(TrialVessel(v.vessel, v.arm, v.code, v.must) for v in dealt)
    return TrialRecord(name.strip(), thing, arms, held, seed, paired, started_at, expected)


def check_thing(thing: str) -> None:
    """Refuse what no trial is about.

    Raises
    ------
    InputError
    """
    if thing not in THINGS:
        raise InputError("thing", say("one of {known}", known=", ".join(THINGS)), thing)


def scored(trial: TrialRecord, values: Mapping[int, float], measure: str) -> TrialRecord:
    """The trial with values under the codes of its vessels.

    Parameters
    ----------
    trial : TrialRecord
    values : mapping of int to float
        By code [any unit].
    measure : str
        What they are; one measure a trial.

    Returns
    -------
    TrialRecord

    Raises
    ------
    InputError
        For a code that no vessel has, or another measure than before.
    """
    known = {v.code for v in trial.vessels}
    for code, value in values.items():
        if code not in known:
            raise InputError(
                "values", say("codes of the labels: {known}", known=sorted(known)), code
            )
        if not np.isfinite(value):
            raise InputError("values", say("numbers"), value)
    if trial.measure and trial.measure != measure:
        raise InputError(
            "measure", say("the same as before, {measure!r}", measure=trial.measure), measure
        )
    vessels = tuple(replace(v, value=values.get(v.code, v.value)) for v in trial.vessels)
    return replace(trial, vessels=vessels, measure=measure)


def opened(trial: TrialRecord, at: datetime, early: bool = False) -> TrialRecord:
    """The trial with its codes open.

    Parameters
    ----------
    trial : TrialRecord
    at : datetime
    early : bool
        Open them although values are missing; written down.

    Returns
    -------
    TrialRecord

    Raises
    ------
    ConflictError
        Where values are missing and nobody said to open early.
    """
    if trial.is_open:
        return trial
    if not trial.is_scored and not early:
        missing = ", ".join(str(v.code) for v in trial.vessels if v.value is None)
        raise ConflictError(
            say(
                "the codes stay hidden until every vessel has its value; still missing: "
                "{missing}. To open them early anyway, say so: it is recorded",
                missing=missing,
            )
        )
    return replace(trial, opened_at=at, opened_early=not trial.is_scored)


def answer(trial: TrialRecord) -> TrialAnswer:
    """What the values show.

    Raises
    ------
    InputError
        Where a vessel has none.
    """
    values = [v.value for v in trial.vessels]
    if any(value is None for value in values):
        missing = ", ".join(str(v.code) for v in trial.vessels if v.value is None)
        raise InputError(
            "values", say("a value for every vessel"), say("none for {missing}", missing=missing)
        )
    by_arm = {
        arm.name: [float(v.value) for v in trial.vessels if v.arm == k and v.value is not None]
        for k, arm in enumerate(trial.arms, 1)
    }
    means = {name: float(np.mean(held)) for name, held in by_arm.items()}
    least = smallest_p(len(trial.vessels), len(trial.arms), trial.paired)
    if len(trial.arms) > 2:
        p = several_arms_p([float(v) for v in values if v is not None],
                           [v.arm for v in trial.vessels])  # fmt: skip
        return TrialAnswer(means, None, p, least, _several_message(p, least, trial))
    effect = _two_arms(trial, by_arm)
    one_sided = {"more": effect.p_greater, "less": effect.p_less}
    p = one_sided.get(trial.expected, effect.p_two_sided)
    least = least if trial.expected else min(2 * least, 1.0)
    return TrialAnswer(means, effect, p, least, _two_message(trial, effect, p, least))


def _two_arms(trial: TrialRecord, by_arm: Mapping[str, list[float]]) -> TrialEffect:
    if not trial.paired:
        first, second = by_arm.values()
        return arms_effect(first, second)
    pairs: dict[int, dict[int, float]] = {}
    for vessel in trial.vessels:
        assert vessel.value is not None
        pairs.setdefault(vessel.must, {})[vessel.arm] = vessel.value
    return paired_effect([pair[2] - pair[1] for pair in pairs.values()])


def _two_message(trial: TrialRecord, effect: TrialEffect, p: float, least: float) -> str:
    a, b = (arm.name for arm in trial.arms)
    by = abs(effect.effect)
    lead = (
        say("{b} came out {by:.3g} higher than {a}", b=b, by=by, a=a)
        if effect.effect >= 0
        else say("{b} came out {by:.3g} lower than {a}", b=b, by=by, a=a)
    )
    if effect.low is not None and effect.high is not None:
        lead += say(
            " ({confidence:.0%} interval {low:+.3g} to {high:+.3g})",
            confidence=effect.confidence,
            low=effect.low,
            high=effect.high,
        )
    if least > LEVEL + 1e-9:
        return say(
            "{lead}. {too_few} Treat it as a hint only.", lead=lead, too_few=_too_few(trial, least)
        )
    if p <= LEVEL + 1e-9:
        return say(
            "{lead}. The {thing} made a difference (p = {p:.2g}).",
            lead=lead,
            thing=THING_WORDS[trial.thing],
            p=p,
        )
    return say("{lead}. No difference is shown (p = {p:.2g}); none is ruled out.", lead=lead, p=p)


def _too_few(trial: TrialRecord, least: float) -> str:
    return say(
        "With {vessels} vessels it cannot be told from chance: the smallest p they could reach is "
        "{least:.2g}.",
        vessels=len(trial.vessels),
        least=least,
    )


def _several_message(p: float, least: float, trial: TrialRecord) -> str:
    if least > LEVEL + 1e-9:
        return _too_few(trial, least)
    if p <= LEVEL + 1e-9:
        return say("The arms differ (p = {p:.2g}).", p=p)
    return say("No difference is shown (p = {p:.2g}); none is ruled out.", p=p)
