"""One thing the watch sees, and the words and thresholds of its rule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mustwright import data
from mustwright.must.acidity.claims import claims_data
from mustwright.texts import say, uncapital
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


_NAMED = {
    "after_h": say("signs are late after"),
    "fresh_h": say("a reading is recent for"),
    "counts_before_h": say("a reading counts from before the pitch by"),
    "margin_c": say("allowed over the limit"),
    "per_10_c_cooler": say("slower for each 10 °C cooler, by"),
    "fall_per_day_high": say("slow, while gravity is high, below"),
    "fall_per_day_low": say("slow, near the end, below"),
    "boundary": say("near the end from gravity"),
    "window_h": say("watched over"),
    "sluggish_above_c": say("slows down above"),
    "stops_at_c": say("may stop at"),
    "least_share": say("fed at least"),
    "floor": say("lowest pH to allow"),
    "step_g_l": say("largest step of salt"),
    "error": say("error of a meter"),
    "perhaps": say("said with doubt from"),
    "sure": say("said as sure from"),
    "chance": say("said from a chance of"),
    "stall": say("likely to stop below"),
    "stall_chance": say("said as sure from"),
    "rise_sds": say("rise, at least"),
    "off_sds": say("off by, at least"),
    "fastest_per_day": say("fastest possible fall"),
    "above_start": say("allowed above the start"),
    "weak_below_pct": say("a weak mead is below"),
    "left_mg_l": say("nitrogen left, at least"),
    "near_end": say("near the end from"),
    "warm_c": say("warm from"),
    "fall_brix": say("fall"),
    "fall_per_day": say("fall per day"),
    "sugar_left_g_l": say("sugar left"),
    "comfort": say("no concern from"),
    "restart_low": say("restart possible from"),
    "least_rise": say("least rise"),
    "starter_share": say("share of starter"),
    "starter_mead_share": say("share of mead in the starter"),
    "starter_sugar_g_l": say("starter sugar"),
    "yeast_g_l": say("yeast"),
    "temperature_c": say("temperature"),
    "double_when_sugar_left": say("double once so much sugar is left"),
    "combine_share": say("share when combining"),
    "organic_g_l": say("organic"),
    "hulls_g_l": say("hulls"),
    "alcohol_no_nutrient_pct": say("no nutrient from this alcohol on"),
    "hopeless_pct": say("no restart above"),
    "give_up_days": say("give up after"),
    "taken_fall": say("fall that shows success"),
    "step_hours": say("hours for each step"),
}
_UNITS = {
    str(unit): unit
    for unit in (
        say("SG/day"),
        say("fraction of sugar used"),
        say("of the nitrogen planned"),
        say("probability"),
        say("standard errors"),
        say("times"),
    )
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
    return _NAMED[key]


def threshold(name: str, of: str) -> float:
    """One figure of a rule."""
    return float(rule_of(name)[of]["value"])


def _said_with_unit(key: str, threshold: Mapping[str, Any]) -> str:
    """A threshold with its unit; a margin in degrees is a difference, all others a temperature."""
    value, unit = float(threshold["value"]), str(threshold["unit"])
    if unit != "C":
        return say("{value:g} {unit}", value=value, unit=_UNITS.get(unit, unit))
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
        say(
            "{what} {value} ({source})",
            what=threshold_words(key),
            value=_said_with_unit(key, t),
            source=t["source"],
        )
        for key, t in rule.items()
        if isinstance(t, dict) and "value" in t
    )
    title = rule["title"]
    if not sure:
        title = say("Perhaps {finding}", finding=uncapital(title))
    confidence = min(max(confidence, 0.01), 0.99)
    check, act_on, stop = (one_way(w) for w in (rule["check"], do or rule["do"], rule["stop"]))
    reason = why or uncapital(title)
    act = act or rule.get("act", "")
    return Finding(
        name, title, severity, confidence, sure, evidence, check, act_on, stop, used, act, reason
    )  # fmt: skip
