"""What binds the feeds of a must: the law, the stock, typed labels; and what only advises.

The one home of these bounds: plans take them from here, and so do the batches that follow a plan.
"""

from __future__ import annotations

from mustwright.figure import TYPED
from mustwright.nutrition.dosing_problem import Ceiling
from mustwright.nutrition.feeding_plan import Setting
from mustwright.nutrition.shelf import Nutrient
from mustwright.texts import literal, say


def ceilings(setting: Setting) -> tuple[Ceiling, ...]:
    """Every bound on the feeds of a must [g/L], those of the law first.

    What the rehydration nutrient already brings of a limited substance is taken off the law's.
    Labels of a generic kind, which nobody typed, only advise; so do typed ones where the maker says
    so, and labels and stock where protocols are followed as written.
    """
    return (*_law(setting), *_labels(setting), *_stock(setting))


def _law(setting: Setting) -> list[Ceiling]:
    used = setting.shelf.for_rehydration
    used_g_l = setting.pitch.rehydration_nutrient_g.value / setting.must.volume_l.value
    profile = setting.profile
    found = []
    for limit in profile.limits:
        weights = tuple(limit.fraction_in(jar) for jar in setting.jars)
        if not any(weights):
            continue
        already = limit.fraction_in(used) * used_g_l if used else 0.0
        words = say(
            "{profile} allows {most:g} g/L of {substance} ({source})",
            profile=profile.name,
            most=limit.max_g_l,
            substance=limit.name,
            source=limit.source,
        )
        most = max(limit.max_g_l - already, 0.0)
        found.append(Ceiling(f"limit:{limit.substance}", words, weights, most, limit.source))
    return found


def _labels(setting: Setting) -> list[Ceiling]:
    found = []
    for jar in setting.jars:
        label = jar.label_max_g_l
        if label is None:
            continue
        most, typed = label.value, label.source == TYPED
        words = (
            literal("the label of {jar} allows {most:g} g/L")
            if typed
            else literal("a usual label of {jar} allows {most:g} g/L")
        )
        found.append(
            Ceiling(
                f"label:{jar.id}",
                words.format(jar=jar.name, most=most),
                _alone(setting, jar),
                most,
                label.source,
                advises=setting.labels_advise or setting.follow_author or not typed,
                high=max(most, label.high or most),
            )
        )
    return found


def _stock(setting: Setting) -> list[Ceiling]:
    return [
        Ceiling(
            f"stock:{jar.id}",
            say(
                "the shelf holds {grams:g} g of {jar}",
                grams=jar.stock_g,
                jar=jar.name,
            ),
            _alone(setting, jar),
            jar.stock_g / setting.must.volume_l.value,
            advises=setting.follow_author,
        )
        for jar in setting.jars
        if jar.stock_g is not None
    ]


def _alone(setting: Setting, jar: Nutrient) -> tuple[float, ...]:
    return tuple(1.0 if one is jar else 0.0 for one in setting.jars)
