"""What the law and the label allow: limits as data, per litre of must."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from mustwright import data
from mustwright.data.list_standing import ListStanding, standings
from mustwright.nutrition.shelf import Nutrient
from mustwright.texts import say
from mustwright.units import parse_quantity

SUMS: Mapping[str, tuple[str, ...]] = {
    "total_ammonium_salts": ("ammonium_phosphate", "ammonium_sulfate"),
}


SUBSTANCES: Mapping[str, str] = {
    "total_ammonium_salts": say("total ammonium salts"),
    "ammonium_phosphate": say("ammonium phosphate"),
    "ammonium_sulfate": say("ammonium sulfate"),
    "thiamine": say("thiamine"),
    "thiamine_hydrochloride": say("thiamine hydrochloride"),
    "yeast_cell_walls": say("yeast hulls (cell walls)"),
    "urea": say("urea"),
}


@dataclass(frozen=True)
class Limit:
    """One ceiling.

    Parameters
    ----------
    substance : str
        As in a nutrient's ``contains``, or a sum named in `SUMS`.
    max_g_l : float
        [g/L of must].
    """

    substance: str
    max_g_l: float
    statement: str
    source: str

    @property
    def name(self) -> str:
        """The substance in plain words."""
        return SUBSTANCES.get(self.substance) or self.substance.replace("_", " ")

    def fraction_in(self, nutrient: Nutrient) -> float:
        """Grams of the substance per gram of a nutrient."""
        members = SUMS.get(self.substance, (self.substance,))
        return sum(nutrient.contains.get(member, 0.0) for member in members)


@dataclass(frozen=True)
class ClassLimit:
    """A bound a drink must keep to carry a legal name (honey wine, for example)."""

    quantity: str
    low: float | None
    high: float | None
    unit: str
    statement: str
    source: str


@dataclass(frozen=True)
class LegalProfile:
    """A set of limits, the edition they were taken from and when that was last compared."""

    id: str
    name: str
    edition: str
    note: str
    limits: tuple[Limit, ...]
    class_limits: tuple[ClassLimit, ...]
    standings: tuple[ListStanding, ...] = ()

    def standing_of(self, nutrient: Nutrient) -> ListStanding | None:
        """What the list says of a nutrient without a figure there; None where nothing special."""
        kinds = {nutrient.class_id, *nutrient.contains}
        return next((one for one in self.standings if kinds & set(one.kinds)), None)


@cache
def legal_profiles() -> dict[str, LegalProfile]:
    """Every legal profile, by id."""
    return {name: _profile(content) for name, content in data.folder("limits").items()}


def legal_profile(identity: object, where: str = "legal.profile") -> LegalProfile:
    """A profile by id.

    Raises
    ------
    UnknownKindError
    """
    profiles = legal_profiles()
    return profiles[data.key_of(profiles, identity, where)]


def _profile(content: Mapping[str, Any]) -> LegalProfile:
    limits = tuple(
        Limit(
            str(one["substance"]),
            parse_quantity(f"{one['max']} {one['unit']}", "limit.max").value,
            one["statement"],
            str(one["source"]),
        )
        for one in content.get("limit", [])
    )
    classes = tuple(
        ClassLimit(
            str(one["quantity"]),
            one.get("min"),
            one.get("max"),
            str(one["unit"]),
            one["statement"],
            str(one["source"]),
        )
        for one in content.get("class_limit", [])
    )
    return LegalProfile(
        str(content["id"]),
        content["name"],
        data.edition_of(content),
        content["note"],
        limits,
        classes,
        standings(content),
    )
