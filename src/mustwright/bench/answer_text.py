"""One step's answer in a sentence or two that a maker can act on."""

from __future__ import annotations

from functools import singledispatch

from mustwright.figure import Figure
from mustwright.finishing.acid import AcidDose
from mustwright.finishing.blending import BlendResult
from mustwright.finishing.bottling import Bottling
from mustwright.finishing.carbonate import Carbonation
from mustwright.finishing.label_facts import volume_text
from mustwright.finishing.late import LateAddition, Spice
from mustwright.finishing.racking import Racking
from mustwright.finishing.sorbate import SorbateDose
from mustwright.finishing.stability import Stability
from mustwright.finishing.sulfite import SulfiteDose
from mustwright.finishing.sweeten import Sweetening
from mustwright.finishing.tannin import TanninDose


@singledispatch
def answer(result: object) -> str:
    """What to do, in words, with its figures.

    Raises
    ------
    TypeError
        For what is no result of a step.
    """
    raise TypeError(f"no step gives a {type(result).__name__}")


@answer.register
def _(result: Stability) -> str:
    verdict = {
        "dry and settled": "It is dry and has settled: it may be bottled still.",
        "settled and sterile": "It has settled and is sterile: it may be bottled still.",
        "settled, not safe": "It stands still but is not safe to bottle as it is.",
        "moving": "It is most likely still moving: do not bottle it.",
        "too soon to tell": "It is too soon to tell: do not bottle it yet.",
    }[result.verdict]
    when = f"on {result.next_check}" if result.next_check else "later"
    days = result.next_check_days.value
    return f"{verdict} Look again {when}, {days:.0f} days after the last reading."


@answer.register
def _(result: Racking) -> str:
    words = f"About {result.racked_l.value:.2f} L come over"
    after = result.volume_after_l.value
    if result.top_up_l is not None:
        topped = result.recorded.additions[0].name
        words += (
            f"; top up with {result.top_up_l.value:.2f} L of {topped}, which makes {after:.2f} L"
        )
        if result.alcohol_after_pct is not None:
            words += f" at {result.alcohol_after_pct.value:.2f} % vol"
    elif result.headspace_l is not None:
        words += f" and leave {result.headspace_l.value:.2f} L of air above them"
    return f"{words}."


@answer.register
def _(result: SulfiteDose) -> str:
    if result.weigh_g.value <= 0:
        return f"Add none: the {_mg(result.free_so2_mg_l)} of free sulfur dioxide wanted are there."
    amount = f"{_g(result.weigh_g)} of {result.salt}"
    if result.tablets is not None:
        amount = f"{result.tablets.value:.0f} tablets ({amount})"
    elif result.stock_ml is not None:
        amount = f"{result.stock_ml.value:.1f} mL of the stock ({amount})"
    return (
        f"Add {amount}: free sulfur dioxide comes to {_mg(result.free_so2_mg_l)}, the total to "
        f"{_mg(result.total_after_mg_l)}."
    )


@answer.register
def _(result: SorbateDose) -> str:
    if result.weigh_g.value <= 0:
        return f"Add none: it holds {_mg(result.sorbic_acid_mg_l)} of sorbic acid."
    return (
        f"Dissolve {_g(result.weigh_g)} of potassium sorbate in {result.water_ml.value:.0f} mL of "
        f"water and stir it in: sorbic acid comes to {_mg(result.sorbic_acid_mg_l)}."
    )


@answer.register
def _(result: Sweetening) -> str:
    first = "" if result.ready else "Protect it first. Then "
    words = (
        f"{_g(result.weigh_g)} of {_plain(result.sweetener)} bring it to "
        f"{result.new_gravity.value:.4f}: "
        f"{result.new_volume_l.value:.2f} L with {result.sugar_after_g_l.value:.0f} g/L of sugar "
        f"at {result.new_alcohol_pct.value:.2f} % vol."
    )
    return first + words


