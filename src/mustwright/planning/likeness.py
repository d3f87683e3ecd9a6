"""Which fermentations is this one like: its medium, its yeast, its honey."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from mustwright.kinetics.house_prior import HousePrior
from mustwright.kinetics.parameters import Population, population_of_house
from mustwright.planning.kinetic_inputs import medium_of
from mustwright.planning.must_setup import Ground
from mustwright.texts import say


@dataclass(frozen=True)
class Likeness:
    """What makes batches alike, for "like with like".

    Parameters
    ----------
    yeast : str
        Kind of yeast; empty where it is not known, which is like no other.
    honey : str
        Name of the honey that gives most of the sugar; empty as for the yeast.
    medium : str
        Population of fermentations it belongs to: effects are counted in its spread.
    """

    yeast: str = ""
    honey: str = ""
    medium: str = "unknown"


HOUSE_NOTE = say("The forecast starts from what your own finished batches have shown.")
HouseFor = Callable[[Likeness], HousePrior | None]


def likeness_of(ground: Ground | None) -> Likeness:
    """What a must is like; like no other where its sheet cannot be read."""
    if ground is None:
        return Likeness()
    honeys = [p for p in ground.primary if p.ingredient.form == "honey"]
    main = max(honeys, key=lambda p: p.kg * p.ingredient.dissolved, default=None)
    return Likeness(
        ground.setting.strain.id if ground.sheet.strain_typed else "",
        "" if main is None else (main.kind or main.ingredient.id).strip().lower(),
        medium_of(ground),
    )


def at_home(ground: Ground, house: HouseFor | None) -> Ground:
    """The ground of a must with what is known of the maker's own fermentations."""
    return ground if house is None else replace(ground, house=house(likeness_of(ground)))


def population_at(ground: Ground) -> Population | None:
    """What its forecasts are drawn from; None, the population of its medium, without a house."""
    return population_of_house(medium_of(ground), ground.house)
