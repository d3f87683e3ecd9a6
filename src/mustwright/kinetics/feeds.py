"""When nitrogen is added, and how much."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.constants import NITROGEN_G_MOL
from mustwright.errors import InputError
from mustwright.kinetics.checks import within
from mustwright.texts import say

PHOSPHATE_BASE = 0.5  # mol per mol of ammonium, HPO4 turning into H2PO4 (stoichiometry)


@dataclass(frozen=True)
class PulseTrigger:
    """When a feed is due: the first of the named conditions that comes true.

    Every condition is looked at once each half hour of each member. At least one must be given.

    Parameters
    ----------
    at_h : float or None
        Hours after pitch.
    gravity_below : float or None
        Apparent gravity at or below this [-].
    gravity_drop : float or None
        Gravity has fallen by this since pitch [-].
    sugar_left_fraction : float or None
        Fermentable sugar left, of that at pitch (one third used: 2/3) [-].
    end_of_lag : bool
        Readiness of the cells has passed 0.9.
    not_before_h : float
        Whatever the conditions say, not before this [h].
    skip_below_sugar_fraction : float
        When due with less sugar left than this share, the feed is left out [-].
    """

    at_h: float | None = None
    gravity_below: float | None = None
    gravity_drop: float | None = None
    sugar_left_fraction: float | None = None
    end_of_lag: bool = False
    not_before_h: float = 0.0
    skip_below_sugar_fraction: float = 0.0

    def __post_init__(self) -> None:
        given = (self.at_h, self.gravity_below, self.gravity_drop, self.sugar_left_fraction)
        if not self.end_of_lag and all(value is None for value in given):
            raise InputError("feed.trigger", say("at least one condition"), "none")
        if self.at_h is not None:
            within("feed.trigger.at_h", self.at_h, 0, 10_000, "h")
        if self.gravity_below is not None:
            within("feed.trigger.gravity_below", self.gravity_below, 0.97, 1.2, "")
        if self.gravity_drop is not None:
            within("feed.trigger.gravity_drop", self.gravity_drop, 0.0, 0.2, "")
        if self.sugar_left_fraction is not None:
            within("feed.trigger.sugar_left_fraction", self.sugar_left_fraction, 0, 1, "")
        within("feed.trigger.not_before_h", self.not_before_h, 0, 10_000, "h")
        within("feed.trigger.skip_below_sugar_fraction", self.skip_below_sugar_fraction, 0, 1, "")


@dataclass(frozen=True)
class NitrogenPulse:
    """One addition of nitrogen, and what came with it, per litre of must.

    Parameters
    ----------
    trigger : PulseTrigger
    ammonium_n_mg_l, amino_n_mg_l : float
        0 to 1000 of each kind [mg N/L].
    base_meq_l : float or None
        Strong base it brings, -100 to 100 [meq/L]; None for that of diammonium phosphate, half a
        mole per mole of ammonium (docs/acidity.md).
    potassium_mg_l : float
        0 to 5000 [mg/L].
    """

    trigger: PulseTrigger
    ammonium_n_mg_l: float = 0.0
    amino_n_mg_l: float = 0.0
    base_meq_l: float | None = None
    potassium_mg_l: float = 0.0

    def __post_init__(self) -> None:
        within("feed.ammonium_n_mg_l", self.ammonium_n_mg_l, 0, 1000, "mg N/L")
        within("feed.amino_n_mg_l", self.amino_n_mg_l, 0, 1000, "mg N/L")
        if self.base_meq_l is not None:
            within("feed.base_meq_l", self.base_meq_l, -100, 100, "meq/L")
        within("feed.potassium_mg_l", self.potassium_mg_l, 0, 5000, "mg/L")

    @property
    def base(self) -> float:
        """Strong base it brings [meq/L]."""
        if self.base_meq_l is not None:
            return self.base_meq_l
        return PHOSPHATE_BASE * self.ammonium_n_mg_l / NITROGEN_G_MOL