@answer.register
def _(result: AcidDose) -> str:
    half = result.gas_l.value > 0
    words = f"Add {_g(result.weigh_g)} of {result.substance}"
    if half:
        words += f", half of it first ({result.weigh_g.value / 2:.2f} g)"
    ends = []
    if result.acidity_after_g_l is not None:
        ends.append(f"acidity comes to {result.acidity_after_g_l.value:.2f} g/L")
    if result.ph_after is not None:
        low, high = result.ph_after.low, result.ph_after.high
        spread = "" if low is None or high is None else f" ({low:.2f} to {high:.2f})"
        ends.append(f"pH to about {result.ph_after.value:.2f}{spread}")
    return f"{words}: {', '.join(ends)}." if ends else f"{words}."


@answer.register
def _(result: TanninDose) -> str:
    low, high = result.grams_low, result.grams_high
    return f"Somewhere from {_g(low)} to {_g(high)} of tannin: the row of glasses decides."


@answer.register
def _(result: LateAddition) -> str:
    brings = (
        f"It brings {_g(result.sugar_g)} of sugar, {result.sugar_g_l.value:.1f} g/L, and thins the "
        f"mead to {result.alcohol_now_pct.value:.1f} % vol."
    )
    if result.wakes_yeast:
        return (
            f"{brings} Living yeast will ferment that, to about "
            f"{result.alcohol_if_fermented_pct.value:.1f} % vol: fit an airlock."
        )
    return brings


@answer.register
def _(result: Spice) -> str:
    name = result.recorded.additions[0].name
    third = result.grams.value / 3
    return f"{_g(result.grams)} of {name} in all: steep {third:.1f} g first and taste daily."


@answer.register
def _(result: BlendResult) -> str:
    parts = [f"{p.litres.value:.2f} L of {p.name}" for p in result.parts if p.litres.value >= 0.005]
    poured = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    made = (
        f"{poured} make {result.volume_l.value:.2f} L at {result.alcohol_pct.value:.2f} % vol and "
        f"gravity {result.gravity.value:.4f}."
    )
    return made if result.feasible else f"{result.words} {made}"


@answer.register
def _(result: Carbonation) -> str:
    hot = result.pressure_bar_30c
    most = hot.high if hot.high is not None else hot.value
    wanted = f"{result.target_co2_volumes.value:.2f} volumes"
    if result.keg_bar is not None:
        return f"Set the keg to {result.keg_bar.value:.2f} bar for {wanted}."
    assert result.sugar_g is not None
    return (
        f"Prime with {_g(result.sugar_g)} of {_plain(result.sugar_name)} for {wanted}: "
        f"{result.pressure_bar_20c.value:.2f} bar at 20 °C, up to {most:.2f} bar if it gets to "
        f"30 °C. {_bearing(result)}"
    )


def _bearing(result: Carbonation) -> str:
    """What may be filled with it."""
    able = [one.name for one in result.containers if one.bears]
    if len(result.containers) == 1:
        return f"The {able[0]} bears that." if able else ""
    return f"Fill only: {'; '.join(able)}." if able else "No usual bottle bears that."


@answer.register
def _(result: Bottling) -> str:
    filled = [
        f"{b.count.value:.0f} of {volume_text(b.litres)}" for b in result.bottles if b.count.value
    ]
    count = result.bottle_count.value
    if not filled:
        return "It does not fill one bottle of that size."
    kinds = " and ".join(filled)
    return f"{count:.0f} bottles: {kinds}; {result.left_l.value:.2f} L are left over."


def _plain(name: str) -> str:
    """The name of a record as it stands in a sentence: without what comes after a comma."""
    return name[:1].lower() + name[1:].partition(",")[0]


def _g(figure: Figure) -> str:
    """Grams or kilograms as one weighs them."""
    grams = figure.value
    if grams >= 10000:
        return f"{grams / 1000:.2f} kg"
    if grams >= 100:
        return f"{grams:.0f} g"
    return f"{grams:.1f} g" if grams >= 10 else f"{grams:.3g} g"


def _mg(figure: Figure) -> str:
    return f"{figure.value:.0f} mg/L" if figure.value >= 10 else f"{figure.value:.1f} mg/L"
