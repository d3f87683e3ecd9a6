"""What a bottle or keg bears at 30 °C, and what the law calls a drink with so much gas."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from mustwright.constants import BAR_PER_ATM, CO2_VOLUME_G_L
from mustwright.errors import ImpossibleError
from mustwright.figure import Figure, typed
from mustwright.finishing.bottle_pressure import AIR, SOLUBILITY, most_co2_g_l
from mustwright.finishing.gas import pressure_bar_from_co2
from mustwright.finishing.law import FinishingLaw, finishing_laws
from mustwright.finishing.step import finishing_data, record, sourced
from mustwright.texts import say
from mustwright.unit_system import degrees

ROOM_C = 20.0


class ContainerAsk(Protocol):
    """What is asked of a container: its kind or own limit, and the mead in it."""

    @property
    def container(self) -> str: ...
    @property
    def limit_bar(self) -> float | None: ...
    @property
    def alcohol_pct(self) -> float | None: ...
    @property
    def sugar_g_l(self) -> float: ...


@dataclass(frozen=True)
class NamedBottle:
    """A bottle as it was named, and the mead in it; empty and None where nothing was said."""

    container: str
    limit_bar: float | None
    alcohol_pct: float | None
    sugar_g_l: float


def still_bar() -> float:
    """Gas above the air at 20 °C from which a drink is no longer still, by the EU's line [bar]."""
    line = finishing_laws()["eu"].limits["still_overpressure"]
    assert line.high is not None
    return line.high


def is_still(co2_g_l: float, alcohol_pct: float | None, sugar_g_l: float) -> bool:
    """Whether so much gas leaves a drink still, so that any bottle will do.

    Parameters
    ----------
    co2_g_l : float
        0 to 16 [g/L].
    alcohol_pct : float or None
        0 to 25 [% vol].
    sugar_g_l : float
        0 to 300 [g/L].

    Returns
    -------
    bool
    """
    over = pressure_bar_from_co2(co2_g_l, ROOM_C, alcohol_pct or 0.0, sugar_g_l) - BAR_PER_ATM
    return over < still_bar()


@dataclass(frozen=True)
class Container:
    """A kind of bottle or keg and whether it bears this pressure at 30 °C."""

    id: str
    name: str
    working_bar: Figure
    bears: bool
    most_volumes: Figure
    remark: str


def containers_for(ask: ContainerAsk, hot: Figure) -> tuple[Container, ...]:
    """Every kind of container, or the one asked about, against the pressure at 30 °C."""
    if ask.limit_bar is not None:
        name = ask.container or say("your container")
        limit = typed(ask.limit_bar, "bar")
        return (_container("own", name, limit, "", ask, hot),)
    kinds = finishing_data()["container"]
    if ask.container:
        kinds = [record("container", ask.container, "bottle")]
    return tuple(
        _container(
            str(one["id"]),
            one["name"],
            Figure(float(one["working_bar"]), "bar", say("working pressure"), sourced(one)),
            one.get("not_working", ""),
            ask,
            hot,
        )
        for one in kinds
    )


def _container(
    identity: str, name: str, limit: Figure, remark: str, ask: ContainerAsk, hot: Figure
) -> Container:
    volumes = Figure(
        most_co2_g_l(limit.value, ask.alcohol_pct, ask.sugar_g_l) / CO2_VOLUME_G_L,
        "vol",
        say(
            "the most that keeps the closed bottle within its working pressure in the warm, air "
            "included"
        ),
        f"{SOLUBILITY}; {AIR}",
        {"working_bar": limit},
    )
    high = hot.high if hot.high is not None else hot.value
    bears = high <= limit.value
    return Container(identity, name, limit, bears, volumes, remark)


