"""How far a plan goes beyond usual labels, where the maker typed none."""

from __future__ import annotations

import math
from collections.abc import Sequence

from mustwright.figure import TYPED
from mustwright.nutrition.bounds import BROKEN
from mustwright.nutrition.ceilings import ceilings
from mustwright.nutrition.feeding_plan import Feed, Setting
from mustwright.texts import say

FAR_BEYOND = 2.0  # times the most that usual labels of a kind allow (a judgement, assumed)


def times_usual_labels(setting: Setting, feeds: Sequence[Feed]) -> dict[str, float]:
    """How many times the most that any usual label of a kind allows goes in, where that advises.

    Parameters
    ----------
    setting : Setting
    feeds : sequence of Feed

    Returns
    -------
    dict of str to float
        By jar [-].
    """
    litres = setting.must.volume_l.value
    given: dict[str, float] = {}
    for item in (item for feed in feeds for item in feed.items):
        given[item.nutrient] = given.get(item.nutrient, 0.0) + item.grams.value
    found = {}
    for one in ceilings(setting):
        jar = one.key.removeprefix("label:")
        if one.advises and one.most > 0 and jar != one.key:
            found[jar] = given.get(jar, 0.0) / litres / (one.high or one.most)
    return found


def doublings_beyond(times: float) -> int:
    """0 up to `FAR_BEYOND` times a usual label, rounding allowed for; then one more a doubling.

    Examples
    --------
    >>> [doublings_beyond(times) for times in (0.0, 2.0, 2.1, 3.9, 4.1, 9.0)]
    [0, 0, 1, 1, 2, 3]
    """
    return 0 if times <= FAR_BEYOND * BROKEN else math.floor(math.log2(times / BROKEN))


def beyond_labels_remark(setting: Setting, feeds: Sequence[Feed]) -> tuple[str, ...]:
    """Which jar goes far beyond what usual labels allow, and what helps; empty where none does."""
    times = times_usual_labels(setting, feeds)
    has_ammonium = any(jar.per_gram("ammonium_n") > 0 for jar in setting.jars)
    said = []
    for jar in setting.jars:
        label = jar.label_max_g_l
        far = doublings_beyond(times.get(jar.id, 0.0))
        if not far or label is None or label.source == TYPED:
            continue
        words = say(
            "The plan takes {times:.0f} times as much {jar} as usual labels allow at most. Type "
            "the limit on your label into the shelf, and the plan keeps to it.",
            times=times[jar.id],
            jar=jar.name,
        )
        if not has_ammonium:
            words += " " + say("With an ammonium salt beside it, less of it would do.")
        said.append(words)
    return tuple(said)
