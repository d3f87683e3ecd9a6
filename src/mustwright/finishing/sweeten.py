"""How much honey, sugar or juice makes it as sweet as wanted, and what else changes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from scipy.optimize import brentq

from mustwright.constants import ETHANOL_G_L_PER_PCT_VOL, ETHANOL_YIELD_G_G
from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import ARITHMETIC, TYPED, Figure, typed
from mustwright.finishing.class_line import refuse_solids
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.liquid import BALANCE, Liquid, mead, of_ingredient
from mustwright.finishing.protection import Protection, is_protected
from mustwright.finishing.step import Addition, Recorded, cautions, finishing_data, within
from mustwright.finishing.trial import BenchTrial, bench_trial
from mustwright.must.blend import fermentable_hexose
from mustwright.must.ingredient import SUGARS, Ingredient
from mustwright.texts import before, say
from mustwright.unit_system import weighed

MOST_KG_PER_L = 3.0


@dataclass(frozen=True)
class SweetenAsk:
    """The mead, the sweetener and the goal (exactly one of the two targets)."""

    volume_l: float
    gravity: float
    alcohol_pct: float
    sweetener: Ingredient
    to_gravity: float | None = None
    to_sugar_g_l: float | None = None
    residual_sugar_g_l: float | None = None
    acidity_g_l: float | None = None
    ph: float | None = None
    protection: Protection = field(default_factory=Protection)
    scale_g: float = 1.0
    glasses: int = 6


@dataclass(frozen=True)
class Sweetening:
    """What goes in and what the mead becomes.

    Parameters
    ----------
    ready : bool
        False while it is not protected: the steps then begin with that.
    """

    kg: Figure
    weigh_g: Figure
    new_volume_l: Figure
    new_alcohol_pct: Figure
    new_gravity: Figure
    sugar_after_g_l: Figure
    sugar_added_g_l: Figure
    new_acidity_g_l: Figure | None
    new_ph: Figure | None
    potential_alcohol_pct: Figure
    sweetener: str
    ready: bool
    trial: BenchTrial
    recorded: Recorded = field(default_factory=Recorded)


def sweeten(ask: SweetenAsk, law: FinishingLaw) -> Sweetening:
    """Sweeten to a gravity, or to grams of sugar per litre.

    Raises
    ------
    ImpossibleError
        When the sweetener cannot get there, yeast would eat the sweetness and nothing is to be
        done about it first, or the mead would pass a line of the profile's class.

    Notes
    -----
    Masses of water, extract and ethanol add up; the volume follows from the density of the mixture
    (contraction included), so alcohol falls by what the sweetener takes up.
    """
    ready = is_protected(ask.protection, ask.alcohol_pct)
    before = mead(ask.volume_l, ask.gravity, ask.alcohol_pct)
    for name, value in (
        ("residual_sugar", ask.residual_sugar_g_l),
        ("acidity", ask.acidity_g_l),
    ):
        if value is not None:
            within(value, 0, 400, name, say("grams per litre"))
    if ask.ph is not None:
        within(ask.ph, 2, 5, "ph", say("the pH of a mead, measured,"))
    within(ask.scale_g, 1e-3, 10000, "scale", say("a scale resolution in g"))
    within(ask.glasses, 2, 12, "glasses", say("a number of glasses"))
    kg = solve_kg(ask, before)
    refuse_solids(law, sweetened(before, ask.sweetener, kg), "to")
    return _result(ask, law, before, kg, ready)


def sweetened(before: Liquid, sweetener: Ingredient, kg: float) -> Liquid:
    """The mead with a sweetener stirred in.

    Parameters
    ----------
    before : Liquid
    sweetener : Ingredient
    kg : float
        As bought, at least 0 [kg].

    Returns
    -------
    Liquid
    """
    return before + of_ingredient(sweetener, kg)


def sugars_share(ingredient: Ingredient) -> float:
    """All sugars of an ingredient per kg as bought [kg/kg]."""
    return sum(ingredient.share(sugar) for sugar in SUGARS)


def solve_kg(ask: SweetenAsk, before: Liquid) -> float:
    """Kilograms of sweetener that reach the target [kg]."""
    if (ask.to_gravity is None) == (ask.to_sugar_g_l is None):
        raise InputError("to", say("needs one target: a gravity, or g/L of sugar, or a word"), None)
    share = sugars_share(ask.sweetener)
    if share <= 0.01:
        raise ImpossibleError("with", say("needs something with sugar in it"), ask.sweetener.name)
    if ask.to_gravity is not None:
        target, field_name, digits = ask.to_gravity, "to", 4
        start = before.gravity

        def reached(kg: float) -> float:
            return sweetened(before, ask.sweetener, kg).gravity

    else:
        assert ask.to_sugar_g_l is not None
        target, field_name, digits = ask.to_sugar_g_l, "to", 1
        start = ask.residual_sugar_g_l or 0.0
        held = start * ask.volume_l

        def reached(kg: float) -> float:
            return (held + 1000 * kg * share) / sweetened(before, ask.sweetener, kg).volume_l

    if not math.isfinite(target) or target < start - 1e-9:
        raise ImpossibleError(
            field_name,
            say(
                "needs a target above what it has now, {start:.{digits}f}",
                start=start,
                digits=digits,
            ),
            target,
        )
    most = MOST_KG_PER_L * ask.volume_l
    if reached(most) < target:
        raise ImpossibleError(
            field_name,
            say(
                "cannot be reached with {name}: even {most:g} kg per litre gives "
                "{reached:.{digits}f}",
                name=ask.sweetener.name,
                most=MOST_KG_PER_L,
                reached=reached(most),
                digits=digits,
            ),
            target,
        )
    return float(brentq(lambda kg: reached(kg) - target, 0.0, most, xtol=1e-12))


def _result(
    ask: SweetenAsk, law: FinishingLaw, before: Liquid, kg_value: float, ready: bool
) -> Sweetening:
    after = sweetened(before, ask.sweetener, kg_value)
    state = {
        "volume_l": typed(ask.volume_l, "L"),
        "gravity": typed(ask.gravity, "SG 20/20"),
        "alcohol_pct": typed(ask.alcohol_pct, "% vol"),
    }
    water = ask.sweetener.figures.get("water_pct", 0.0)
    goal = ask.to_gravity if ask.to_gravity is not None else ask.to_sugar_g_l
    kg = Figure(
        kg_value,
        "kg",
        say("solved: extract and ethanol add up, the mixture's density gives volume and gravity"),
        BALANCE,
        {**state, "target": goal or 0.0, "sweetener_water_pct": water},
        *_kg_range(ask, kg_value),
    )
    added = {**state, "kg": kg}
    volume = Figure(after.volume_l, "L", say("mass / density of the mixture"), BALANCE, added)
    alcohol = Figure(
        after.alcohol_pct,
        "% vol",
        say("ethanol / new volume"),
        BALANCE,
        {**state, "new_volume_l": volume},
    )
    gravity = Figure(after.gravity, "SG 20/20", say("density of the mixture"), BALANCE, added)
    sugar_added = Figure(
        1000 * kg_value * sugars_share(ask.sweetener) / after.volume_l,
        "g/L",
        say("kg x sugars of the sweetener / new volume"),
        ARITHMETIC,
        {"kg": kg, "new_volume_l": volume},
    )
    residual = _residual(ask)
    sugar = Figure(
        sugar_added.value + residual.value * ask.volume_l / after.volume_l,
        "g/L",
        say("added + what was there / (new volume / volume)"),
        ARITHMETIC,
        {"added": sugar_added, "there": residual},
    )
    ferments = Figure(
        1000
        * kg_value
        * fermentable_hexose(ask.sweetener)
        * ETHANOL_YIELD_G_G
        / after.volume_l
        / ETHANOL_G_L_PER_PCT_VOL,
        "% vol",
        say("fermentable sugar added x 0.47 / 7.8924: what yeast would make of it"),
        ARITHMETIC,
        {"kg": kg},
    )
    weigh = Figure(
        math.floor(1000 * kg_value / ask.scale_g + 0.5) * ask.scale_g,
        "g",
        say("rounded to {step:g} g", step=ask.scale_g),
        ARITHMETIC,
        {"kg": kg},
    )
    acidity = _acidity(ask, kg_value, after.volume_l)
    ph = _ph(ask, kg_value)
    after_figures = {"volume_l": volume, "alcohol_pct": alcohol, "gravity": gravity}
    after_figures["sugar_g_l"] = sugar
    if acidity is not None:
        after_figures["acidity_g_l"] = acidity
    recorded = Recorded(
        (Addition(ask.sweetener.id, ask.sweetener.name, weigh, {"sugar_g_l": sugar_added}),),
        after_figures,
        _steps(ask, ready, weigh),
        _notes(ask, law, after),
        cautions("bench_first", "pressure_glass", "dose_rounding"),
    )
    return Sweetening(
        kg,
        weigh,
        volume,
        alcohol,
        gravity,
        sugar,
        sugar_added,
        acidity,
        ph,
        ferments,
        ask.sweetener.name,
        ready,
        _trial(ask, kg_value, after.volume_l),
        recorded,
    )


def _kg_range(ask: SweetenAsk, kg: float) -> tuple[float | None, float | None]:
    """What the sweetener's own range of water does to the kilograms."""
    figure = ask.sweetener.figures.get("water_pct")
    if figure is None or figure.low is None or figure.high is None or not kg > 0:
        return None, None
    dissolved = 100 - figure.value
    if dissolved <= 0:
        return None, None
    # Nearly all that counts is dissolved matter: less water means fewer kilograms, in proportion.
    return kg * dissolved / (100 - figure.low), kg * dissolved / (100 - figure.high)


