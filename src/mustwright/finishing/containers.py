"""What a bottle or keg bears at 30 °C, and what the law calls a drink with so much gas."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from mustwright.constants import CO2_VOLUME_G_L
from mustwright.errors import ImpossibleError
from mustwright.figure import Figure, typed
from mustwright.finishing.bottle_pressure import AIR, SOLUBILITY, most_co2_g_l
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.step import finishing_data, record
from mustwright.unit_system import degrees


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
        name = ask.container or "your container"
        limit = typed(ask.limit_bar, "bar")
        return (_container("own", name, limit, "", ask, hot),)
    kinds = finishing_data()["container"]
    if ask.container:
        kinds = [record("container", ask.container, "bottle")]
    return tuple(
        _container(
            str(one["id"]),
            str(one["name"]),
            Figure(float(one["working_bar"]), "bar", "working pressure", str(one["source"])),
            str(one.get("not_working", "")),
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
        "the most that keeps the closed bottle within its working pressure in the warm, air "
        "included",
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
        raise ImpossibleError(
            "bottle",
            f"bears {chosen.working_bar.value:g} bar ({chosen.name}), and this reaches up to "
            f"{high:.1f} bar at {degrees(30)}, air in the headspace and all: at most "
            f"{chosen.most_volumes.value:.2f} volumes",
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
    meant = "or say that it is meant as sparkling, a class of its own"
    grams, over = law.highest("still_co2"), law.highest("still_overpressure")
    if grams is not None and grams.high is not None and co2_g_l > grams.high:
        volumes = grams.high / CO2_VOLUME_G_L
        raise ImpossibleError(
            where,
            f"needs at most {grams.high:g} g/L ({volumes:.2f} volumes) in a still drink "
            f"({law.name}, {grams.source}), {meant}",
            f"{co2_g_l:.2f} g/L",
        )
    if over is not None and over.high is not None and gauge_bar_20c >= over.high:
        raise ImpossibleError(
            where,
            f"needs less than {over.high:g} bar at 20 C in a still drink "
            f"({law.name}, {over.source}), {meant}",
            f"{co2_g_l:.2f} g/L, {gauge_bar_20c:.2f} bar",
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
        side = (
            "still" if co2_g_l <= still.high else "above still: sparkling or carbonated, other tax"
        )
        return f"{side} ({100 * co2_g_l / 1000:.3f} g/100 mL; limit 0.392, {still.source})"
    sparkling, overpressure = law.lowest("sparkling"), law.highest("still_overpressure")
    low, high = law.lowest("semi_sparkling_low"), law.highest("semi_sparkling_high")
    if not (sparkling and overpressure and low and high):
        return "no legal boundary in this profile"
    bar = gauge_bar_20c
    if bar >= float(sparkling.low or 0):
        return f"sparkling ({bar:.2f} bar at 20 C, from 3)"
    if float(low.low or 0) <= bar <= float(high.high or 0):
        return f"semi-sparkling ({bar:.2f} bar at 20 C, 1 to 2.5)"
    if bar < float(overpressure.high or 0):
        return f"still ({max(bar, 0):.2f} bar at 20 C, below 0.5)"
    return f"between the categories ({bar:.2f} bar at 20 C): move it to 1 to 2.5 or from 3 bar"
