"""Which acids are there: their steps of dissociation, read from the records, as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright import data

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
STEPS = 3
REFERENCE_K = 298.15


@dataclass(frozen=True)
class Acid:
    """One weak acid (or base, when its top charge is above zero).

    Parameters
    ----------
    id : str
    pk : tuple of float
        At 25 °C and zero ionic strength, one per step, 1 to 3 of them.
    dh_kj_mol, dcp_j_mol_k : tuple of float
        Heat and heat capacity of each step.
    top : int
        Charge of the fully protonated form, 0 or 1.
    molar_mass : float
        [g/mol].
    equivalents : int
        Protons a titration to pH 8.2 counts.
    """

    id: str
    pk: tuple[float, ...]
    dh_kj_mol: tuple[float, ...]
    dcp_j_mol_k: tuple[float, ...]
    top: int
    molar_mass: float
    equivalents: int
    source: str


@dataclass(frozen=True)
class Chemistry:
    """Acids in a fixed order, as arrays the solver works on (acids by steps).

    Parameters
    ----------
    acids : tuple of Acid
    steps, top : ndarray of int
    pk, dh, dcp : ndarray
        [-], [J/mol], [J/(mol K)]; water and the two carbonic steps stand in `extra`.
    extra : ndarray
        Three rows (water, carbonic 1, carbonic 2) of pk, dh, dcp.
    shifted : int
        Index of the acid whose pK a row may lift (gluconic, with its lactone), or -1.
    """

    acids: tuple[Acid, ...]
    steps: Ints
    top: Ints
    pk: Floats
    dh: Floats
    dcp: Floats
    extra: Floats
    shifted: int

    def index(self, name: str) -> int:
        """Column of an acid in the totals.

        Raises
        ------
        KeyError
        """
        for i, acid in enumerate(self.acids):
            if acid.id == name:
                return i
        raise KeyError(name)

    @property
    def size(self) -> int:
        """How many acids there are."""
        return len(self.acids)


def chemistry_of(acids: Sequence[Acid]) -> Chemistry:
    """The arrays of some acids.

    Examples
    --------
    >>> chemistry_of(known_acids()[:2]).pk[1]
    array([3.459, 5.097, 0.   ])
    """
    shape = (len(acids), STEPS)
    pk, dh, dcp = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for i, acid in enumerate(acids):
        n = len(acid.pk)
        pk[i, :n] = acid.pk
        dh[i, :n] = 1000 * np.array(acid.dh_kj_mol)
        dcp[i, :n] = acid.dcp_j_mol_k
    names = [acid.id for acid in acids]
    return Chemistry(
        tuple(acids),
        np.array([len(a.pk) for a in acids], dtype=np.int64),
        np.array([a.top for a in acids], dtype=np.int64),
        pk,
        dh,
        dcp,
        _extra(),
        names.index("gluconic") if "gluconic" in names else -1,
    )


def acid_from_record(record: dict[str, Any]) -> Acid:
    """An acid from its data record."""
    return Acid(
        record["id"],
        tuple(record["pk"]),
        tuple(record["dh"]),
        tuple(record["dcp"]),
        int(record["top"]),
        float(record["molar_mass"]),
        int(record["equivalents"]),
        str(record["source"]),
    )


@cache
def known_acids() -> tuple[Acid, ...]:
    """Every acid of the records, in their order."""
    return tuple(acid_from_record(record) for record in data.load("acids")["acid"])


@cache
def must_chemistry() -> Chemistry:
    """The acids a must can hold."""
    return chemistry_of(known_acids())


def _extra() -> Floats:
    water, carbonic = data.load("acids")["water"], data.load("acids")["carbonic"]
    rows = [(water["pk"], water["dh"], water["dcp"])]
    rows += list(zip(carbonic["pk"], carbonic["dh"], carbonic["dcp"], strict=True))
    return np.array([(pk, 1000 * dh, dcp) for pk, dh, dcp in rows])
