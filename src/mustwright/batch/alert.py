"""One thing the watch sees, and the words and thresholds of its rule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mustwright import data
from mustwright.must.acidity.claims import claims_data
from mustwright.unit_hints import one_way
from mustwright.unit_system import degrees, temperature_step


@dataclass(frozen=True)
class Finding:
    """One thing the watch sees.

    Parameters
    ----------
    rule : str
        Its name in ``data/watch.toml``.
    severity : int
        0 (good news) to 100, for ordering.
    confidence : float
        Probability that it is so, given the error of the instruments, 0 to 1.
    sure : bool
        Whether to act on it; otherwise one more reading comes first.
    evidence, check, do, stop : str
        What was seen, what to check, what to do, when to stop worrying.
    thresholds : tuple of str
        The figures the rule used, each with its source.
    act, why : str
        The one thing to do about it now, and the reason in a few words.
    """

    rule: str
    title: str
    severity: int
    confidence: float
    sure: bool
    evidence: str
    check: str
    do: str
    stop: str
    thresholds: tuple[str, ...]
    act: str = ""
    why: str = ""


def rule_of(name: str) -> dict[str, Any]:
    """The record of a rule; a figure it shares with the acids' claims comes from there."""
    claims = claims_data()
    return {
        key: {**value, "value": claims[value["claim"]]}
        if isinstance(value, dict) and "claim" in value
        else value
        for key, value in data.load("watch")["rule"][name].items()
    }


def threshold(name: str, of: str) -> float:
    """One figure of a rule."""
    return float(rule_of(name)[of]["value"])


def _name_of(key: str) -> str:
    return key.removesuffix("_c").replace("_", " ")


def _threshold_words(key: str, threshold: Mapping[str, Any]) -> str:
    """A threshold with its unit; a margin in degrees is a difference, all others a temperature."""
    value, unit = float(threshold["value"]), str(threshold["unit"])
    if unit != "C":
        return f"{value:g} {unit}"
    return temperature_step(value) if key.startswith("margin") else degrees(value)


def finding(
    name: str,
    severity: int,
    confidence: float,
    evidence: str,
    *,
    sure: bool = True,
    do: str = "",
    act: str = "",
    why: str = "",
) -> Finding:
    """A finding by the words of its rule.

    Parameters
    ----------
    severity : int
        0 to 100.
    confidence : float
        Kept between 0.01 and 0.99.
    do, act : str
        What to do, and the one thing to do now, if this case knows more than the rule.
    why : str
        The reason in a few words; else the title.
    """
    rule = rule_of(name)
    used = tuple(
        f"{_name_of(key)} {_threshold_words(key, t)} ({t['source']})"
        for key, t in rule.items()
        if isinstance(t, dict) and "value" in t
    )
    title = rule["title"] if sure else f"Perhaps {rule['title'][0].lower()}{rule['title'][1:]}"
    confidence = min(max(confidence, 0.01), 0.99)
    check, act_on, stop = (one_way(w) for w in (rule["check"], do or rule["do"], rule["stop"]))
    reason = why or f"{title[0].lower()}{title[1:]}"
    act = act or rule.get("act", "")
    return Finding(
        name, title, severity, confidence, sure, evidence, check, act_on, stop, used, act, reason
    )  # fmt: skip
