"""What is left after racking: lees, hoses, headspace, and what topping up does."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.finishing.liquid import BALANCE, Liquid, mead
from mustwright.finishing.step import Addition, Recorded, cautions, published, record, within
from mustwright.must.blend import Blend, Portion
from mustwright.must.ingredient import Ingredient
from mustwright.texts import say
from mustwright.unit_system import measured_volume, short_volume

SMALL_HEADSPACE_PCT = 2.0
SUGARY_TOP_UP_G_L = 2.0
TOP_UPS = {"mead": say("mead"), "water": say("water"), "honey water": say("honey water")}


@dataclass(frozen=True)
class RackAsk:
    """The mead, how it is racked, and into what.

    Parameters
    ----------
    volume_l : float
        Before, lees included [L].
    gravity, alcohol_pct : float or None
        Needed for topping up [SG 20/20, % vol].
    lees, way : str
        Kinds of the records.
    lees_depth_cm, diameter_cm : float or None
        Measured lees in a straight vessel, instead of the usual loss [cm].
    vessel_l : float or None
        What the next vessel holds to the brim [L].
    headspace_l : float or None
        Room wanted at the top [L]; a hundredth of the vessel when left out.
    top_up : str or None
        ``mead`` (typed gravity and alcohol), ``water``, or ``honey water``.
    top_gravity, top_alcohol_pct : float or None
        Of the mead it is topped up with.
    honey : Ingredient or None
        For honey water, whose gravity is `top_gravity`.
    """

    volume_l: float
    gravity: float | None = None
    alcohol_pct: float | None = None
    lees: str = "gross_plain"
    way: str = "siphon"
    lees_depth_cm: float | None = None
    diameter_cm: float | None = None
    vessel_l: float | None = None
    headspace_l: float | None = None
    top_up: str | None = None
    top_gravity: float | None = None
    top_alcohol_pct: float | None = None
    honey: Ingredient | None = None


@dataclass(frozen=True)
class Racking:
    """Volumes after racking and after topping up."""

    lees_l: Figure
    way_l: Figure
    racked_l: Figure
    headspace_l: Figure | None
    headspace_pct: Figure | None
    top_up_l: Figure | None
    volume_after_l: Figure
    alcohol_after_pct: Figure | None
    gravity_after: Figure | None
    sugar_brought_g_l: Figure | None
    recorded: Recorded = field(default_factory=Recorded)


def rack(ask: RackAsk) -> Racking:
    """Rack a mead, and top it up where a vessel and a liquid are given.

    Raises
    ------
    InputError, ImpossibleError

    Notes
    -----
    Racking itself changes neither gravity nor alcohol; losses are what stays behind. Measured lees:
    ``pi/4 x diameter^2 x depth``. Topping up mixes by mass, contraction included.
    """
    within(ask.volume_l, 1e-3, 1e6, "volume", say("a volume in L"))
    lees = _lees(ask)
    way = published(record("racking_way", ask.way, "by")["loss_l"], say("loss on the way"), "L")
    given = {"volume_l": typed(ask.volume_l, "L"), "lees_l": lees, "way_l": way}
    left = ask.volume_l - lees.value - way.value
    if left <= 0:
        raise ImpossibleError(
            "volume", say("needs more than what stays behind"), short_volume(ask.volume_l)
        )
    low = high = None
    if None not in (lees.high, way.high, lees.low, way.low):
        low = max(0.0, ask.volume_l - float(lees.high or 0) - float(way.high or 0))
        high = ask.volume_l - float(lees.low or 0) - float(way.low or 0)
    racked = Figure(left, "L", say("volume - lees - hoses"), ARITHMETIC, given, low, high)
    if ask.vessel_l is None:
        return _as_racked(ask, lees, way, racked)
    return _with_vessel(ask, lees, way, racked)


def _as_racked(
    ask: RackAsk,
    lees: Figure,
    way: Figure,
    racked: Figure,
    headspace: Figure | None = None,
    pct: Figure | None = None,
    notes: tuple[str, ...] = (),
) -> Racking:
    """What comes over, if nothing is added."""
    told = cautions("carbon_dioxide_room")
    return Racking(
        lees,
        way,
        racked,
        headspace,
        pct,
        None,
        racked,
        _same(ask.alcohol_pct, "% vol"),
        _same(ask.gravity, "SG 20/20"),
        None,
        Recorded((), {"volume_l": racked}, _steps(None, ""), notes, told),
    )


def _same(value: float | None, unit: str) -> Figure | None:
    if value is None:
        return None
    return Figure(value, unit, say("racking does not change it"), ARITHMETIC)


def _lees(ask: RackAsk) -> Figure:
    if (ask.lees_depth_cm is None) != (ask.diameter_cm is None):
        raise InputError("lees_depth", say("needs depth and diameter together"), ask.lees_depth_cm)
    if ask.lees_depth_cm is not None and ask.diameter_cm is not None:
        within(ask.lees_depth_cm, 0, 100, "lees_depth", say("a depth in cm"))
        within(ask.diameter_cm, 1, 500, "diameter", say("a diameter in cm"))
        return Figure(
            math.pi / 4 * ask.diameter_cm**2 * ask.lees_depth_cm / 1000,
            "L",
            say("pi/4 x diameter^2 x depth"),
            ARITHMETIC,
            {
                "depth": typed(ask.lees_depth_cm, "cm"),
                "diameter": typed(ask.diameter_cm, "cm"),
            },
        )
    share = published(record("lees", ask.lees, "lees")["loss_pct"], say("lees"), "%")
    return Figure(
        ask.volume_l * share.value / 100,
        "L",
        say("volume x usual share"),
        ARITHMETIC,
        {"share": share},
        None if share.low is None else ask.volume_l * share.low / 100,
        None if share.high is None else ask.volume_l * share.high / 100,
    )


def _with_vessel(ask: RackAsk, lees: Figure, way: Figure, racked: Figure) -> Racking:
    assert ask.vessel_l is not None
    within(ask.vessel_l, 1e-3, 1e6, "vessel", say("a volume in L"))
    wanted = ask.headspace_l if ask.headspace_l is not None else ask.vessel_l / 100
    within(wanted, 0, ask.vessel_l, "headspace", say("a headspace in L"))
    space = ask.vessel_l - racked.value
    if space < 0:
        raise ImpossibleError(
            "vessel",
            say("needs at least {least} for what is racked", least=measured_volume(racked.value)),
            short_volume(ask.vessel_l),
        )
    headspace = Figure(
        space,
        "L",
        say("vessel - racked"),
        ARITHMETIC,
        {"vessel_l": typed(ask.vessel_l, "L"), "racked_l": racked},
    )
    pct = Figure(100 * space / ask.vessel_l, "%", say("headspace / vessel"), ARITHMETIC)
    fill = max(0.0, space - wanted)
    if ask.top_up is None or fill <= 0:
        notes: tuple[str, ...] = ()
        if pct.value > SMALL_HEADSPACE_PCT:
            notes = (
                say(
                    "{space} of air above it will age it. Top up, use a smaller vessel, or fill "
                    "the space with an inert gas.",
                    space=measured_volume(space),
                ),
            )
        return _as_racked(ask, lees, way, racked, headspace, pct, notes)
    return _topped_up(ask, lees, way, racked, headspace, pct, fill)


def _topped_up(
    ask: RackAsk,
    lees: Figure,
    way: Figure,
    racked: Figure,
    headspace: Figure,
    pct: Figure,
    fill_l: float,
) -> Racking:
    if ask.gravity is None or ask.alcohol_pct is None:
        raise InputError("gravity", say("needs gravity and alcohol of the mead to top it up"), None)
    before = mead(racked.value, ask.gravity, ask.alcohol_pct)
    top, sugar_g = _top_up(ask, fill_l)
    after = before + top
    state: dict[str, Figure | float | str] = {"racked_l": racked, "top_up_l": fill_l}
    top_up = Figure(
        fill_l, "L", say("headspace - headspace wanted"), ARITHMETIC, {"space": headspace}
    )
    volume = Figure(after.volume_l, "L", say("mass / density of the mixture"), BALANCE, state)
    alcohol = Figure(after.alcohol_pct, "% vol", say("ethanol / volume"), BALANCE, state)
    gravity = Figure(after.gravity, "SG 20/20", say("density of the mixture"), BALANCE, state)
    sugar = Figure(sugar_g / volume.value, "g/L", say("sugar of the top-up / volume"), ARITHMETIC)
    liquid = str(ask.top_up)
    name = TOP_UPS.get(liquid, liquid)
    notes = []
    if sugar.value > SUGARY_TOP_UP_G_L:
        notes.append(
            say(
                "The top-up brings {sugar:.1f} g/L of sugar: with live yeast it ferments again. "
                "Fit an airlock and check gravity again.",
                sugar=sugar.value,
            )
        )
    grams = Figure(top.mass_g, "g", say("volume x density"), ARITHMETIC)
    recorded = Recorded(
        (
            Addition(
                liquid.replace(" ", "_"),
                name,
                grams,
                {"sugar_g_l": sugar},
                measured_volume(fill_l),
            ),
        ),
        {"volume_l": volume, "alcohol_pct": alcohol, "gravity": gravity},
        _steps(fill_l, name),
        tuple(notes),
        cautions("carbon_dioxide_room"),
    )
    return Racking(
        lees, way, racked, headspace, pct, top_up, volume, alcohol, gravity, sugar, recorded
    )


def _top_up(ask: RackAsk, litres: float) -> tuple[Liquid, float]:
    """The liquid for topping up, and the sugar in it [g]."""
    if ask.top_up == "water":
        return mead(litres, 1.0, 0.0), 0.0
    if ask.top_up == "mead":
        if ask.top_gravity is None or ask.top_alcohol_pct is None:
            raise InputError(
                "top_gravity", say("needs gravity and alcohol of the top-up mead"), None
            )
        top = mead(litres, ask.top_gravity, ask.top_alcohol_pct)
        return top, 0.0
    if ask.top_up == "honey water":
        if ask.honey is None or ask.top_gravity is None:
            raise InputError("top_gravity", say("needs the gravity of the honey water"), None)
        top = mead(litres, ask.top_gravity, 0.0)
        share = Blend([Portion(ask.honey, 1.0)])
        sugars = sum(ask.honey.share(s) for s in ("glucose", "fructose", "sucrose", "maltose"))
        return top, top.extract_g * sugars / share.dissolved_kg
    raise InputError("top_up", say("needs one of mead, water, honey water"), ask.top_up)


def _steps(fill_l: float | None, name: str) -> tuple[str, ...]:
    steps = [
        say(
            "Flush the next vessel with gas if you have it. Put the outlet on its floor and let "
            "the mead run in without splashing."
        ),
        say("Stop before the lees move. Let the last of it settle in a jar in the cold."),
    ]
    if fill_l is not None:
        steps.append(
            say(
                "Top up with {amount} of {name}; close it and note the date.",
                amount=measured_volume(fill_l),
                name=name,
            )
        )
    return tuple(steps)
