"""How to make it sparkle: gas already there, priming sugar, keg pressure, what a bottle bears."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from mustwright.constants import (
    BAR_PER_ATM,
    CO2_PER_ETHANOL_G_G,
    CO2_PER_HEXOSE_G_G,
    CO2_VOLUME_G_L,
    CO2_VOLUME_SOURCE,
    ETHANOL_G_L_PER_PCT_VOL,
)
from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import ARITHMETIC, TYPED, Figure, typed
from mustwright.finishing.bottle_pressure import SOLUBILITY, UNKNOWN_ALCOHOL_PCT, warm_bottle
from mustwright.finishing.containers import (
    Container,
    containers_for,
    refuse_container,
    refuse_not_still,
    sparkle_class,
)
from mustwright.finishing.gas import co2_g_l_from_pressure, pressure_bar_from_co2
from mustwright.finishing.gas_class import kept_within
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.priming import Sugar, priming_sugar
from mustwright.finishing.step import Addition, Recorded, cautions, finishing_data, within
from mustwright.texts import join, say
from mustwright.unit_system import degrees, degrees_number, weighed

MOST_RESIDUAL_G_L = 2.0


@dataclass(frozen=True)
class CarbonateAsk:
    """The mead and the sparkle wanted (exactly one of three targets).

    Parameters
    ----------
    volume_l : float
        [L].
    temperatures_c : sequence of float
        Since fermentation ended; the warmest decides what gas is left [°C].
    co2_volumes, co2_g_l, gauge_bar_20c : float or None
        Target, total: volumes, grams per litre, or bar above the air at 20 °C.
    alcohol_pct : float or None
        [% vol]; None is counted as water for the gas left and as strong for the pressure.
    sugar_g_l : float
        Sweetness left, fermentable or not [g/L].
    fermentable_g_l : float or None
        Fermentable sugar left [g/L].
    sugar : Sugar or None
        What primes; None for a keg under gas.
    stabilised : str or None
        How yeast was stopped; then priming cannot work.
    container : str
        Kind of the records, or empty.
    limit_bar : float or None
        The maker's own bottle or keg limit, gauge [bar].
    keg_c : float or None
        Temperature at which a keg is gassed [°C].
    sparkling : bool
        Meant as a sparkling drink, where the profile keeps still ones under a limit of gas; between
        two classes by pressure it names the livelier one.
    """

    volume_l: float
    temperatures_c: Sequence[float]
    co2_volumes: float | None = None
    co2_g_l: float | None = None
    gauge_bar_20c: float | None = None
    alcohol_pct: float | None = None
    sugar_g_l: float = 0.0
    fermentable_g_l: float | None = None
    sugar: Sugar | None = None
    stabilised: str | None = None
    container: str = ""
    limit_bar: float | None = None
    keg_c: float | None = None
    sparkling: bool = False


@dataclass(frozen=True)
class Carbonation:
    """Sugar or pressure for the sparkle, and the pressure that follows."""

    residual_co2_volumes: Figure
    target_co2_volumes: Figure
    target_co2_g_l: Figure
    sugar_g: Figure | None
    sugar_g_l: Figure | None
    sugar_name: str
    alcohol_rise_pct: Figure | None
    pressure_bar_20c: Figure
    pressure_bar_30c: Figure
    keg_bar: Figure | None
    containers: tuple[Container, ...]
    legal_class: str
    recorded: Recorded = field(default_factory=Recorded)


def carbonate(ask: CarbonateAsk, law: FinishingLaw) -> Carbonation:
    """Priming sugar or keg pressure for a wanted sparkle.

    Raises
    ------
    ImpossibleError
        Over residual fermentable sugar, over stabilised yeast, or past what the container bears
        at 30 °C.

    Notes
    -----
    Gas left: saturation under 1 atm of carbon dioxide at the warmest temperature since the ferment
    ended; it does not come back on cooling. Sugar: ``(target - left) x 1.9768 / (hexose x
    0.48857)`` per litre, all of it taken to ferment; a juice also thins the mead, and that is
    counted. Pressures are gauge. At 20 °C it is that of the gas alone, as wine law reads it; at
    30 °C that of the closed bottle, air in the headspace and all (`bottle_pressure`), and its high
    end is what a bottle is judged by. A keg under gas is counted as purged of its air.
    """
    _check(ask)
    residual = _residual(ask)
    target, moved = _within_class(ask, law, _target(ask))
    volumes = Figure(
        target.value / CO2_VOLUME_G_L,
        "vol",
        say("g/L / 1.9768"),
        CO2_VOLUME_SOURCE,
        {"g_l": target},
    )
    _refuse(ask, residual, volumes)
    warm, hot_bar = _pressure(ask, target, 20.0), _judged(ask, target)
    if law.highest("still_co2") is not None and not ask.sparkling:
        refuse_not_still(law, target.value, warm.value, "co2_volumes")
    containers = containers_for(ask, hot_bar)
    refuse_container(ask, containers, hot_bar)
    sugar = None if ask.sugar is None else priming_sugar(ask.sugar, ask.volume_l, residual, target)
    keg = None if ask.keg_c is None else _pressure(ask, target, ask.keg_c)
    made = _result(ask, law, residual, volumes, target, sugar, warm, hot_bar, keg, containers)
    recorded = replace(made.recorded, notes=(*moved, *made.recorded.notes))
    return replace(made, recorded=recorded)


def _check(ask: CarbonateAsk) -> None:
    within(ask.volume_l, 1e-3, 1e6, "volume", say("a volume in L"))
    if not ask.temperatures_c:
        raise InputError(
            "temperature", say("needs the warmest the mead has been since it ended"), None
        )
    for value in ask.temperatures_c:
        within(value, -2, 40, "temperature", say("a temperature in C"))
    targets = [ask.co2_volumes, ask.co2_g_l, ask.gauge_bar_20c]
    if sum(t is not None for t in targets) != 1:
        raise InputError("co2_volumes", say("needs one target: volumes, g/L or bar at 20 C"), None)
    for name, wanted, most in (
        ("co2_volumes", ask.co2_volumes, 8.0),
        ("co2", ask.co2_g_l, 16.0),
        ("pressure", ask.gauge_bar_20c, 8.0),
    ):
        if wanted is not None:
            within(wanted, 0, most, name, say("a sparkle"))
    if ask.alcohol_pct is not None:
        within(ask.alcohol_pct, 0, 25, "alcohol", say("an alcohol in % vol"))
    within(ask.sugar_g_l, 0, 300, "residual_sugar", say("sugar in g/L"))
    if ask.fermentable_g_l is not None:
        within(ask.fermentable_g_l, 0, 300, "fermentable", say("fermentable sugar in g/L"))
    if ask.limit_bar is not None:
        within(ask.limit_bar, 0.05, 12, "limit", say("the limit of your container in bar"))
    if ask.keg_c is not None:
        within(ask.keg_c, -2, 40, "keg", say("a temperature in C"))
    if (ask.sugar is None) == (ask.keg_c is None):
        raise InputError(
            "sugar", say("needs either a sugar to prime with or a keg temperature"), None
        )


def _residual(ask: CarbonateAsk) -> Figure:
    """Gas still in the mead [vol]; no more than saturation, less after long standing."""
    warmest = max(ask.temperatures_c)
    alcohol = ask.alcohol_pct or 0.0
    held = co2_g_l_from_pressure(BAR_PER_ATM, warmest, alcohol, ask.sugar_g_l) / CO2_VOLUME_G_L
    low = float(finishing_data()["priming"]["residual_low"])
    source = (
        TYPED if ask.alcohol_pct is not None else say("assumed: alcohol not typed, so as in water")
    )
    return Figure(
        held,
        "vol",
        say("saturation under 1 atm at the warmest temperature since the ferment ended"),
        SOLUBILITY,
        {
            "warmest": typed(warmest, "C"),
            "alcohol_pct": Figure(alcohol, "% vol", say("alcohol"), source),
            "sugar_g_l": ask.sugar_g_l,
        },
        low * held,
        held,
    )


def _target(ask: CarbonateAsk) -> Figure:
    if ask.co2_g_l is not None:
        return typed(ask.co2_g_l, "g/L")
    if ask.co2_volumes is not None:
        given = {"volumes": typed(ask.co2_volumes, "vol")}
        source = CO2_VOLUME_SOURCE
        return Figure(
            ask.co2_volumes * CO2_VOLUME_G_L, "g/L", say("volumes x 1.9768"), source, given
        )
    assert ask.gauge_bar_20c is not None
    absolute = ask.gauge_bar_20c + BAR_PER_ATM
    return Figure(
        co2_g_l_from_pressure(absolute, 20.0, ask.alcohol_pct or 0.0, ask.sugar_g_l),
        "g/L",
        say("dissolved at 20 C under the gauge pressure + 1.01325 bar"),
        SOLUBILITY,
        {"gauge_bar": typed(ask.gauge_bar_20c, "bar")},
    )


def _within_class(
    ask: CarbonateAsk, law: FinishingLaw, asked: Figure
) -> tuple[Figure, tuple[str, ...]]:
    """The target, moved into a class of the profile where it lies between two, and words for it."""
    found = kept_within(law, _pressure(ask, asked, 20.0).value, ask.sparkling)
    if found is None:
        return asked, ()
    bar, words = found
    held = co2_g_l_from_pressure(bar + BAR_PER_ATM, 20.0, ask.alcohol_pct or 0.0, ask.sugar_g_l)
    given: dict[str, Figure | float | str] = {"asked": asked, "gauge_bar": bar}
    return Figure(held, "g/L", say("moved into a class of the profile"), SOLUBILITY, given), (
        words,
    )


def _refuse(ask: CarbonateAsk, residual: Figure, target: Figure) -> None:
    if ask.sugar is None:
        return
    if ask.stabilised not in (None, "no"):
        raise ImpossibleError(
            "stabilised",
            say(
                "needs living yeast: what was stabilised cannot be primed; put it under gas in a "
                "keg"
            ),
            ask.stabilised,
        )
    if ask.fermentable_g_l is not None and ask.fermentable_g_l > MOST_RESIDUAL_G_L:
        own = ask.fermentable_g_l * CO2_PER_HEXOSE_G_G / CO2_VOLUME_G_L
        raise ImpossibleError(
            "fermentable",
            say(
                "needs at most {most:g} g/L of fermentable sugar: living yeast would make "
                "{own:.1f} volumes of it on top of the priming, with no sure end",
                most=MOST_RESIDUAL_G_L,
                own=own,
            ),
            say("{sugar:g} g/L", sugar=ask.fermentable_g_l),
        )
    if target.value <= residual.value:
        raise ImpossibleError(
            "co2_volumes",
            say(
                "needs more than the {held:.2f} volumes it may hold already",
                held=residual.value,
            ),
            round(target.value, 4),
        )


def _pressure(ask: CarbonateAsk, target: Figure, temperature_c: float) -> Figure:
    """Gauge pressure over the finished drink [bar]; the high end for what is not known."""
    spread = float(finishing_data()["priming"]["solubility_spread"])

    def gauge(alcohol: float, factor: float) -> float:
        held = min(target.value * factor, 20.0)
        return pressure_bar_from_co2(held, temperature_c, alcohol, ask.sugar_g_l) - BAR_PER_ATM

    known = ask.alcohol_pct is not None
    alcohol = ask.alcohol_pct if ask.alcohol_pct is not None else 0.0
    strongest = alcohol if known else UNKNOWN_ALCOHOL_PCT
    return Figure(
        gauge(alcohol, 1.0),
        "bar",
        say(
            "absolute pressure at {temperature:g} C from solubility, less 1.01325",
            temperature=temperature_c,
        ),
        SOLUBILITY,
        {
            "co2_g_l": target,
            "alcohol_pct": alcohol if known else say("not typed: as water; high end 15 % vol"),
            "sugar_g_l": ask.sugar_g_l,
        },
        gauge(alcohol, 1 - spread),
        gauge(strongest, 1 + spread),
    )


def _judged(ask: CarbonateAsk, target: Figure) -> Figure:
    """What a bottle or keg has to bear in a warm room."""
    if ask.sugar is None:
        return _pressure(ask, target, float(finishing_data()["priming"]["hot_c"]))
    return warm_bottle(target, ask.alcohol_pct, ask.sugar_g_l)


def _result(
    ask: CarbonateAsk,
    law: FinishingLaw,
    residual: Figure,
    volumes: Figure,
    target: Figure,
    sugar: Figure | None,
    warm: Figure,
    hot: Figure,
    keg: Figure | None,
    containers: tuple[Container, ...],
) -> Carbonation:
    per_l = rise = None
    additions: tuple[Addition, ...] = ()
    name = "" if ask.sugar is None else ask.sugar.name
    if sugar is not None and ask.sugar is not None:
        per_l = Figure(
            sugar.value / ask.volume_l, "g/L", say("grams / volume"), ARITHMETIC, {"sugar_g": sugar}
        )
        made = target.value - residual.value * CO2_VOLUME_G_L
        rise = Figure(
            made / CO2_PER_ETHANOL_G_G / ETHANOL_G_L_PER_PCT_VOL,
            "% vol",
            say("gas made x 46.069 / 44.009 / 7.8924"),
            ARITHMETIC,
            {"sugar_g_l": per_l},
        )
        additions = (Addition(ask.sugar.id, name, sugar, {"sugar_g_l": per_l}),)
    after = {"co2_g_l": target, "pressure_bar_20c": warm}
    words = ("pressure_glass", "priming_bomb") if sugar is not None else ("keg_pressure",)
    return Carbonation(
        residual,
        volumes,
        target,
        sugar,
        per_l,
        name,
        rise,
        warm,
        hot,
        keg,
        containers,
        sparkle_class(law, target.value, warm.value),
        Recorded(
            additions,
            after,
            _steps(name, sugar, keg, ask),
            _notes(ask, residual, containers),
            cautions(*words, "local_law"),
        ),
    )


def _steps(
    name: str, sugar: Figure | None, keg: Figure | None, ask: CarbonateAsk
) -> tuple[str, ...]:
    if keg is not None:
        return (
            say("Purge the air: fill the closed keg with gas and vent it, three times."),
            say(
                "Cool the keg to {cold} and set {bar:.2f} bar (gauge); leave it on gas for one to "
                "two weeks, or rock it.",
                cold=degrees(ask.keg_c or 0.0),
                bar=keg.value,
            ),
            say("Vent before opening anything."),
        )
    assert sugar is not None
    return (
        say(
            "Check that gravity has been steady for two weeks or more at room temperature (finish "
            "stable)."
        ),
        say(
            "Dissolve {amount} of {name} in a little boiled water, cool it, put it in the empty "
            "vessel and run the mead onto it; stir gently so that every bottle gets its share.",
            amount=weighed(sugar.value),
            name=name,
        ),
        say("Fill, leaving 2 to 3 cm; one plastic bottle shows the pressure by how hard it gets."),
        say(
            "Keep at {low} to {high} for two to four weeks, then cold. Strong mead may be slow to "
            "start.",
            low=degrees_number(18, None, 0),
            high=degrees(22, None, 0),
        ),
    )


def _notes(ask: CarbonateAsk, residual: Figure, containers: Sequence[Container]) -> tuple[str, ...]:
    notes = []
    if ask.alcohol_pct is None:
        notes.append(
            say(
                "Type its alcohol for closer figures. Without it, the gas left is that of water "
                "(less sugar) and the pressure is up to that at 15 % vol."
            )
        )
    if ask.sugar is not None and ask.fermentable_g_l is None:
        notes.append(
            say(
                "You gave no fermentable sugar left: this is right only if there is none. Every "
                "g/L left adds a quarter of a volume."
            )
        )
    if residual.low is not None:
        notes.append(
            say(
                "After months of storage the gas left may be as little as {least:.2f} vol. Then "
                "it ends flatter than planned, never livelier.",
                least=residual.low,
            )
        )
    if ask.sugar is not None:
        notes.append(
            say(
                "The pressure at {warm} is that of the closed bottle, air in the headspace "
                "counted; its high end (fullest bottle, closed cold, no air dissolved) is what a "
                "bottle must hold.",
                warm=degrees(30),
            )
        )
    notes += [
        say("{name}: {source}.", name=c.name, source=c.working_bar.source)
        for c in containers
        if not _has_source(c)
    ]
    bearing = [c.name for c in containers if c.bears]
    if not ask.container and ask.limit_bar is None:
        notes.append(
            say(
                "Holds it at {warm}, by working pressure: {kinds}.",
                warm=degrees(30),
                kinds=join("; ", bearing) if bearing else say("none of the usual kinds"),
            )
        )
    return tuple(notes)


def _has_source(container: Container) -> bool:
    """Whether anybody but the trade stands behind its working pressure."""
    return not container.working_bar.source.startswith(("common practice", "assumed"))
