"""Priming sugar or keg pressure, and what bears it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from mustwright.batch.finishing_record import Added, StepDone
from mustwright.batch.liquid_words import short_name
from mustwright.batch.too_soon import BottledAs
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.field_text import grams
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.kinds import AsTyped, FieldKind, ingredient_of
from mustwright.bench.liquid import MeadNow
from mustwright.bench.recording import AnsweredStep
from mustwright.bench.step import FinishingStep
from mustwright.constants import CO2_PER_ETHANOL_G_G, ETHANOL_G_L_PER_PCT_VOL
from mustwright.finishing.carbonate import CarbonateAsk, Carbonation, carbonate
from mustwright.finishing.priming import Sugar, sugar_called
from mustwright.finishing.step import finishing_data
from mustwright.texts import join, say
from mustwright.unit_system import degrees


def _sugar(raw: object, name: str, among: AsTyped) -> Sugar:
    """One of the plain priming sugars by stoichiometry, or any ingredient."""
    kind = str(kinds.TEXT.read(raw, name, among)).lower()
    if kind in {str(one["id"]) for one in finishing_data()["priming_sugar"]}:
        return sugar_called(kind)
    return sugar_called(kind, ingredient_of(raw, name, among))


def _work(typed: TypedFields) -> Carbonation:
    keg, sugar = typed["keg"], typed["sugar"]
    if sugar is None and keg is None:
        sugar = sugar_called("sucrose")
        typed.assumed.append(say("sugar: not typed, table sugar assumed"))
    ask = typed.ask(
        CarbonateAsk,
        sugar_g_l=typed["residual_sugar"] or 0.0,
        sugar=sugar,
        stabilised=typed["stabilised"].lower() or None,
        container=typed["bottle"] or ("keg" if keg is not None else ""),
    )
    return carbonate(ask, typed.law)


def _said(result: Carbonation) -> str:
    hot = result.pressure_bar_30c
    most = hot.high if hot.high is not None else hot.value
    volumes = result.target_co2_volumes.value
    if result.keg_bar is not None:
        return say(
            "Set the keg to {bar:.2f} bar for {volumes:.2f} volumes.",
            bar=result.keg_bar.value,
            volumes=volumes,
        )
    assert result.sugar_g is not None
    primed = say(
        "Prime with {grams} of {sugar} for {volumes:.2f} volumes: {bar:.2f} bar at {cool}, up to "
        "{most:.2f} bar if it gets to {warm}.",
        grams=grams(result.sugar_g),
        sugar=short_name(result.sugar_name),
        volumes=volumes,
        bar=result.pressure_bar_20c.value,
        cool=degrees(20),
        most=most,
        warm=degrees(30),
    )
    return join(" ", (primed, _bearing(result)))


def _bearing(result: Carbonation) -> str:
    """What may be filled with it."""
    able = [one.name for one in result.containers if one.bears]
    if len(result.containers) == 1:
        return say("The {container} holds that.", container=able[0]) if able else ""
    if not able:
        return say("No usual bottle holds that.")
    return say("Fill only: {containers}.", containers=join("; ", able))


def _recorded(result: Carbonation, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    target = result.target_co2_g_l.value
    if not result.recorded.additions:
        return StepDone("carbonate", after={"co2_g_l": target})
    one = result.recorded.additions[0]
    share = used["grams.1"] / one.grams.value if one.grams.value > 0 else 0.0
    rise = result.alcohol_rise_pct.value if result.alcohol_rise_pct is not None else 0.0
    ethanol_g_l = rise * ETHANOL_G_L_PER_PCT_VOL
    gas_g_l = ethanol_g_l * CO2_PER_ETHANOL_G_G  # that so much alcohol comes with
    brings = {"ethanol": ethanol_g_l * case.volume_l * share}
    added = Added(one.substance, one.name[:120], used["grams.1"], brings)
    left = max(target - gas_g_l * (1 - share), 0.0)
    return StepDone("carbonate", (added,), after={"co2_g_l": left})


def _leaves(before: MeadNow, result: Carbonation) -> dict[str, Any]:
    """Priming sugar is eaten, and gives alcohol instead."""
    after: dict[str, Any] = {"residual_sugar_g_l": before.residual_sugar_g_l}
    if result.alcohol_rise_pct is not None and before.alcohol_pct is not None:
        after["alcohol_pct"] = before.alcohol_pct + result.alcohol_rise_pct.value
    return after


def _closes(typed: TypedFields, result: Carbonation) -> BottledAs | None:
    """A keg under gas is no closed bottle, and has its valve."""
    if not result.recorded.additions:
        return None
    return BottledAs("carbonate", typed["stabilised"].lower(), typed["fermentable"])


CARBONATE = FinishingStep(
    "carbonate", Carbonation, say("Make it sparkle"),
    say("How much priming sugar or keg pressure, how high the pressure gets if bottles warm up, "
        "and which bottles hold it."),
    (
        FormPart("", (
            shared.VOLUME,
            shared.TEMPERATURE.but(label=say("Warmest since the ferment ended"), hint="20 C",
                                   many=True, to="temperatures_c", fact="warmest"),
            shared.ALCOHOL,
            StepField("fermentable", say("Fermentable sugar left"), "1 g/L", kinds.G_L,
                      fact="residual_sugar"),
        )),
        FormPart(say("Sparkle wanted, one of the three"), (
            StepField("co2_volumes", say("Volumes of gas"), "2.5", kinds.NUMBER),
            StepField("co2", say("Or gas in grams per litre"), "5 g/L", kinds.G_L),
            StepField("pressure", say("Or pressure at 20 °C, above the air"), "2 bar", kinds.BAR,
                      to="gauge_bar_20c"),
        )),
        FormPart(say("Where the gas comes from"), (
            StepField("sugar", say("Sugar to prime with"),
                      say("table sugar if not given; none for a keg"),
                      FieldKind("KIND", _sugar),
                      known=lambda: ["sucrose", "dextrose", "honey", "apple juice"]),
            StepField("keg", say("Or the temperature of a keg under gas"), "4 C", kinds.CELSIUS),
            shared.CONTAINER,
        )),
        FormPart("", (
            StepField("sparkling", say("Meant as a sparkling drink, where law limits still ones"),
                      kind=kinds.FLAG),
            shared.PROFILE,
        )),
        FormPart(say("More that is known"), (
            shared.STABILISED, shared.SUGAR_NOW.but(label=say("Sweetness in it")),
            shared.LIMIT,
            shared.MOISTURE, shared.BRIX,
        ), folded=True),
    ),
    _work, _said, _recorded, leaves=_leaves, closes=_closes,
    title=say("Carbonate"), cautions=("priming_bomb", "keg_pressure"),
)  # fmt: skip
