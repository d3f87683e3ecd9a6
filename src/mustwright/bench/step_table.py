"""Every finishing step by name, and what each shell asks of one: run, say, use, record, go on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from mustwright.batch.finishing_record import StepDone
from mustwright.bench.amounts import Use
from mustwright.bench.fields import FormPart, StepField
from mustwright.bench.liquid import FACTS, MeadNow
from mustwright.bench.recording import AnsweredStep
from mustwright.bench.step import FinishingStep, Given, StepPage, page_of
from mustwright.bench.steps.acid import ACID
from mustwright.bench.steps.blend import BLEND
from mustwright.bench.steps.bottle import BOTTLE
from mustwright.bench.steps.carbonate import CARBONATE
from mustwright.bench.steps.fruit import FRUIT
from mustwright.bench.steps.rack import RACK
from mustwright.bench.steps.sorbate import SORBATE
from mustwright.bench.steps.spice import SPICE
from mustwright.bench.steps.stable import STABLE
from mustwright.bench.steps.sulfite import SULFITE
from mustwright.bench.steps.sweeten import SWEETEN
from mustwright.bench.steps.tannin import TANNIN
from mustwright.errors import InputError
from mustwright.finishing.step import Recorded
from mustwright.texts import say

STEPS = {
    step.name: step
    for step in (STABLE, RACK, SULFITE, SORBATE, SWEETEN, ACID, TANNIN, FRUIT, SPICE, BLEND,
                 CARBONATE, BOTTLE)
}  # fmt: skip
# What stays in it in grams however it is thinned, and is counted up by later steps.
KEPT_IN_GRAMS = ("total_so2_mg_l", "sorbic_acid_mg_l", "potassium_mg_l", "calcium_mg_l")


def _or_tannin(one: StepField) -> StepField:
    return one.but(choices=(*one.choices, ("tannin", say("tannin")))) if one.name == "with" else one


ACID_PAGE = StepPage(
    "acid", say("Acid, tannin, buffer"), say("Acid, tannin or carbonate"),
    say("Acid by titration, or by pH and the buffer of your mead. Tannin by taste. Trial glasses "
        "first."),
    tuple(replace(part, fields=tuple(map(_or_tannin, part.fields))) for part in ACID.parts),
    ACID.cautions, {"tartaric": ACID, "tannin": TANNIN}, by="with",
)  # fmt: skip
LATE_PAGE = StepPage(
    "late", say("Fruit or spice late"), say("Fruit or spice after the ferment"),
    say("How much sugar fruit or honey adds, and whether it will ferment again. Spice by the "
        "litre."),
    (
        FormPart("", (
            StepField("what", say("What goes in"), choices=(
                ("fruit", say("fruit, juice or honey")), ("spice", say("spice or herb")),
            )),
            FRUIT.fields[0].but(hint=say("such as raspberry, or vanilla")), FRUIT.fields[1],
        )),
        FRUIT.parts[1], SPICE.parts[1], FRUIT.parts[2],
    ),
    FRUIT.cautions, {"fruit": FRUIT, "spice": SPICE}, by="what",
)  # fmt: skip
PAGES = {
    page.slug: page
    for page in (page_of(STABLE), page_of(RACK), page_of(SULFITE), page_of(SORBATE),
                 page_of(SWEETEN), ACID_PAGE, LATE_PAGE, page_of(BLEND), page_of(CARBONATE),
                 page_of(BOTTLE))
}  # fmt: skip
_BY_RESULT = {step.result: step for step in STEPS.values()}


def page_with(name: str) -> tuple[StepPage, dict[str, str]]:
    """The page of a step, and what is chosen on it for that step."""
    for page in PAGES.values():
        for value, step in page.steps.items():
            if step.name == name:
                return page, {page.by: value} if page.by else {}
    raise KeyError(name)


def step_of(result: object) -> FinishingStep:
    """The step that gives such a result.

    Raises
    ------
    TypeError
        For what is no result of a step.
    """
    step = _BY_RESULT.get(type(result))
    if step is None:
        raise TypeError(f"no step gives a {type(result).__name__}")
    return step


def run_step(name: str, given: Given, today: date | None = None) -> Any:
    """A step's result out of typed fields; `today` is for a bottling without a day.

    Raises
    ------
    InputError, ImpossibleError
    """
    return STEPS[name].run(given, today or date.today())


def answer(result: object) -> str:
    """What to do, in words, with its figures."""
    return step_of(result).said(result)


def uses(result: object, volume_l: float) -> list[Use]:
    """The amounts of an answer that a maker confirms, of a batch of so much [L]."""
    return step_of(result).uses(result, volume_l)


def done(case: AnsweredStep, used: Mapping[str, str], measured: Mapping[str, float]) -> StepDone:
    """The step as done, with the amounts that were really used.

    Parameters
    ----------
    used : mapping of str to str
        By key of `uses`; what is left out is as in the answer.

    Raises
    ------
    InputError, ImpossibleError
    """
    asked = uses(case.result, case.volume_l)
    for key in used:
        if key not in {use.key for use in asked}:
            known = ", ".join(use.key for use in asked) or "none"
            raise InputError(
                key, say("is no amount of this step; known: {known}", known=known), key
            )
    amounts = {use.key: use.read(used.get(use.key)) for use in asked}
    step = step_of(case.result)
    made = step.recorded(case.result, case, amounts)
    names = {one.name for one in step.fields}
    stopped = {"stabilised": str(case.given["stabilised"])} if case.is_stopped else {}
    return replace(
        made,
        measured=dict(measured),
        volume_before_l=case.volume_l,
        volume_after_l=case.volume_after_l(made),
        words={**stopped, **made.words},
        asked={
            k: _text(v) for k, v in case.given.items() if k in names and v not in (None, "", (), [])
        },
        said=step.said(case.result),
    )


def _text(value: object) -> str:
    if isinstance(value, (list, tuple)):
        return "\n".join(_text(v) for v in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{k}={v}" for k, v in value.items())
    return str(value)


def then(before: MeadNow, result: Any) -> MeadNow:
    """The liquid once a step is done as it was worked out.

    What the step says of it afterwards holds; what was added counts on top of what was there; what
    is kept in grams is thinned as the volume grows. Measurements that the step makes untrue (free
    sulfur dioxide, pH where it is not worked out) are forgotten: measure again.
    """
    step, recorded = step_of(result), result.recorded
    met = step.meets(before, result)
    after: dict[str, Any] = {k: v.value for k, v in recorded.after.items() if k in FACTS}
    changes: dict[str, Any] = dict(after)
    shrink = _thinning(met.volume_l, after.get("volume_l"))
    for name in KEPT_IN_GRAMS:
        held, brought = getattr(met, name), _brought(recorded, name)
        if name not in after and (held is not None or brought):
            changes[name] = (held or 0.0) * shrink + brought
    if recorded.additions:
        changes |= {name: None for name in ("free_so2_mg_l", "ph") if name not in after}
    if shrink != 1.0:
        changes["molecular_so2_mg_l"] = None
    return replace(met, **changes | _sugar(met, recorded, shrink) | step.leaves(before, result))


def _sugar(before: MeadNow, recorded: Recorded, shrink: float) -> dict[str, float]:
    """Sugar that yeast could eat."""
    if "sugar_g_l" in recorded.after:
        return {"residual_sugar_g_l": recorded.after["sugar_g_l"].value}
    held, brought = before.residual_sugar_g_l, _brought(recorded, "sugar_g_l")
    if held is None and not brought:
        return {}
    return {"residual_sugar_g_l": (held or 0.0) * shrink + brought}


def _thinning(start_l: float | None, volume_l: float | None) -> float:
    """Share of a concentration that is left as the volume grows; losses thin nothing."""
    if start_l is None or not volume_l or volume_l <= start_l:
        return 1.0
    return start_l / volume_l


def _brought(recorded: Recorded, name: str) -> float:
    return sum(one.brings[name].value for one in recorded.additions if name in one.brings)
