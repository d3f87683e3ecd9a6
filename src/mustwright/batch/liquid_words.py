"""What the facts of a liquid are called, in which unit, and how finely they are said."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from mustwright.must.gravity_text import gravity_sign, gravity_text
from mustwright.texts import before, join, kept, say, uncapital
from mustwright.unit_system import Spoken, degrees, short_volume

SCALE = "SG 20/20"
SG = f" {SCALE}"  # goes without saying beside the word gravity


class LiquidWord(NamedTuple):
    """A fact of a liquid in words: what it is called, its unit, and its decimals."""

    label: str
    unit: str = ""
    decimals: int | None = None

    def short(self, value: float, unit: str) -> str:
        """Four significant figures, or the decimals of the fact, with a unit; to be read back."""
        return f"{self._short(value):g} {unit}".strip()

    def _short(self, value: float) -> float:
        return float(f"{value:.4g}") if self.decimals is None else round(value, self.decimals)

    def printed(self, value: float, spoken: Spoken = None) -> str:
        """A value with its unit: volumes and temperatures in a system or a must's units."""
        if self.unit == "°C":
            return degrees(value, spoken)
        if self.unit == "L":
            return short_volume(value, spoken)
        if self.unit == SCALE and gravity_sign(spoken):
            return gravity_text(value, 4, spoken)
        return say("{value:g} {unit}", value=self._short(value), unit=self.unit).strip()

    def said(self, value: float, spoken: Spoken = None) -> str:
        """As it stands in a sentence, in a system or the units of a must's sheet.

        Examples
        --------
        >>> LIQUID["total_so2_mg_l"].said(35.0)
        'total sulfur dioxide 35 mg/L'
        """
        printed = self.printed(value, spoken)
        said = printed.removesuffix(SG)
        return join(" ", (uncapital(self.label), said))


# By attribute of `mustwright.bench.liquid.MeadNow`, which a log keeps as what was measured.
LIQUID: Mapping[str, LiquidWord] = MappingProxyType({
    "volume_l": LiquidWord(say("Volume"), "L"),
    "gravity": LiquidWord(say("Gravity"), "SG 20/20", 4),
    "alcohol_pct": LiquidWord(say("Alcohol"), "% vol"),
    "ph": LiquidWord("pH"),
    "temperature_c": LiquidWord(say("Temperature"), "°C"),
    "acidity_g_l": LiquidWord(say("Titratable acid"), "g/L"),
    "residual_sugar_g_l": LiquidWord(say("Fermentable sugar"), "g/L"),
    "original_gravity": LiquidWord(say("Gravity before fermentation"), "SG 20/20", 4),
    "free_so2_mg_l": LiquidWord(say("Free sulfur dioxide"), "mg/L"),
    "total_so2_mg_l": LiquidWord(say("Total sulfur dioxide"), "mg/L"),
    "molecular_so2_mg_l": LiquidWord(say("Molecular sulfur dioxide"), "mg/L"),
    "sorbic_acid_mg_l": LiquidWord(say("Sorbic acid"), "mg/L"),
    "potassium_mg_l": LiquidWord(say("Potassium added"), "mg/L"),
    "calcium_mg_l": LiquidWord(say("Calcium added"), "mg/L"),
    "co2_g_l": LiquidWord(say("Gas"), "g/L"),
})  # fmt: skip


def short_name(name: str) -> str:
    """The name of a record as it stands in a sentence: without what comes after a comma.

    Examples
    --------
    >>> short_name("Honey, clover")
    'honey'
    """
    return uncapital(before(kept(name), ","))