def _residual(ask: SweetenAsk) -> Figure:
    if ask.residual_sugar_g_l is not None:
        return typed(ask.residual_sugar_g_l, "g/L")
    return Figure(0.0, "g/L", say("none counted"), say("assumed: residual sugar was not typed"))


def _acidity(ask: SweetenAsk, kg: float, volume_l: float) -> Figure | None:
    """Titratable acidity after, as tartaric [g/L]."""
    if ask.acidity_g_l is None:
        return None
    figure = ask.sweetener.figures.get("titratable_acid_meq_kg")
    meq = figure.value if figure else 0.0
    return Figure(
        (ask.acidity_g_l * ask.volume_l + 0.075043 * meq * kg) / volume_l,
        "g/L",
        say("(acidity x volume + 0.075043 x meq/kg x kg) / new volume, as tartaric"),
        ARITHMETIC,
        {
            "acidity_g_l": typed(ask.acidity_g_l, "g/L"),
            "sweetener_meq_kg": figure if figure else say("not in its record: none counted"),
        },
    )


def _ph(ask: SweetenAsk, kg: float) -> Figure | None:
    """pH after, each part pulling by its buffer; a first guess with a wide range."""
    own = ask.sweetener.figures.get("ph")
    acid = ask.sweetener.figures.get("titratable_acid_meq_kg")
    if ask.ph is None or own is None or acid is None:
        return None
    record = finishing_data()["buffer"]
    now = ask.ph

    def after(buffer_meq_l: float) -> float:
        mine, its = buffer_meq_l * ask.volume_l, 0.5 * acid.value * kg
        return (mine * now + its * own.value) / (mine + its)

    ends = sorted((after(float(record["low"])), after(float(record["high"]))))
    return Figure(
        after(float(record["typical"])),
        "",
        say("pH of each, weighed by its buffer (mead 15 meq/L per pH, sweetener half its acid)"),
        str(record["source"]),
        {"pH": typed(now, ""), "sweetener_pH": own, "sweetener_meq_kg": acid},
        *ends,
    )


