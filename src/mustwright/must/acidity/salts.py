"""What lifts or lowers pH: salts and acids as records, and what the law says of each."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright import data
from mustwright.constants import CALCIUM_G_MOL, CO2_L_PER_MOL_20C, POTASSIUM_G_MOL
from mustwright.errors import UnknownKindError
from mustwright.must.acidity.course import CourseAddition
from mustwright.must.acidity.members import TARTARIC_MEQ_G
from mustwright.texts import join, say

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Salt:
    """One salt or acid.

    Parameters
    ----------
    base : float
        Moles of acid taken up per mole, where carbonate leaves as gas; 0 for an acid.
    acid : str
        Organic acid it brings, one mole per mole; empty for none.
    max_g_l : float
        Most that is planned per litre [g/L].
    """

    id: str
    name: str
    molar_mass: float
    base: float
    potassium_mol: float
    calcium_mol: float
    gas_mol: float
    acid: str
    max_g_l: float
    caution: str
    source: str

    @property
    def is_acid(self) -> bool:
        """Whether it lowers pH."""
        return self.base == 0

    @property
    def base_meq_g(self) -> float:
        """Acid taken up per gram [meq/g].

        Examples
        --------
        Potassium bicarbonate per gram per litre of acid as tartaric:

        >>> round(TARTARIC_MEQ_G / salt_called("khco3").base_meq_g, 3)
        1.334
        """
        return 1000 * self.base / self.molar_mass

    @property
    def potassium_mg_g(self) -> float:
        """Potassium brought [mg/g]."""
        return 1000 * self.potassium_mol * POTASSIUM_G_MOL / self.molar_mass

    @property
    def calcium_mg_g(self) -> float:
        """Calcium brought [mg/g]."""
        return 1000 * self.calcium_mol * CALCIUM_G_MOL / self.molar_mass

    @property
    def gas_l_g(self) -> float:
        """CO2 it can give off at 20 °C and 1 atm [L/g]."""
        return self.gas_mol * CO2_L_PER_MOL_20C / self.molar_mass

    def addition(self, grams_l: float | Floats, given: ArrayLike) -> CourseAddition:
        """A dose of it, in grams per litre, as something put into the must."""
        mmol_l = 1000 * np.asarray(grams_l, dtype=float) / self.molar_mass
        return CourseAddition(
            self.name,
            np.asarray(given, dtype=float),
            base_meq_l=mmol_l * self.base,
            acids_mmol_l={self.acid: mmol_l} if self.acid else {},
            potassium_mg_l=mmol_l * self.potassium_mol * POTASSIUM_G_MOL,
        )


@dataclass(frozen=True)
class Allowance:
    """How much of a salt a legal profile allows to be planned.

    Parameters
    ----------
    most_g_l : float
        [g/L]; the salt's own planning maximum where the law is silent.
    statements : tuple of str
        The rules that were looked at, with their source.
    binding : str
        The one that sets the limit, empty where it is the planning maximum.
    """

    most_g_l: float
    statements: tuple[str, ...]
    binding: str


@cache
def all_salts() -> dict[str, Salt]:
    """Every salt and acid, by id."""
    return {record["id"]: _salt(record) for record in data.load("acids")["salt"]}


def _salt(record: dict[str, Any]) -> Salt:
    return Salt(
        record["id"],
        record["name"],
        float(record["molar_mass"]),
        float(record["base"]),
        float(record.get("potassium_mol", 0)),
        float(record.get("calcium_mol", 0)),
        float(record.get("gas_mol", 0)),
        str(record.get("acid", "")),
        float(record["max_g_l"]),
        record["caution"],
        str(record["source"]),
    )


def salt_called(name: object, field: str = "salt") -> Salt:
    """A salt or acid as people name it.

    Raises
    ------
    UnknownKindError
        With the nearest names that are known.
    """
    names: dict[str, str] = {}
    for record in data.load("acids")["salt"]:
        for word in (record["id"], record["name"], *record["aliases"]):
            names[_plain(word)] = record["id"]
    plain = _plain(name) if isinstance(name, str) else ""
    if plain in names:
        return all_salts()[names[plain]]
    near = difflib.get_close_matches(plain, names, n=3, cutoff=0.5)
    known = ", ".join(near or all_salts())
    raise UnknownKindError(field, say("needs a salt or acid such as: {known}", known=known), name)


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("_", " ").replace("-", " ").replace(",", " ").split())


def allowance(salt: Salt, profile: str, acid_g_l: float) -> Allowance:
    """The most of a salt that may be planned under a legal profile.

    Parameters
    ----------
    salt : Salt
    profile : str
        Id of a legal profile; one without rules here (``home``) leaves the planning maximum.
    acid_g_l : float
        Titratable acid of the must as tartaric, at the end of its range where the limit is
        tightest; at least 0 [g/L].

    Returns
    -------
    Allowance

    Notes
    -----
    Rules and their sources stand in the acid records (``rule``).
    """
    most, binding, statements = salt.max_g_l, "", []
    for rule in data.load("acids")["rule"]:
        if rule["profile"] != profile or salt.id not in rule["salts"]:
            continue
        named = _line(profile, rule["limit"]) if "limit" in rule else rule
        words = join("", (named["statement"], f" ({named['source']})"))
        statements.append(words)
        limit = _limit(rule, named, salt, acid_g_l)
        if limit < most:
            most, binding = limit, words
    law = data.folder("limits").get(profile)
    if law is not None:
        statements.append(join(": ", (law["name"], data.edition_of(law))))
    return Allowance(max(most, 0.0), tuple(statements), binding)


def _line(profile: str, substance: str) -> dict[str, Any]:
    """A line of a legal profile; all those named by a rule are in g/L."""
    lines = data.folder("limits")[profile]["finishing_limit"]
    return next(line for line in lines if line["substance"] == substance)


def _limit(rule: dict[str, Any], line: dict[str, Any], salt: Salt, acid_g_l: float) -> float:
    """What a rule leaves of a salt [g/L]: of itself, or of the acid it moves as tartaric."""
    name = rule.get("limit")
    if name == "acid_floor":
        return max(acid_g_l - float(line["min"]), 0.0) * TARTARIC_MEQ_G / salt.base_meq_g
    if name == "acid_ceiling":
        return max(float(line["max"]) - acid_g_l, 0.0) * TARTARIC_MEQ_G / acid_meq_g(salt)
    if name == "acid_rise_must":
        return float(line["max"]) * TARTARIC_MEQ_G / acid_meq_g(salt)
    return float(line["max"] if name else line["max_g_l"])


def acid_meq_g(salt: Salt) -> float:
    """Titratable acid an acid brings per gram [meq/g]."""
    equivalents = {a["id"]: a["equivalents"] for a in data.load("acids")["acid"]}
    return 1000 * float(equivalents.get(salt.acid, 1)) / salt.molar_mass
