"""A trial as lines and as plain data: codes stay closed until they are opened."""

from __future__ import annotations

from typing import Any

from mustwright.learning.trial import TrialAnswer, TrialRecord
from mustwright.services.trials import KeptTrial
from mustwright.texts import say


def trial_data(kept: KeptTrial, answer: TrialAnswer | None = None) -> dict[str, Any]:
    """A trial for JSON; arms of the vessels only where it is open."""
    trial = kept.trial
    data: dict[str, Any] = {
        "trial": kept.key,
        "name": trial.name,
        "thing": trial.thing,
        "arms": [{"name": a.name, "protocol": a.protocol, "must": a.must} for a in trial.arms],
        "paired": trial.paired,
        "seed": trial.seed if trial.is_open else None,
        "open": trial.is_open,
        "opened_at": None if trial.opened_at is None else trial.opened_at.isoformat(),
        "opened_early": trial.opened_early,
        "expected": trial.expected,
        "measure": trial.measure,
        "vessels": [
            {
                "vessel": v.vessel,
                "code": v.code,
                "batch": v.batch,
                "value": v.value,
                "arm": trial.arms[v.arm - 1].name if trial.is_open else None,
            }
            for v in trial.vessels
        ],
    }
    return data if answer is None else data | answer_data(answer)


def answer_data(answer: TrialAnswer) -> dict[str, Any]:
    """What a trial shows, for JSON."""
    effect = answer.effect
    return {
        "means": answer.means,
        "effect": None if effect is None else effect.effect,
        "low": None if effect is None else effect.low,
        "high": None if effect is None else effect.high,
        "confidence": None if effect is None else effect.confidence,
        "p": answer.p,
        "p_one_sided": None if effect is None else effect.p_one_sided,
        "smallest_p": answer.smallest_p,
        "spread": None if effect is None else effect.spread,
        "message": answer.message,
    }


def trial_lines(kept: KeptTrial) -> list[str]:
    """A trial as text."""
    trial = kept.trial
    lines: list[str] = [
        say("{trial} ({key}): {thing} is tried", trial=trial.name, key=kept.key, thing=trial.thing)
    ]
    for v in trial.vessels:
        about: dict[str, Any] = {"vessel": v.vessel, "label": v.code, "batch": v.batch}
        about["held"] = arm_words(trial, v.arm)
        lines.append(
            say("  vessel {vessel}, label {label}: {held}, batch {batch}", **about)
            if v.value is None
            else say(
                "  vessel {vessel}, label {label}: {held}, batch {batch}, {value:g}",
                **about,
                value=v.value,
            )
        )
    return [*lines, state_sentence(trial)]


def state_sentence(trial: TrialRecord) -> str:
    """Where a trial stands with its codes."""
    if trial.opened_early:
        return say("The codes were opened early: scores given since are not blind.")
    if trial.is_open:
        return say("The codes are open.")
    return say("The codes are hidden. Score by the labels; they open with the last score.")


def arm_words(trial: TrialRecord, arm: int) -> str:
    """What a vessel holds: the name of its arm, from 1 on; hidden until the trial is opened."""
    return trial.arms[arm - 1].name if trial.is_open else say("hidden", context="arm")