def _trial(ask: SweetenAsk, kg: float, new_volume_l: float) -> BenchTrial:
    """Glasses around the computed dose: none to half as much again, the stock made with mead."""
    count = ask.glasses - 1
    dose = max(1000 * kg / ask.volume_l, 2.0)
    doses = [dose * 1.5 * i / count for i in range(1, count + 1)]
    room = (new_volume_l - ask.volume_l) / kg if kg > 1e-6 else 1 / ask.sweetener.density_kg_l
    undiluted = 1000 / room
    return bench_trial(
        ask.sweetener.name,
        ask.volume_l,
        doses,
        stock_g_l=min(500.0, undiluted) if max(doses) < 400 else undiluted,
        scale_g=ask.scale_g,
        own_volume_l_kg=room,
    )


def _steps(ask: SweetenAsk, ready: bool, weigh: Figure) -> tuple[str, ...]:
    first: tuple[str, ...] = ()
    if not ready:
        first = (
            say(
                "FIRST protect it, or yeast eats the sweetness in the bottle: sulfite (finish "
                "sulfite), then sorbate (finish sorbate), and wait a day; or pasteurise after "
                "bottling still."
            ),
        )
    name = before(ask.sweetener.name, ",").lower()
    return (
        *first,
        say(
            "Taste the row of glasses; the batch figure of the one you like replaces the {amount} "
            "below.",
            amount=weighed(weigh.value),
        ),
        say(
            "Stir {amount} of {name} into a part of the mead until none lies at the bottom, then "
            "mix that into the rest without splashing.",
            amount=weighed(weigh.value),
            name=name,
        ),
        say("Measure gravity now and again after a week, warm: any fall means it ferments."),
    )


def _notes(ask: SweetenAsk, law: FinishingLaw, after: Liquid) -> tuple[str, ...]:
    notes = []
    if ask.protection.by is None:
        notes.append(
            say(
                "You did not say how the mead is protected. These are amounts only: protect it "
                "before you add them."
            )
        )
    if ask.protection.by == "alcohol" and ask.protection.tolerance_high_pct is not None:
        limit = ask.protection.tolerance_high_pct
        if after.alcohol_pct < limit:
            notes.append(
                say(
                    "The sweetener thins the mead to {alcohol:.1f} % vol, below the {limit:g} the "
                    "yeast can reach: alcohol no longer protects it. Stabilise.",
                    alcohol=after.alcohol_pct,
                    limit=limit,
                )
            )
    if ask.residual_sugar_g_l is None:
        notes.append(say("Residual sugar was not typed; only what is added is counted as sugar."))
    alcohol = law.class_most("honey wine", "alcohol_after")
    if alcohol is not None and after.alcohol_pct > (alcohol.high or 100.0):
        notes.append(
            say(
                "Above {most:g} % vol it is no honey wine ({source}).",
                most=alcohol.high,
                source=alcohol.source,
            )
        )
    water = ask.sweetener.figures.get("water_pct")
    if ask.sweetener.form == "honey" and water is not None and water.source != TYPED:
        notes.append(say("Honey by its record; type the moisture of yours for a closer figure."))
    return tuple(notes)
