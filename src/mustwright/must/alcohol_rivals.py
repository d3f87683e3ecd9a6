"""What would the other published formulas say: alcohol from two gravities, by name and source."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from mustwright import data
from mustwright.constants import ETHANOL_DENSITY_20C_KG_M3
from mustwright.figure import COMMON_PRACTICE
from mustwright.must.alcohol import alcohol_from_gravities
from mustwright.must.gravity import (
    WATER_DENSITY_20C_KG_M3,
    plato_from_gravity_asbc,
)
from mustwright.texts import say

EU_SUGAR_G_L_PER_PCT_VOL = 16.83  # EEC1990, must tables (from memory).


@dataclass(frozen=True)
class AlcoholFormula:
    """One way to get alcohol [% vol] from an original and a final apparent gravity 20/20 °C."""

    function: Callable[[float, float], float]
    formula: str
    source: str
    validity: str

    def __call__(self, original_gravity: float, final_gravity: float) -> float:
        return self.function(original_gravity, final_gravity)


def real_extract_pct_from_extracts_balling1865(
    original_extract_pct: float, apparent_extract_pct: float
) -> float:
    """Real extract [% mass] from original and apparent extract [Plato].

    Notes
    -----
    ``RE = 0.1808 OE + 0.8192 AE``: mean attenuation quotient, Balling1865 (from memory).

    Examples
    --------
    >>> round(real_extract_pct_from_extracts_balling1865(12.0, 3.0), 4)
    4.6272
    """
    return 0.1808 * original_extract_pct + 0.8192 * apparent_extract_pct


def ethanol_pct_mass_from_extracts_balling1865(
    original_extract_pct: float, real_extract_pct: float
) -> float:
    """Ethanol [% mass] from original and real extract [% mass].

    Notes
    -----
    ``A = (OE - RE) / (2.0665 - 0.010665 OE)``: Balling1865, as printed in ASBC Beer-6.

    Examples
    --------
    >>> round(ethanol_pct_mass_from_extracts_balling1865(12.0, 4.6), 4)
    3.8173
    """
    return (original_extract_pct - real_extract_pct) / (2.0665 - 0.010665 * original_extract_pct)


def original_extract_pct_from_ethanol_balling1865(
    ethanol_pct_mass: float, real_extract_pct: float
) -> float:
    """Original extract [% mass] from ethanol and real extract [% mass].

    Notes
    -----
    ``OE = 100 (2.0665 A + RE) / (100 + 1.0665 A)``: Balling1865, as printed in ASBC Beer-6.

    Examples
    --------
    >>> round(original_extract_pct_from_ethanol_balling1865(3.817345, 4.6), 3)
    12.0
    """
    return 100 * (2.0665 * ethanol_pct_mass + real_extract_pct) / (100 + 1.0665 * ethanol_pct_mass)


def ethanol_pct_vol_from_gravities_balling1865(
    original_gravity: float, final_gravity: float
) -> float:
    """Alcohol [% vol] by Balling's attenuation relation.

    Notes
    -----
    Extracts by the ASBC polynomial, real extract and ethanol by mass as above, then
    ``% vol = % mass * density / 789.24`` (OIML1975).

    Examples
    --------
    >>> round(ethanol_pct_vol_from_gravities_balling1865(1.048, 1.010), 1)
    5.0
    """
    original = float(plato_from_gravity_asbc(original_gravity))
    apparent = float(plato_from_gravity_asbc(final_gravity))
    real = real_extract_pct_from_extracts_balling1865(original, apparent)
    pct_mass = ethanol_pct_mass_from_extracts_balling1865(original, real)
    return pct_mass * final_gravity * WATER_DENSITY_20C_KG_M3 / ETHANOL_DENSITY_20C_KG_M3


def ethanol_pct_vol_from_gravities_hmrc226(original_gravity: float, final_gravity: float) -> float:
    """Alcohol [% vol] by the tabulated factor of HMRC226.

    Notes
    -----
    ``% vol = points dropped * factor``; the factor is that of the first table row whose upper
    limit is not below the drop, and that of the last row beyond the table.

    Examples
    --------
    >>> round(ethanol_pct_vol_from_gravities_hmrc226(1.057, 1.018), 2)
    5.07
    """
    drop = round((original_gravity - final_gravity) * 1000, 6)
    rows = data.load("alcohol_factors")["hmrc226"]["rows"]
    factor = next((f for limit, f in rows if drop <= limit), rows[-1][1])
    return float(drop * factor)


def ethanol_pct_vol_from_gravities_eec1990(original_gravity: float, final_gravity: float) -> float:
    """Alcohol [% vol] from the sugar used, at the EU conversion of 16.83 g/L for each % vol.

    Notes
    -----
    EEC1990 (figure from memory) speaks of sugar; how much was used is taken from the mass balance
    of `alcohol_from_gravities`.

    Examples
    --------
    >>> round(ethanol_pct_vol_from_gravities_eec1990(1.100, 0.998), 1)
    13.7
    """
    used = alcohol_from_gravities(original_gravity, final_gravity).hexose_used_g
    return used / EU_SUGAR_G_L_PER_PCT_VOL


def ethanol_pct_vol_from_gravities_linear(original_gravity: float, final_gravity: float) -> float:
    """Alcohol [% vol] as 131 times the difference of gravity (common practice, no source).

    Examples
    --------
    >>> round(ethanol_pct_vol_from_gravities_linear(1.100, 1.000), 1)
    13.1
    """
    return 131.0 * (original_gravity - final_gravity)


def ethanol_pct_vol_from_gravities_balance(original_gravity: float, final_gravity: float) -> float:
    """Alcohol [% vol] by our own mass balance (`alcohol_from_gravities`)."""
    return alcohol_from_gravities(original_gravity, final_gravity).ethanol_pct_vol


ALCOHOL_FORMULAS: Mapping[str, AlcoholFormula] = {
    "mass balance": AlcoholFormula(
        ethanol_pct_vol_from_gravities_balance,
        say("sugar used so that the final gravity comes out, times 0.47, in the volume left"),
        "arithmetic on OIML1975, ICUMSA1998, OIV2012; by-products Zentou2021",
        say("original gravity to about 1.20, alcohol to 25 % vol"),
    ),
    "Balling attenuation": AlcoholFormula(
        ethanol_pct_vol_from_gravities_balling1865,
        "(OE - RE) / (2.0665 - 0.010665 OE) * density / 789.24, RE = 0.1808 OE + 0.8192 AE",
        "Balling1865 as printed in ASBC Beer-6; real extract relation from memory",
        say("made for beer; extract polynomial best below 25 Plato (gravity 1.106)"),
    ),
    "HMRC factor table": AlcoholFormula(
        ethanol_pct_vol_from_gravities_hmrc226,
        say("drop of gravity in points * tabulated factor"),
        "HMRC226 paragraphs 30.2 to 30.3",
        say("made for beer; drop of gravity up to 100.7 points"),
    ),
    "EU 16.83 g/L": AlcoholFormula(
        ethanol_pct_vol_from_gravities_eec1990,
        say("sugar used per litre of must / 16.83"),
        "EEC1990 must tables (from memory); sugar used by the mass balance",
        say("a legal convention for grape must"),
    ),
    "131 times the drop": AlcoholFormula(
        ethanol_pct_vol_from_gravities_linear,
        "131 * (OG - FG)",
        COMMON_PRACTICE,
        say("weak beers; too low for strong meads"),
    ),
}
