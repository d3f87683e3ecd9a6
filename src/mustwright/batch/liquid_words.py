"""What the facts of a liquid are called, in which unit, and how finely they are said."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from mustwright.unit_system import Spoken, degrees, short_volume

SG = " SG 20/20"  # goes without saying beside the word gravity


class LiquidWord(NamedTuple):
    """A fact of a liquid in words: what it is called, its unit, and its decimals."""

    label: str
    unit: str = ""
    decimals: int | None = None

    def short(self, value: float, unit: str) -> str:
        """Four significant figures, or the decimals of the fact, with a unit."""
        short = float(f"{value:.4g}") if self.decimals is None else round(value, self.decimals)
        return f"{short:g} {unit}".strip()

    def printed(self, value: float, spoken: Spoken = None) -> str:
        """A value with its unit: volumes and temperatures in a system or a must's units."""
        if self.unit == "°C":
            return degrees(value, spoken)
        if self.unit == "L":
            return short_volume(value, spoken)
        return self.short(value, self.unit)

    def said(self, value: float, spoken: Spoken = None) -> str:
        """As it stands in a sentence, in a system or the units of a must's sheet.

        Examples
        --------
        >>> LIQUID["total_so2_mg_l"].said(35.0)
        'total sulfur dioxide 35 mg/L'
        """
        said = self.printed(value, spoken).removesuffix(SG)
        return f"{self.label[:1].lower()}{self.label[1:]} {said}"


# By attribute of `mustwright.bench.liquid.MeadNow`, which a log keeps as what was measured.
LIQUID: Mapping[str, LiquidWord] = MappingProxyType({
    "volume_l": LiquidWord("Volume", "L"),
    "gravity": LiquidWord("Gravity", "SG 20/20", 4),
    "alcohol_pct": LiquidWord("Alcohol", "% vol"),
    "ph": LiquidWord("pH"),
    "temperature_c": LiquidWord("Temperature", "°C"),
    "acidity_g_l": LiquidWord("Titratable acidity", "g/L"),
    "residual_sugar_g_l": LiquidWord("Fermentable sugar", "g/L"),
    "original_gravity": LiquidWord("Gravity before fermentation", "SG 20/20", 4),
    "free_so2_mg_l": LiquidWord("Free sulfur dioxide", "mg/L"),
    "total_so2_mg_l": LiquidWord("Total sulfur dioxide", "mg/L"),
    "molecular_so2_mg_l": LiquidWord("Molecular sulfur dioxide", "mg/L"),
    "sorbic_acid_mg_l": LiquidWord("Sorbic acid", "mg/L"),
    "potassium_mg_l": LiquidWord("Potassium added", "mg/L"),
    "calcium_mg_l": LiquidWord("Calcium added", "mg/L"),
    "co2_g_l": LiquidWord("Gas", "g/L"),
})  # fmt: skip


def short_name(name: str) -> str:
    """The name of a record as it stands in a sentence: without what comes after a comma.

    Examples
    --------
    >>> short_name("Honey, clover")
    'honey'
    """
    return name[:1].lower() + name[1:].partition(",")[0]
