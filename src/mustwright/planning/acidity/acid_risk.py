"""What a plan does to the acid, in brief."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from mustwright.figure import Figure
from mustwright.planning.acidity.result import PhBand


@dataclass(frozen=True)
class AcidRisk:
    """The acid under one plan, with the same members under every plan.

    Parameters
    ----------
    trough : PhBand
        Lowest pH; nothing below the lowest that is shown.
    trough_h : Figure
        When members first come near it [h].
    floor : float
    chance_below_floor : Figure
    risk : str
        low, middle or high.
    potassium_ratio : Figure
        Moles of potassium, the must's and the feeds', per mole of hydrogen ion at the trough.
    potassium_needed_mg_l : Figure
        For the published ratio at the trough.
    chance_potassium_short : Figure
    odds_factor : Figure
        On the odds of sticking, from potassium and low pH; not in any forecast of sticking.
    ph : mapping of str to list of float
        Quantiles along `times_h`, and the share below the lowest shown.
    measured : bool
        Whether the start was measured; from a recipe the band is wide.
    """

    trough: PhBand
    trough_h: Figure
    floor: Figure
    chance_below_floor: Figure
    risk: str
    potassium_ratio: Figure
    potassium_needed_mg_l: Figure
    chance_potassium_short: Figure
    odds_factor: Figure
    ph: Mapping[str, list[float]]
    measured: bool
