"""A step's answer as done: what really went in and out, as the log of the batch keeps it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import singledispatch
from typing import Any

from mustwright.batch.finishing_record import Added, Poured, StepDone
from mustwright.bench.amounts import uses
from mustwright.bench.answer_text import answer
from mustwright.bench.fields import TypedFields
from mustwright.constants import CO2_PER_ETHANOL_G_G, ETHANOL_G_L_PER_PCT_VOL
from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import Figure
from mustwright.finishing.acid import AcidDose
from mustwright.finishing.blending import BlendResult
from mustwright.finishing.bottling import Bottling
from mustwright.finishing.carbonate import Carbonation
from mustwright.finishing.label_facts import volume_text
from mustwright.finishing.late import LateAddition, Spice
from mustwright.finishing.liquid import Liquid, mead
from mustwright.finishing.racking import Racking
from mustwright.finishing.sorbate import SorbateDose
from mustwright.finishing.stability import Stability
from mustwright.finishing.step import Addition
from mustwright.finishing.sulfite import SulfiteDose
from mustwright.finishing.sweeten import Sweetening
from mustwright.finishing.tannin import TanninDose

HELD_BY = {
    "total_so2_mg_l": ("total_so2", 1000.0),
    "sorbic_acid_mg_l": ("sorbic_acid", 1000.0),
    "potassium_mg_l": ("potassium", 1000.0),
    "calcium_mg_l": ("calcium", 1000.0),
    "sodium_mg_l": ("sodium", 1000.0),
    "sugar_g_l": ("sugar", 1.0),
    "acidity_g_l": ("acidity", 1.0),
}


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
            raise InputError(key, f"is no amount of this step; known: {known}", key)
    amounts = {use.key: use.read(used.get(use.key)) for use in asked}
    made = _done(case.result, case, amounts)
    stabilised = str(case.given.get("stabilised") or "")
    words = dict(made.words)
    if stabilised not in ("", "no") and "stabilised" not in words:
        words["stabilised"] = stabilised
    return replace(
        made,
        measured=dict(measured),
        volume_before_l=case.volume_l,
        volume_after_l=_volume_after(case, made),
        words=words,
        asked={k: _text(v) for k, v in case.given.items() if v not in (None, "", (), [])},
        said=answer(case.result),
    )


def _text(value: object) -> str:
    if isinstance(value, (list, tuple)):
        return "\n".join(_text(v) for v in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{k}={v}" for k, v in value.items())
    return str(value)


def _volume_after(case: AnsweredStep, made: StepDone) -> float:
    left = case.volume_l - made.lost_l
    poured = [one.liquid for one in made.added if one.liquid is not None]
    if not poured or case.gravity is None or case.alcohol_pct is None:
        return max(left, 0.0)
    liquid = mead(left, case.gravity, case.alcohol_pct) if left > 1e-6 else Liquid(0, 0, 0)
    for one in poured:
        liquid = liquid + Liquid(one.mass_g, one.extract_g, one.ethanol_g)
    return liquid.volume_l


# Each step --------------------------------------------------------------------------------------


@singledispatch
def _done(result: object, _case: AnsweredStep, _used: Mapping[str, float]) -> StepDone:
    raise TypeError(f"no step gives a {type(result).__name__}")


def _added(
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
    brings = {
        HELD_BY[name][0]: figure.value * volume / HELD_BY[name][1]
        for name, figure in one.brings.items()
        if name in HELD_BY
    }
    whole = whole_g or one.grams.value
    poured = None if liquid is None else Poured(liquid.mass_g, liquid.extract_g, liquid.ethanol_g)
    base = Added(one.substance[:120], one.name[:120], whole, brings, poured)
    return base.times(grams / whole) if whole > 0 else base


def _gained(case: AnsweredStep, before_l: float) -> Liquid:
    """What went in by the answer: the mead after less the mead before."""
    if case.gravity is None or case.alcohol_pct is None:
        raise InputError("gravity", "needs gravity and alcohol of the mead", None)
    after = case.result.recorded.after
    now = mead(before_l, case.gravity, case.alcohol_pct)
    then = mead(after["volume_l"].value, after["gravity"].value, after["alcohol_pct"].value)
    return then + now.times(-1.0)


@_done.register
def _(result: Stability, _case: AnsweredStep, _used: Mapping[str, float]) -> StepDone:
    return StepDone("stable", words={"verdict": result.verdict, "next check": result.next_check})


@_done.register
def _(result: Racking, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    lost = case.volume_l - used["came_over"]
    if result.top_up_l is None or not used["top_up"] > 0:
        return StepDone("rack", lost_l=lost)
    one = result.recorded.additions[0]
    liquid = _gained(case, result.racked_l.value)
    whole = result.top_up_l.value
    base = replace(_added(case, one, one.grams.value, liquid), litres=whole)
    return StepDone("rack", (base.times(used["top_up"] / whole),), lost_l=lost)


@_done.register
def _(result: SulfiteDose, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    added = _as_used(case, used)
    whole = result.weigh_g.value
    share = used["grams.1"] / whole if added and whole > 0 else 1.0
    to_add = max(result.free_to_add_mg_l.value, 0.0)
    free = result.free_so2_mg_l.value - to_add * (1 - share)
    gained = sum(1000 * one.brings_g.get("total_so2", 0.0) / case.volume_l for one in added)
    whole_mg_l = sum(o.brings["total_so2_mg_l"].value for o in result.recorded.additions)
    total = result.total_after_mg_l.value - whole_mg_l + gained
    return StepDone(
        "sulfite",
        added,
        after={"molecular_so2_mg_l": free * result.molecular_fraction.value},
        words=_over(total, result.legal_total_mg_l, "total sulfur dioxide"),
    )


def _over(value: float, limit: Figure | None, what: str) -> dict[str, str]:
    """A word for the log where what was used passes a limit of law that the answer kept."""
    if limit is None or value <= limit.value * (1 + 1e-6):
        return {}
    said = f"{value:.0f} mg/L of {what}; the law chosen allows {limit.value:.0f}"
    return {"over the limit": said}


@_done.register
def _(result: SorbateDose, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    added = _as_used(case, used)
    gained = sum(1000 * one.brings_g.get("sorbic_acid", 0.0) / case.volume_l for one in added)
    whole = sum(o.brings["sorbic_acid_mg_l"].value for o in result.recorded.additions)
    total = result.sorbic_acid_mg_l.value - whole + gained
    return StepDone("sorbate", added, words=_over(total, result.legal_sorbic_mg_l, "sorbic acid"))


def _as_used(case: AnsweredStep, used: Mapping[str, float]) -> tuple[Added, ...]:
    """Additions that make the volume no other, with the grams that were used."""
    additions = case.result.recorded.additions
    return tuple(_added(case, one, used[f"grams.{i}"]) for i, one in enumerate(additions, 1))


@_done.register
def _(result: Sweetening, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    if not result.ready:
        raise ImpossibleError(
            "stabilised",
            "needs the mead protected before sweetening is written down as done; honey that was "
            "meant to ferment is written into the batch as 'Honey or sugar added'",
            str(case.given.get("stabilised") or "nothing said"),
        )
    one = result.recorded.additions[0]
    grams = 1000 * result.kg.value
    made = _added(case, one, used["grams.1"], _gained(case, case.volume_l), grams)
    if result.new_acidity_g_l is not None:
        before = TypedFields({"acidity": case.given["acidity"]}, ("acidity",)).g_l("acidity") or 0.0
        rise = result.new_acidity_g_l.value * result.new_volume_l.value - before * case.volume_l
        share = used["grams.1"] / grams if grams > 0 else 0.0
        made = replace(made, brings_g={**made.brings_g, "acidity": rise * share})
    return StepDone("sweeten", (made,), protected=True)


@_done.register
def _(result: AcidDose, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    whole = result.weigh_g.value
    share = used["grams.1"] / whole if whole > 0 else 0.0
    after = {}
    ph = TypedFields({"ph": case.given.get("ph")}, ("ph",)).number("ph")
    if result.ph_after is not None and ph is not None:
        after["ph"] = ph + (result.ph_after.value - ph) * share
    return StepDone("acid", _as_used(case, used), after=after)


@_done.register
def _(_result: TanninDose, _case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    return StepDone("tannin", (Added("tannin", "Tannin", used["grams.1"]),))


@_done.register
def _(result: LateAddition, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    one = result.recorded.additions[0]
    made = _added(case, one, used["grams.1"], _gained(case, case.volume_l))
    safe = not result.wakes_yeast and case.given.get("stabilised") not in (None, "", "no")
    return StepDone("fruit", (made,), protected=safe)


@_done.register
def _(_result: Spice, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    return StepDone("spice", _as_used(case, used))


@_done.register
def _(_result: BlendResult, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    if case.own is None:
        raise ImpossibleError(
            "lot", "needs this batch among the lots to be written into it", "none of them"
        )
    added = []
    for i, lot in enumerate(case.lots, 1):
        litres = used[f"litres.{i}"]
        if i - 1 != case.own and litres > 0:
            added.append(lot.times(litres))
    own = used[f"litres.{case.own + 1}"]
    words = {"stabilised": ""} if added else {}
    return StepDone("blend", tuple(added), lost_l=max(case.volume_l - own, 0.0), words=words)


@_done.register
def _(result: Carbonation, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    target = result.target_co2_g_l.value
    if not result.recorded.additions:
        return StepDone("carbonate", after={"co2_g_l": target})
    one = result.recorded.additions[0]
    share = used["grams.1"] / one.grams.value if one.grams.value > 0 else 0.0
    rise = result.alcohol_rise_pct.value if result.alcohol_rise_pct is not None else 0.0
    ethanol = rise * ETHANOL_G_L_PER_PCT_VOL * case.volume_l * share
    made = target - _made_g_l(rise) * (1 - share)
    added = Added(one.substance, one.name[:120], used["grams.1"], {"ethanol": ethanol})
    return StepDone("carbonate", (added,), after={"co2_g_l": max(made, 0.0)})


def _made_g_l(rise_pct: float) -> float:
    """Gas that so much alcohol comes with [g/L]."""
    return rise_pct * ETHANOL_G_L_PER_PCT_VOL * CO2_PER_ETHANOL_G_G


@_done.register
def _(result: Bottling, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    sizes = [
        f"{used[f'bottles.{i}']:.0f} of {volume_text(b.litres)}"
        for i, b in enumerate(result.bottles, 1)
        if used[f"bottles.{i}"] > 0
    ]
    filled = sum(used[f"bottles.{i}"] * b.litres for i, b in enumerate(result.bottles, 1))
    if filled + used["left"] > case.volume_l * (1 + 1e-9):
        raise InputError(
            "left",
            f"needs bottles and rest within the {case.volume_l:.2f} L there were",
            f"{filled:.2f} L and {used['left']:.2f} L",
        )
    words = {"lot": result.lot_code, "bottles": " and ".join(sizes) or "none"}
    return StepDone("bottle", lost_l=case.volume_l - used["left"], words=words)
