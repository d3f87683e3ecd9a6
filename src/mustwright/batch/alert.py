"""One thing the watch sees, and the words and thresholds of its rule."""

from __future__ import annotations

import re
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


_UNIT = re.compile(r"_(mg_l|g_l|brix|pct|sds|c|h)$")
_NAMED = {
    "after_h": "signs are late after",
    "fresh_h": "a reading is recent for",
    "margin_c": "allowed over the limit",
    "per_10_c_cooler": "slower for each 10 °C cooler, by",
    "fall_per_day_high": "slow, while gravity is high, below",
    "fall_per_day_low": "slow, near the end, below",
    "boundary": "near the end from gravity",
    "window_h": "watched over",
    "sluggish_above_c": "slows down above",
    "stops_at_c": "may stop at",
    "least_share": "fed at least",
    "floor": "lowest pH to allow",
    "step_g_l": "largest step of salt",
    "error": "error of a meter",
    "perhaps": "said with doubt from",
    "sure": "said as sure from",
    "chance": "said from a chance of",
    "stall": "likely to stop below",
    "stall_chance": "said as sure from",
    "rise_sds": "rise, at least",
    "off_sds": "off by, at least",
    "fastest_per_day": "fastest possible fall",
    "above_start": "allowed above the start",
    "weak_below_pct": "a weak mead is below",
    "left_mg_l": "nitrogen left, at least",
    "near_end": "near the end from",
    "warm_c": "warm from",
}


def rule_of(name: str) -> dict[str, Any]:
    """The record of a rule; a figure it shares with the acids' claims comes from there."""
    claims = claims_data()
    return {
        key: {**value, "value": claims[value["claim"]]}
        if isinstance(value, dict) and "claim" in value
        else value
        for key, value in data.load("watch")["rule"][name].items()
    }


def threshold_words(key: str) -> str:
    """What a figure of a record is called, without its unit.

    Examples
    --------
    >>> threshold_words("sugar_left_g_l"), threshold_words("fresh_h")
    ('sugar left', 'a reading is recent for')
    """
    return _NAMED.get(key) or _UNIT.sub("", key).replace("_", " ")


def threshold(name: str, of: str) -> float:
    """One figure of a rule."""
    return float(rule_of(name)[of]["value"])


def _said_with_unit(key: str, threshold: Mapping[str, Any]) -> str:
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
        f"{threshold_words(key)} {_said_with_unit(key, t)} ({t['source']})"
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
