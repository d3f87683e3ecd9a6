"""What the blend programme is asked, and what it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from mustwright.figure import TYPED
from mustwright.nutrition.shelf import Nutrient

Floats = NDArray[np.float64]
SHORT_MG_L = 0.5  # counts as met: less than half a 0.1 g step of DAP brings to 19 L [mg N/L]
KEPT_BACK = 0.01  # counts as given: a stated rate less this share


@dataclass(frozen=True)
class FeedAsk:
    """What one feed is to bring.

    Parameters
    ----------
    nitrogen_mg_l : float
        [mg N/L of must].
    nutrients : tuple of int
        Which jars the protocol names for it, as indices.
    ammonium_share_max : float
        0 to 1.
    fixed_g_l : mapping of int to float or None
        Rates to give as they are, when the protocol states grams [g/L].
    stand_ins : tuple of int
        Jars that may go in at this moment, though the protocol does not name them, where nitrogen
        would stay short.
    """

    nitrogen_mg_l: float
    nutrients: tuple[int, ...]
    ammonium_share_max: float = 1.0
    fixed_g_l: Mapping[int, float] | None = None
    stand_ins: tuple[int, ...] = ()


@dataclass(frozen=True)
class Ceiling:
    """An upper bound on ``sum weight x grams per litre`` over all feeds.

    Parameters
    ----------
    key : str
        ``limit:<substance>``, ``label:<nutrient>`` or ``stock:<nutrient>``.
    words : str
        For the maker.
    weights : tuple of float
        One a jar.
    most : float
        [g/L]
    source : str
        Where the bound is written.
    advises : bool
        Whether it only advises, and gives way before nitrogen does.
    high : float or None
        Where it advises, the most that labels of the kind allow [g/L].
    """

    key: str
    words: str
    weights: tuple[float, ...]
    most: float
    source: str = TYPED
    advises: bool = False
    high: float | None = None


@dataclass(frozen=True)
class DosingProblem:
    """Everything the programme needs.

    Parameters
    ----------
    jars : tuple of Nutrient
    feeds : tuple of FeedAsk
    ceilings : tuple of Ceiling
    ammonium_share_max : float
        Over the whole plan, 0 to 1.
    wants : mapping of str to float
        Minerals and vitamins still short [mg/L].
    strict : bool
        Whether the protocol's shares hold whatever stays short, and each feed brings its own
        nitrogen at most: the protocol as written.
    """

    jars: tuple[Nutrient, ...]
    feeds: tuple[FeedAsk, ...]
    ceilings: tuple[Ceiling, ...]
    ammonium_share_max: float
    wants: Mapping[str, float]
    strict: bool = False


@dataclass(frozen=True)
class DosingSolution:
    """Grams per litre, feeds by jars, and what each feed lacks.

    Parameters
    ----------
    grams_l : ndarray
        Feeds by jars [g/L].
    lacks_mg_l : ndarray
        What each feed was asked less what it brings; below zero where it brings what another
        cannot [mg N/L].
    kept_back : float
        Largest part of a stated rate that a ceiling keeps back (0 to 1).
    stand_ins_mg_l : ndarray
        Nitrogen from jars the protocol does not name for the feed, feeds by jars [mg N/L].
    """

    grams_l: Floats
    lacks_mg_l: Floats
    kept_back: float = 0.0
    stand_ins_mg_l: Floats = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def short_mg_l(self) -> float:
        """What the whole plan lacks of the nitrogen asked for [mg N/L]."""
        return max(float(self.lacks_mg_l.sum()), 0.0)

    @property
    def feasible(self) -> bool:
        """Whether the plan brings what was asked."""
        return self.short_mg_l <= SHORT_MG_L and self.kept_back < KEPT_BACK
