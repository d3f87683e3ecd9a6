"""What alcohol and what gravity does a fermentation leave: a mass balance over the sugar used.

Sugar becomes ethanol, carbon dioxide that leaves, by-products that stay dissolved, and yeast that
settles. The density of what is left comes from `must.density`, so a final gravity below 1.000 is
a result and not a rule.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from mustwright.constants import (
    BYPRODUCT_YIELD_G_G,
    CO2_PER_ETHANOL_G_G,
    ETHANOL_G_L_PER_PCT_VOL,
    ETHANOL_YIELD_G_G,
    HEXOSE_PER_SUCROSE_G_G,
    HIGHEST_ETHANOL_YIELD_G_G,
)
from mustwright.errors import ImpossibleError, warn_validity
from mustwright.must.density import must_density_at, must_density_kg_m3
from mustwright.must.gravity import (
    brix_from_gravity,
    gravity_from_composition,
    sugar_g_l_from_brix,
)
from mustwright.must.gravity_text import gravity_span
from mustwright.texts import say

Floats = NDArray[np.float64]

NEAR_WATER_KG_M3 = 998.2  # Steers the search for a volume; where that ends does not depend on it.
HIGHEST_ETHANOL_G_L = 200.0  # The spirit polynomial of must.density ends here.


@dataclass(frozen=True)
class Fermented:
    """What one litre of must has become, and what the mead holds per litre.

    Parameters
    ----------
    hexose_used_g, ethanol_g, co2_g, byproducts_g, settled_g : float
        Per litre of must [g]; `co2_g` has left, `settled_g` is yeast and the rest of the sugar.
    extract_g, mass_g, volume_l : float
        Dissolved matter other than ethanol [g], mass [g] and volume [L] left of that litre.
    ethanol_g_l, extract_g_l : float
        Per litre of mead [g/L].
    density_kg_m3 : float
        At 20 °C [kg/m3].
    ethanol_pct_vol : float
        At 20 °C [% vol].
    gravity : float
        Apparent, 20/20 °C [-].
    """

    hexose_used_g: float
    ethanol_g: float
    co2_g: float
    byproducts_g: float
    settled_g: float
    extract_g: float
    mass_g: float
    volume_l: float
    ethanol_g_l: float
    extract_g_l: float
    density_kg_m3: float
    ethanol_pct_vol: float
    gravity: float


def ethanol_pct_vol_from_g_l(ethanol_g_l: ArrayLike) -> Floats:
    """Alcoholic strength at 20 °C [% vol] of a liquid from its ethanol [g/L] (OIML1975).

    Examples
    --------
    >>> round(float(ethanol_pct_vol_from_g_l(94.709)), 2)
    12.0
    """
    return np.asarray(np.asarray(ethanol_g_l, dtype=float) / ETHANOL_G_L_PER_PCT_VOL)


def ethanol_g_l_from_pct_vol(ethanol_pct_vol: ArrayLike) -> Floats:
    """Inverse of `ethanol_pct_vol_from_g_l`."""
    return np.asarray(np.asarray(ethanol_pct_vol, dtype=float) * ETHANOL_G_L_PER_PCT_VOL)


def volume_l_from_contents(mass_g: ArrayLike, extract_g: ArrayLike, ethanol_g: ArrayLike) -> Floats:
    """Volume at 20 °C of a liquid from its mass and the extract and ethanol in it.

    Parameters
    ----------
    mass_g : array_like
        All of the liquid, above zero [g].
    extract_g, ethanol_g : array_like
        Dissolved in it [g].

    Returns
    -------
    ndarray
        Volume [L].

    Notes
    -----
    Density depends on grams per litre and so on the volume sought: ``V density(extract/V,
    ethanol/V) = mass``. The missing mass is made up with water until the volume no longer
    changes (1e-14).
    """
    mass, extract, ethanol = (np.asarray(v, dtype=float) for v in (mass_g, extract_g, ethanol_g))
    volume = mass / 1000
    for _ in range(200):
        held = volume * must_density_kg_m3(extract / volume, ethanol / volume)
        new = volume + (mass - held) / NEAR_WATER_KG_M3
        if np.all(np.abs(new - volume) <= 1e-14 * new):
            break
        volume = new
    return np.asarray(new)


def volume_l_of(mass_g: float, extract_g: float, ethanol_g: float) -> float:
    """Do what `volume_l_from_contents` does, for one liquid in plain numbers: quicker.

    Parameters
    ----------
    mass_g : float
        All of the liquid, above 0 [g].
    extract_g, ethanol_g : float
        Dissolved in it, at least 0 [g].

    Returns
    -------
    float
        Volume at 20 °C [L].
    """
    volume = mass_g / 1000
    for _ in range(200):
        held = volume * must_density_at(extract_g / volume, ethanol_g / volume)
        new = volume + (mass_g - held) / NEAR_WATER_KG_M3
        if abs(new - volume) <= 1e-14 * new:
            break
        volume = new
    return new


def ferment(
    extract_g_l: float,
    fermentable_hexose_g_l: float,
    hexose_used_g_l: float | None = None,
    *,
    to_gravity: float | None = None,
    sucrose_g_l: float = 0.0,
    ethanol_yield_g_g: float = ETHANOL_YIELD_G_G,
    byproduct_yield_g_g: float = BYPRODUCT_YIELD_G_G,
) -> Fermented:
    """Ferment one litre of must: some of its hexose, down to a gravity, or to dryness.

    Parameters
    ----------
    extract_g_l : float
        Everything dissolved in the must, sugars as they are, 0 to 700 [g/L].
    fermentable_hexose_g_l : float
        Sugars yeast can use, as hexose (sucrose counts 1.0526 times), at least 0 [g/L].
    hexose_used_g_l : float or None
        Hexose fermented per litre of must [g/L]; all of it when this and `to_gravity` are None.
    to_gravity : float or None
        Stop at this apparent gravity 20/20 °C instead [-].
    sucrose_g_l : float
        Sucrose within the extract, at least 0 [g/L]; it takes up water as it is split.
    ethanol_yield_g_g : float
        Ethanol per hexose, 0 to 0.5114 [g/g]; real ferments give about 0.47.
    byproduct_yield_g_g : float
        Glycerol, acids and other dissolved by-products per hexose, 0 to 0.1 [g/g].

    Returns
    -------
    Fermented

    Raises
    ------
    ImpossibleError
        If more sugar is asked for than there is, the gravity cannot be reached or is given
        together with `hexose_used_g_l`, or the yields make more than the sugar weighs.

    Notes
    -----
    ``hexose = ethanol + CO2 + by-products + settled`` with CO2 0.9553 times the ethanol
    (stoichiometry); by-products stay in the extract and are weighed as sugar, an approximation.
    Sucrose is split in step with the sugar used. The yield of 0.47 is the middle of 0.46 to 0.48
    (common practice, no source), the by-products are those of Zentou2021. Lees volume,
    evaporation and carbon dioxide still dissolved are left out. Warns above 25 % vol.

    Examples
    --------
    >>> dry = ferment(263.8, 250.0)
    >>> round(dry.ethanol_pct_vol, 1), round(dry.gravity, 3)
    (15.1, 0.99)
    """
    _check(fermentable_hexose_g_l, hexose_used_g_l, ethanol_yield_g_g, byproduct_yield_g_g)
    grown = (HEXOSE_PER_SUCROSE_G_G - 1) * sucrose_g_l / max(fermentable_hexose_g_l, 1e-300)

    def after(used: float) -> Fermented:
        extract = extract_g_l + (grown - 1) * used
        return _left(extract_g_l, extract, used, ethanol_yield_g_g, byproduct_yield_g_g)

    if to_gravity is not None:
        if hexose_used_g_l is not None:
            raise ImpossibleError(
                "to_gravity", say("needs no hexose_used_g_l beside it"), to_gravity
            )
        result = after(_used_at(to_gravity, fermentable_hexose_g_l, after))
    else:
        result = after(fermentable_hexose_g_l if hexose_used_g_l is None else hexose_used_g_l)
    if result.ethanol_g_l > HIGHEST_ETHANOL_G_L:
        warn_validity(
            say(
                "mead density: ethanol above {most} g/L (25 % vol)",
                most=HIGHEST_ETHANOL_G_L,
            )
        )
    return result


def potential_alcohol_pct(
    extract_g_l: float,
    fermentable_hexose_g_l: float,
    *,
    sucrose_g_l: float = 0.0,
    ethanol_yield_g_g: float = ETHANOL_YIELD_G_G,
) -> float:
    """Alcohol of a must if every fermentable gram is used.

    Parameters
    ----------
    extract_g_l : float
        Everything dissolved in the must, 0 to 700 [g/L].
    fermentable_hexose_g_l : float
        Sugars yeast can use, as hexose, at least 0 [g/L].
    sucrose_g_l : float
        Sucrose within the extract, at least 0 [g/L].
    ethanol_yield_g_g : float
        Ethanol per hexose, 0 to 0.5114 [g/g].

    Returns
    -------
    float
        Alcohol at 20 °C [% vol].

    Raises
    ------
    ImpossibleError
        If the sugar or the yield is one no ferment can have.

    Notes
    -----
    The mass balance of `ferment`.

    Examples
    --------
    >>> round(potential_alcohol_pct(263.8, 250.0), 1)
    15.1
    """
    dry = ferment(
        extract_g_l,
        fermentable_hexose_g_l,
        sucrose_g_l=sucrose_g_l,
        ethanol_yield_g_g=ethanol_yield_g_g,
    )
    return dry.ethanol_pct_vol


def alcohol_from_gravities(
    original_gravity: float,
    final_gravity: float,
    *,
    ethanol_yield_g_g: float = ETHANOL_YIELD_G_G,
    byproduct_yield_g_g: float = BYPRODUCT_YIELD_G_G,
) -> Fermented:
    """Work out what was fermented from the gravity before and after, by inverting the balance.

    Parameters
    ----------
    original_gravity : float
        Apparent gravity 20/20 °C of the must, 1.000 to 1.25 [-].
    final_gravity : float
        Apparent gravity 20/20 °C now, not above the original one [-].
    ethanol_yield_g_g, byproduct_yield_g_g : float
        As in `ferment`, 0 to 0.5114 and 0 to 0.1 [g/g].

    Returns
    -------
    Fermented

    Raises
    ------
    ImpossibleError
        If the final gravity is below dryness or above the original one, or a yield is impossible.

    Notes
    -----
    The must's extract is that of a sugar solution of the same gravity (NBS1942, ICUMSA1998), all of
    it hexose; sugar added during fermentation is not seen.

    Examples
    --------
    >>> round(alcohol_from_gravities(1.100, 0.998).ethanol_pct_vol, 1)
    13.8
    """
    extract = float(sugar_g_l_from_brix(brix_from_gravity(original_gravity)))
    untouched = ferment(extract, extract, hexose_used_g_l=0.0)
    # Gravity to extract and back may land a hair below where it began.
    if untouched.gravity <= final_gravity <= original_gravity:
        return untouched
    return ferment(
        extract,
        extract,
        to_gravity=final_gravity,
        ethanol_yield_g_g=ethanol_yield_g_g,
        byproduct_yield_g_g=byproduct_yield_g_g,
    )


def _check(
    fermentable: float, used: float | None, ethanol_yield: float, byproduct_yield: float
) -> None:
    """Refuse yields or sugar that no fermentation can have."""
    if not 0 <= ethanol_yield <= HIGHEST_ETHANOL_YIELD_G_G + 1e-12:
        ceiling = say(
            "needs a yield from 0 to {most:.4f} g/g (stoichiometry)",
            most=HIGHEST_ETHANOL_YIELD_G_G,
        )
        raise ImpossibleError("ethanol_yield_g_g", ceiling, ethanol_yield)
    if not 0 <= byproduct_yield <= 1 - ethanol_yield * (1 + CO2_PER_ETHANOL_G_G) + 1e-12:
        short = say("needs no more by-products than the sugar leaves beside ethanol and gas")
        raise ImpossibleError("byproduct_yield_g_g", short, byproduct_yield)
    if not fermentable >= 0:
        raise ImpossibleError("fermentable_hexose_g_l", say("needs at least 0 g/L"), fermentable)
    if used is not None and not 0 <= used <= fermentable * (1 + 1e-12):
        enough = say("needs 0 to the {fermentable:.1f} g/L there are", fermentable=fermentable)
        raise ImpossibleError("hexose_used_g_l", enough, used)


def _left(
    extract_before: float, extract: float, used: float, ethanol_yield: float, byproducts: float
) -> Fermented:
    """Close the balance for one litre of must once `used` grams of hexose are gone."""
    ethanol = ethanol_yield * used
    co2 = ethanol * CO2_PER_ETHANOL_G_G
    made = byproducts * used
    settled = used - ethanol - co2 - made
    extract = extract + made
    mass = must_density_at(extract_before, 0.0) - co2 - settled
    volume = volume_l_of(mass, extract, ethanol)
    return Fermented(
        hexose_used_g=used,
        ethanol_g=ethanol,
        co2_g=co2,
        byproducts_g=made,
        settled_g=settled,
        extract_g=extract,
        mass_g=mass,
        volume_l=volume,
        ethanol_g_l=ethanol / volume,
        extract_g_l=extract / volume,
        density_kg_m3=mass / volume,
        ethanol_pct_vol=ethanol / volume / ETHANOL_G_L_PER_PCT_VOL,
        gravity=float(gravity_from_composition(extract / volume, ethanol / volume)),
    )


def _used_at(gravity: float, fermentable: float, after: Callable[[float], Fermented]) -> float:
    """Hexose used [g/L] when the apparent gravity has come down to `gravity`."""
    low, high = 0.0, fermentable
    start, dry = after(low).gravity, after(high).gravity
    if not dry - 1e-9 <= gravity <= start + 1e-9:
        raise ImpossibleError(
            "to_gravity",
            say("needs a gravity from {span}", span=gravity_span(dry, start, digits=4)),
            gravity,
        )
    if gravity >= start or gravity <= dry:
        return low if gravity >= start else high
    return float(brentq(lambda used: after(used).gravity - gravity, low, high, xtol=1e-12))