def refuse_container(ask: ContainerAsk, containers: Sequence[Container], hot: Figure) -> None:
    """Refuse if the container asked about does not bear the pressure; say how far one can go.

    Parameters
    ----------
    ask : ContainerAsk
    containers : sequence of Container
        The one asked about first.
    hot : Figure
        Gauge pressure at 30 °C, with its range [bar].

    Raises
    ------
    ImpossibleError
        If the pressure is beyond what the container is made for.
    """
    if not ask.container and ask.limit_bar is None:
        return
    chosen = containers[0]
    if not chosen.bears:
        high = hot.high if hot.high is not None else hot.value
        words = say(
            "holds {holds:g} bar ({name}), and this reaches up to {reached:.1f} bar at {warm}, "
            "air in the headspace and all: at most {most:.2f} volumes",
            holds=chosen.working_bar.value,
            name=chosen.name,
            reached=high,
            warm=degrees(30),
            most=chosen.most_volumes.value,
        )
        raise ImpossibleError(
            "bottle",
            words
            if chosen.id == "own"
            else words + say("; type what yours is made for, if it bears more"),
            chosen.id,
        )


def refuse_not_still(law: FinishingLaw, co2_g_l: float, gauge_bar_20c: float, where: str) -> None:
    """Refuse more gas than the profile lets a still drink hold.

    Parameters
    ----------
    law : FinishingLaw
    co2_g_l : float
        Carbon dioxide in the drink, at least 0 [g/L].
    gauge_bar_20c : float
        Its pressure at 20 °C, above the air [bar].
    where : str
        The field that asks for it.

    Raises
    ------
    ImpossibleError
        With the limit and its source.
    """
    meant = say("or say that it is meant as sparkling, a class of its own")
    grams, over = law.highest("still_co2"), law.highest("still_overpressure")
    if grams is not None and grams.high is not None and co2_g_l > grams.high:
        volumes = grams.high / CO2_VOLUME_G_L
        raise ImpossibleError(
            where,
            say(
                "needs at most {most:g} g/L ({volumes:.2f} volumes) in a still drink ({law}, "
                "{source}), {meant}",
                most=grams.high,
                volumes=volumes,
                law=law.name,
                source=grams.source,
                meant=meant,
            ),
            say("{co2:.2f} g/L", co2=co2_g_l),
        )
    if over is not None and over.high is not None and gauge_bar_20c >= over.high:
        raise ImpossibleError(
            where,
            say(
                "needs less than {most:g} bar at 20 C in a still drink ({law}, {source}), {meant}",
                most=over.high,
                law=law.name,
                source=over.source,
                meant=meant,
            ),
            say("{co2:.2f} g/L, {bar:.2f} bar", co2=co2_g_l, bar=gauge_bar_20c),
        )


def sparkle_class(law: FinishingLaw, co2_g_l: float, gauge_bar_20c: float) -> str:
    """What the profile calls a drink with this much gas.

    Parameters
    ----------
    law : FinishingLaw
    co2_g_l : float
        Carbon dioxide in the drink, at least 0 [g/L]; the US counts grams.
    gauge_bar_20c : float
        Its pressure at 20 °C, above the air, as wine law counts it [bar].

    Returns
    -------
    str
        The class in words, with the figure and the limit.
    """
    still = law.highest("still_co2")
    if still is not None and still.high is not None:
        given: dict[str, Any] = {"grams": 100 * co2_g_l / 1000, "source": still.source}
        if co2_g_l <= still.high:
            return say("still ({grams:.3f} g/100 mL; limit 0.392, {source})", **given)
        return say(
            "above still: sparkling or carbonated, other tax ({grams:.3f} g/100 mL; limit 0.392, "
            "{source})",
            **given,
        )
    sparkling, overpressure = law.lowest("sparkling"), law.highest("still_overpressure")
    low, high = law.lowest("semi_sparkling_low"), law.highest("semi_sparkling_high")
    if not (sparkling and overpressure and low and high):
        return say("no legal boundary in this profile")
    bar = gauge_bar_20c
    if bar >= float(sparkling.low or 0):
        return say("sparkling ({bar:.2f} bar at 20 C, from 3)", bar=bar)
    if float(low.low or 0) <= bar <= float(high.high or 0):
        return say("semi-sparkling ({bar:.2f} bar at 20 C, 1 to 2.5)", bar=bar)
    if bar < float(overpressure.high or 0):
        return say("still ({bar:.2f} bar at 20 C, below 0.5)", bar=max(bar, 0))
    return say(
        "between the categories ({bar:.2f} bar at 20 C): move it to 1 to 2.5 or from 3 bar", bar=bar
    )
