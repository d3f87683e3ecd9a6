"""How much of each: the unknown amounts of a must that is to reach a volume and a gravity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from scipy.optimize import brentq

from mustwright.errors import ImpossibleError, InputError
from mustwright.must.blend import Blend, Portion
from mustwright.must.density import sucrose_solution_density_kg_m3
from mustwright.must.gravity import gravity_from_brix
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import join, literal, say

AND = say(" and ")
GRAVITY_SLACK = 0.0015
NO_SUGAR_SLACK = 0.0005  # half the last digit of a hydrometer: tap water itself reads 1.0001
VOLUME_SLACK = 0.02
SMALLEST_KG = 1e-9


@dataclass(frozen=True)
class Wanted:
    """What the must is to reach; None leaves it free.

    Parameters
    ----------
    volume_l : float or None
        Liquid volume at 20 °C [L].
    brix : float or None
        Dissolved matter [Brix].
    """

    volume_l: float | None
    brix: float | None


def solve_amounts(portions: Sequence[Portion], parts: Sequence[float], wanted: Wanted) -> Blend:
    """Fill in the kilograms of every portion whose origin is ``solve`` or ``fill``.

    Parameters
    ----------
    portions : sequence of Portion
        Amounts of the typed ones count; of the others only the ingredient.
    parts : sequence of float
        For each portion its part by mass among those to solve, above 0 [-]; this is the ratio of
        several honeys.
    wanted : Wanted

    Returns
    -------
    Blend
        With every amount filled in.

    Raises
    ------
    InputError
        If something needed is missing (volume, gravity, an amount), there is more than one
        ``fill``, or the wanted Brix is not within 0 to 65.
    ImpossibleError
        If no amounts reach what is wanted; it says what can be reached.

    Notes
    -----
    With a wanted Brix ``b`` both conditions are linear in the masses: ``sum m (d - b/(1-b) w) = 0``
    and ``sum m (d + w) = density(b) x volume`` for dissolved and water shares d and w; the density
    is that of ICUMSA1998.
    """
    known = [p for p in portions if p.origin == "typed"]
    solve = [(p, part) for p, part in zip(portions, parts, strict=True) if p.origin == "solve"]
    fill = [p for p in portions if p.origin == "fill"]
    if len(fill) > 1:
        raise InputError(
            "must.ingredient.amount", say("only one ingredient can be 'fill'"), len(fill)
        )
    mixed = _mixture(solve)
    if wanted.brix is not None and not 0 <= wanted.brix <= 65:
        raise InputError(
            "must.gravity",
            say("needs a gravity from 1.000 to 1.319 (0 to 65 Brix)"),
            round(float(gravity_from_brix(wanted.brix)), 4),
        )
    x, y = _unknowns(Blend(known), mixed, fill[0] if fill else None, wanted)
    amounts = {id(p): x * part / mixed.total for p, part in solve} if mixed else {}
    if fill:
        amounts[id(fill[0])] = y
    made = Blend([replace(p, kg=amounts.get(id(p), p.kg)) for p in portions])
    _check(made, wanted)
    return made


@dataclass(frozen=True)
class _Mixture:
    """One kilogram of the ingredients to solve for, in their fixed ratio."""

    dissolved: float
    water: float
    total: float
    name: str


def _mixture(solve: Sequence[tuple[Portion, float]]) -> _Mixture | None:
    if not solve:
        return None
    total = sum(part for _, part in solve)
    return _Mixture(
        sum(p.ingredient.dissolved * part for p, part in solve) / total,
        sum(p.ingredient.water * part for p, part in solve) / total,
        total,
        join(AND, [p.kind for p, _ in solve]),
    )


def _unknowns(
    known: Blend, mixed: _Mixture | None, fill: Portion | None, wanted: Wanted
) -> tuple[float, float]:
    """Kilograms of the solved mixture and of the fill."""
    if mixed and wanted.brix is None:
        raise InputError(
            "must.gravity", say("needs a gravity, Brix or alcohol to solve amounts for"), "none"
        )
    if mixed and fill:
        if wanted.volume_l is None and known.water_kg + known.dissolved_kg <= 0:
            raise InputError("must.volume", say("needs a volume when no amount is given"), "none")
        return _both(known, mixed, fill, wanted)
    if mixed:
        return _one(known, mixed.dissolved, mixed.water, mixed.name, wanted, "must.gravity"), 0.0
    if fill:
        return 0.0, _fill_only(known, fill, wanted)
    return 0.0, 0.0


def _both(known: Blend, mixed: _Mixture, fill: Portion, wanted: Wanted) -> tuple[float, float]:
    assert wanted.brix is not None
    if wanted.volume_l is None:
        raise InputError(
            "must.volume", say("needs a volume when both 'solve' and 'fill' are open"), "none"
        )
    b = wanted.brix / 100
    liquid = float(sucrose_solution_density_kg_m3(b)) / 1000 * wanted.volume_l
    dissolved = b * liquid - known.dissolved_kg
    water = (1 - b) * liquid - known.water_kg
    d, w = fill.ingredient.dissolved, fill.ingredient.water
    determinant = mixed.dissolved * w - mixed.water * d
    if abs(determinant) < 1e-9:
        raise ImpossibleError(
            "must.ingredient",
            say("'solve' and 'fill' are equally sweet"),
            f"{mixed.name} and {fill.kind}",
        )
    x = (dissolved * w - water * d) / determinant
    y = (mixed.dissolved * water - mixed.water * dissolved) / determinant
    if x >= -SMALLEST_KG and y >= -SMALLEST_KG:
        return max(x, 0.0), max(y, 0.0)
    if x < 0 and known.volume_l <= wanted.volume_l:
        alone = _fill_to(known, fill, wanted.volume_l)
        filled = Blend([*known.portions, replace(fill, kg=alone)])
        if abs(filled.gravity - float(gravity_from_brix(wanted.brix))) <= NO_SUGAR_SLACK:
            return 0.0, alone
    raise _out_of_reach(known, mixed, fill, wanted, x)


def _out_of_reach(
    known: Blend, mixed: _Mixture, fill: Portion, wanted: Wanted, x: float
) -> ImpossibleError:
    assert wanted.brix is not None
    assert wanted.volume_l is not None
    target = float(gravity_from_brix(wanted.brix))
    if known.volume_l > wanted.volume_l:
        return ImpossibleError(
            "must.volume",
            say(
                "the amounts given already make {volume_l:.2f} L, more than the volume",
                volume_l=known.volume_l,
            ),
            f"{wanted.volume_l:.2f} L",
        )
    if x < 0:
        filled = Blend([*known.portions, replace(fill, kg=_fill_to(known, fill, wanted.volume_l))])
        return ImpossibleError(
            "must.gravity",
            say(
                "without any {ingredient} the must is already {gravity}: that is the lowest it "
                "can be",
                ingredient=mixed.name,
                gravity=gravity_text(filled.gravity),
            ),
            gravity_text(target),
        )
    top = (
        100
        * (known.dissolved_kg + mixed.dissolved * 1e6)
        / (known.dissolved_kg + known.water_kg + (mixed.dissolved + mixed.water) * 1e6)
    )
    return ImpossibleError(
        "must.gravity",
        say(
            "cannot be reached in {litres:g} L even without {fill}; {sweet} alone is {gravity}",
            litres=wanted.volume_l,
            fill=fill.kind,
            sweet=mixed.name,
            gravity=gravity_text(float(gravity_from_brix(min(top, 70)))),
        ),
        gravity_text(target),
    )


def _one(
    known: Blend, dissolved: float, water: float, name: str, wanted: Wanted, field: str
) -> float:
    """Kilograms of one open ingredient that bring the known ones to the wanted Brix."""
    assert wanted.brix is not None
    b = wanted.brix / 100
    pull = dissolved - b * (dissolved + water)
    need = b * (known.dissolved_kg + known.water_kg) - known.dissolved_kg
    if known.water_kg + known.dissolved_kg <= 0 or abs(pull) < 1e-9 or need / pull < -SMALLEST_KG:
        have = (
            gravity_text(known.gravity)
            if known.water_kg + known.dissolved_kg > 0
            else say("nothing")
        )
        raise ImpossibleError(
            field,
            say(
                "cannot be reached by adding {name} to what is there ({have})", name=name, have=have
            ),
            gravity_text(float(gravity_from_brix(wanted.brix))),
        )
    return max(need / pull, 0.0)


def _fill_only(known: Blend, fill: Portion, wanted: Wanted) -> float:
    if wanted.volume_l is None:
        if wanted.brix is None:
            raise InputError(
                "must.volume", say("needs a volume or a gravity to fill up to"), "none"
            )
        return _one(
            known,
            fill.ingredient.dissolved,
            fill.ingredient.water,
            fill.kind,
            wanted,
            "must.gravity",
        )
    return _fill_to(known, fill, wanted.volume_l)


def _fill_to(known: Blend, fill: Portion, volume_l: float) -> float:
    """Kilograms of fill that bring the volume up."""

    def excess(kg: float) -> float:
        return Blend([*known.portions, replace(fill, kg=kg)]).volume_l - volume_l

    if known.volume_l > volume_l * (1 + 1e-9):
        raise ImpossibleError(
            "must.volume",
            say(
                "the amounts given already make {volume_l:.2f} L, more than the volume",
                volume_l=known.volume_l,
            ),
            f"{volume_l:.2f} L",
        )
    liquid = fill.ingredient.water + fill.ingredient.dissolved
    if liquid < 1e-3:
        raise ImpossibleError(
            "must.ingredient.amount",
            say("{kind} has no liquid to fill with", kind=fill.kind),
            "fill",
        )
    high = 3 * volume_l / liquid  # no liquid of the tables weighs 3 kg/L
    if excess(0.0) >= 0:
        return 0.0
    return float(brentq(excess, 0.0, high, xtol=1e-12, rtol=1e-14))


def _sweet_amounts(made: Blend) -> str:
    """What was typed of the sweet ingredients, for an error (``4 kg of honey``)."""
    sweet = [p for p in made.portions if p.origin == "typed" and p.ingredient.dissolved > 0.01]
    if not 1 <= len(sweet) <= 3:
        return say("the amounts given")
    return join(
        AND,
        [
            say("{kg:.4g} kg of {ingredient}", kg=p.kg, ingredient=p.kind or p.ingredient.name)
            for p in sweet
        ],
    )


def _litres(volume_l: float) -> str:
    """A volume for an error: no false digits, and no power of ten."""
    return (
        say("{volume_l:.0f}", volume_l=volume_l)
        if volume_l >= 100
        else say("{volume_l:.3g}", volume_l=volume_l)
    )


def _check(made: Blend, wanted: Wanted) -> None:
    """Compare what the amounts give with what was wanted."""
    if made.water_kg + made.dissolved_kg <= 0:
        raise InputError("must.ingredient", say("needs at least one amount above zero"), "nothing")
    if wanted.brix is not None:
        target = float(gravity_from_brix(wanted.brix))
        if abs(made.gravity - target) > GRAVITY_SLACK:
            needs = (
                literal(
                    "{amounts} cannot reach it in {litres} L: highest is about {gravity} (make an "
                    "amount 'solve', or leave gravity out)"
                )
                if made.gravity < target
                else literal(
                    "{amounts} cannot reach it in {litres} L: lowest is about {gravity} (make an "
                    "amount 'solve', or leave gravity out)"
                )
            )
            needs = needs.format(
                amounts=_sweet_amounts(made),
                litres=_litres(made.volume_l),
                gravity=gravity_text(made.gravity),
            )
            raise ImpossibleError("must.gravity", needs, gravity_text(target))
    if wanted.volume_l is not None:
        off = made.volume_l / wanted.volume_l - 1
        if abs(off) > VOLUME_SLACK:
            raise ImpossibleError(
                "must.volume",
                say(
                    "the amounts given make {volume_l:.2f} L (make an amount 'fill', "
                    "or leave volume out)",
                    volume_l=made.volume_l,
                ),
                f"{wanted.volume_l:.2f} L",
            )
