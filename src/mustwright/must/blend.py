"""What does it make: the mass balance of a must, with the ranges its ingredients carry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from mustwright.constants import HEXOSE_PER_SUCROSE_G_G
from mustwright.errors import validity_notes
from mustwright.figure import ARITHMETIC, ASSUMED, Figure, total
from mustwright.must.alcohol import Fermented, ferment
from mustwright.must.course import share_of
from mustwright.must.density import sucrose_solution_density_kg_m3
from mustwright.must.gravity import gravity_from_brix
from mustwright.must.ingredient import DISSOLVED, SUGARS, Ingredient
from mustwright.texts import say

INSOLUBLE_DENSITY_KG_L = 1.35  # wet fruit fibre and seeds, from memory
PRIMARY = "primary"
ORIGINS = {
    "typed": say("typed", context="amount"),
    "solve": say("solve", context="amount"),
    "fill": say("fill", context="amount"),
}


@dataclass(frozen=True)
class Portion:
    """A weighed amount of one ingredient.

    Parameters
    ----------
    ingredient : Ingredient
    kg : float
        As bought [kg].
    stage, kind : str
        ``primary`` goes in before pitching, anything else later; the name the maker used.
    origin : str
        ``typed``, ``solve`` or ``fill``.
    price_per_kg : float or None
        In the maker's money; None where none was typed.
    """

    ingredient: Ingredient
    kg: float
    stage: str = PRIMARY
    kind: str = ""
    origin: str = "typed"
    price_per_kg: float | None = None

    @property
    def litres(self) -> float:
        """Volume as measured out [L]."""
        return self.kg / self.ingredient.density_kg_l


@dataclass(frozen=True)
class Blend:
    """The liquid that some portions make together at 20 °C."""

    portions: Sequence[Portion]

    @cached_property
    def water_kg(self) -> float:
        """Water [kg]."""
        return sum(p.kg * p.ingredient.water for p in self.portions)

    @cached_property
    def dissolved_kg(self) -> float:
        """Everything dissolved [kg]."""
        return sum(p.kg * p.ingredient.dissolved for p in self.portions)

    @cached_property
    def insoluble_kg(self) -> float:
        """Fibre, stones and skins [kg]."""
        return sum(p.kg * p.ingredient.share("insoluble") for p in self.portions)

    @cached_property
    def brix(self) -> float:
        """Dissolved matter in percent of the liquid by mass [Brix]."""
        return 100 * self.dissolved_kg / max(self.water_kg + self.dissolved_kg, 1e-12)

    @cached_property
    def volume_l(self) -> float:
        """Volume of the liquid [L]."""
        density = float(sucrose_solution_density_kg_m3(min(self.brix / 100, 0.7)))
        return (self.water_kg + self.dissolved_kg) / density * 1000

    @cached_property
    def gravity(self) -> float:
        """Apparent gravity 20/20 [-]."""
        return float(gravity_from_brix(min(self.brix, 70.0)))

    @cached_property
    def filled_l(self) -> float:
        """Volume the vessel holds with fruit solids in it [L]."""
        return self.volume_l + self.insoluble_kg / INSOLUBLE_DENSITY_KG_L

    def dissolved_g_l(self, part: str) -> float:
        """One dissolved part per litre of liquid [g/L]."""
        mass = sum(p.kg * p.ingredient.share(part) for p in self.portions)
        return 1000 * mass / self.volume_l

    @property
    def sugar_g_l(self) -> float:
        """Everything dissolved, as sugar, per litre: what Brix x density reads [g/L]."""
        return 1000 * self.dissolved_kg / self.volume_l

    def fermentable_of(self, portion: Portion) -> float:
        """Hexose one portion can give to yeast [kg]."""
        return portion.kg * fermentable_hexose(portion.ingredient)

    @property
    def fermentable_g_l(self) -> float:
        """Hexose per litre that yeast can ferment [g/L]; 1 g sucrose counts 1.053 g."""
        return 1000 * sum(self.fermentable_of(p) for p in self.portions) / self.volume_l

    def fermented(self, to_gravity: float | None = None) -> Fermented:
        """What a litre becomes when all that can ferments, or down to a gravity."""
        return ferment(
            self.sugar_g_l,
            self.fermentable_g_l,
            to_gravity=to_gravity,
            sucrose_g_l=self.dissolved_g_l("sucrose"),
        )

    @property
    def glucose_share(self) -> float:
        """Glucose in the glucose + fructose that yeast sees after inversion [-]."""
        glucose = fructose = 0.0
        for p in self.portions:
            half = p.ingredient.share("sucrose") * HEXOSE_PER_SUCROSE_G_G / 2
            malty = p.ingredient.share("maltose")
            glucose += p.kg * (p.ingredient.share("glucose") + half + malty)
            fructose += p.kg * (p.ingredient.share("fructose") + half)
        return glucose / max(glucose + fructose, 1e-12)


def fermentable_hexose(ingredient: Ingredient) -> float:
    """Hexose that yeast can ferment, per kg as bought [kg/kg].

    All its sugars times the share that ferments, with sucrose counted as the hexose it becomes.
    """
    sugars = sum(ingredient.share(s) for s in SUGARS)
    figure = ingredient.figures.get("fermentable_pct_of_sugars")
    fermentable = sugars * (figure.value / 100 if figure else 1.0)
    sucrose = ingredient.share("sucrose")
    return fermentable + sucrose * (HEXOSE_PER_SUCROSE_G_G - 1)


@dataclass(frozen=True)
class MustFigures:
    """A must as the maker reads it; every field a figure with its working."""

    volume_l: Figure
    gravity: Figure
    brix: Figure
    sugar_g_l: Figure
    fermentable_sugar_g_l: Figure
    potential_alcohol_pct: Figure
    dry_gravity: Figure
    density_kg_m3: Figure
    glucose_share: Figure

    @property
    def fermentable_share(self) -> float:
        """Fermentable share of the extract, 0.5 to 1 [g/g]."""
        return share_of(self.fermentable_sugar_g_l.value, self.sugar_g_l.value)


def must_figures(blend: Blend) -> MustFigures:
    """Figures of a blend, with ranges from the ranges of its ingredients."""
    parts = {
        p.kind or p.ingredient.name: Figure(
            1000 * p.kg * p.ingredient.dissolved,
            "g",
            say("mass x dissolved share"),
            ARITHMETIC,
            {
                "mass_kg": Figure(p.kg, "kg", ORIGINS.get(p.origin, p.origin), ARITHMETIC),
                "water_pct": p.ingredient.figures.get("water_pct", 0.0),
            },
        )
        for p in blend.portions
    }
    dissolved = total(parts, "g") if parts else Figure(0.0, "g", say("nothing"), ARITHMETIC)
    brix = Figure(
        blend.brix,
        "Brix",
        say("100 x dissolved / (dissolved + water)"),
        ARITHMETIC,
        {"dissolved_g": dissolved, "water_g": 1000 * blend.water_kg},
        *_range(blend, lambda b: b.brix),
    )
    density = Figure(
        (blend.water_kg + blend.dissolved_kg) / blend.volume_l * 1000,
        "kg/m3",
        say("density of a sucrose solution of this Brix at 20 C"),
        "ICUMSA1998",
        {"brix": brix},
    )
    volume = Figure(
        blend.volume_l,
        "L",
        say("(dissolved + water) / density"),
        ARITHMETIC,
        {"dissolved_g": dissolved, "water_g": 1000 * blend.water_kg, "density": density},
        *_range(blend, lambda b: b.volume_l),
    )
    gravity = Figure(
        blend.gravity,
        "SG 20/20",
        say("apparent gravity of this Brix"),
        "NBS1942",
        {"brix": brix},
        *_range(blend, lambda b: b.gravity),
    )
    return _with_sugar(blend, volume, gravity, brix, density)


def _with_sugar(
    blend: Blend, volume: Figure, gravity: Figure, brix: Figure, density: Figure
) -> MustFigures:
    sugar = Figure(
        blend.sugar_g_l,
        "g/L",
        say("Brix/100 x density: all that is dissolved, read as sugar"),
        "ICUMSA1998",
        {"brix": brix, "density": density},
        *_range(blend, lambda b: b.sugar_g_l),
    )
    fermentable = Figure(
        blend.fermentable_g_l,
        "g/L",
        say("sum over ingredients of sugars x fermentable share (sucrose x 1.053) / volume"),
        ARITHMETIC,
        {
            p.kind or p.ingredient.name: Figure(
                1000 * blend.fermentable_of(p),
                "g",
                say("mass x sugars x fermentable share"),
                ARITHMETIC,
                {
                    "fermentable_pct_of_sugars": p.ingredient.figures.get(
                        "fermentable_pct_of_sugars", 100.0
                    )
                },
            )
            for p in blend.portions
        }
        | {"volume": volume},
        *_range(blend, lambda b: b.fermentable_g_l),
    )
    alcohol, dry = _fermented_out(
        blend.fermented(),
        fermentable,
        sugar,
        _range(blend, lambda b: b.fermented().ethanol_pct_vol),
        _range(blend, lambda b: b.fermented().gravity),
    )
    share = Figure(
        blend.glucose_share,
        "",
        say("glucose / (glucose + fructose) after inversion"),
        ARITHMETIC,
    )
    return MustFigures(volume, gravity, brix, sugar, fermentable, alcohol, dry, density, share)


def measured_figures(volume_l: Figure, brix: Figure, gravity: Figure) -> MustFigures:
    """Figures of a must known only by its measured gravity or Brix.

    Parameters
    ----------
    volume_l, brix, gravity : Figure
        Of the must: above 0 [L], 0 to 65 [Brix], apparent 20/20 °C [-].

    Returns
    -------
    MustFigures
    """
    b = max(brix.value, 0.0)
    density = Figure(
        float(sucrose_solution_density_kg_m3(min(b / 100, 0.7))),
        "kg/m3",
        say("density of a sucrose solution of this Brix at 20 C"),
        "ICUMSA1998",
        {"brix": brix},
    )
    sugar = Figure(
        b / 100 * density.value,
        "g/L",
        say("Brix/100 x density"),
        "ICUMSA1998",
        {"brix": brix, "density": density},
    )
    fermentable = Figure(
        sugar.value * 0.95,
        "g/L",
        say("sugar x 0.95, as nothing is known of its ingredients"),
        say("assumed: middle of honey and juice"),
        {"sugar": sugar},
        sugar.value * 0.88,
        sugar.value * 0.99,
    )
    share = Figure(
        0.48,
        "",
        say("glucose / (glucose + fructose)"),
        say("assumed: between honey and grape"),
        {},
        0.42,
        0.52,
    )
    nothing = Figure(0.0, "", say("not yet reckoned"), ASSUMED)
    known = MustFigures(
        volume_l, gravity, brix, sugar, fermentable, nothing, nothing, density, share
    )
    return with_fermentable(known, fermentable)


def with_fermentable(figures: MustFigures, fermentable: Figure) -> MustFigures:
    """The figures with another fermentable sugar, and the alcohol and dry gravity it gives."""
    sugar = figures.sugar_g_l
    low = fermentable.value if fermentable.low is None else fermentable.low
    high = fermentable.value if fermentable.high is None else fermentable.high
    ends = [ferment(sugar.value, fermentable.value)]
    with validity_notes():  # about the must itself, not the ends of its range
        ends += [ferment(sugar.value, max(end, 0.0)) for end in (low, high)]
    alcohol, dry = _fermented_out(
        ends[0],
        fermentable,
        sugar,
        (ends[1].ethanol_pct_vol, ends[2].ethanol_pct_vol),
        (ends[2].gravity, ends[1].gravity),
    )
    return replace(
        figures,
        fermentable_sugar_g_l=fermentable,
        potential_alcohol_pct=alcohol,
        dry_gravity=dry,
    )


def _fermented_out(
    left: Fermented,
    fermentable: Figure,
    sugar: Figure,
    alcohol_range: tuple[float | None, float | None],
    gravity_range: tuple[float | None, float | None],
) -> tuple[Figure, Figure]:
    """Alcohol and gravity once all that can has fermented."""
    alcohol = Figure(
        left.ethanol_pct_vol,
        "% vol",
        say("mass balance: hexose x 0.47 g ethanol/g, CO2 leaves, volume from the final density"),
        "Zentou2021; OIML1975; OIV2012",
        {"fermentable": fermentable, "sugar": sugar},
        *alcohol_range,
    )
    dry = Figure(
        left.gravity,
        "SG 20/20",
        say("apparent gravity of what is left: OIV2012 with the alcohol of the balance"),
        "OIV2012; OIML1975; ICUMSA1998",
        {"alcohol": alcohol, "sugar": sugar},
        *gravity_range,
    )
    return alcohol, dry


def _range(blend: Blend, read: Callable[[Blend], float]) -> tuple[float | None, float | None]:
    """Ends of a reading as each uncertain part moves alone (water balances it), in quadrature."""
    here = read(blend)
    down = up = 0.0
    for i, portion in enumerate(blend.portions):
        for name in ("water_pct", "fermentable_pct_of_sugars"):
            figure = portion.ingredient.figures.get(name)
            if figure is None or figure.low is None or figure.high is None:
                continue
            for end in (figure.low, figure.high):
                other = replace(portion, ingredient=_moved(portion.ingredient, name, end))
                portions = [*blend.portions[:i], other, *blend.portions[i + 1 :]]
                with validity_notes():  # about the must itself, not the ends of its range
                    moved = read(Blend(portions)) - here
                down += min(moved, 0.0) ** 2
                up += max(moved, 0.0) ** 2
    if down == up == 0.0:
        return None, None
    return here - down**0.5, here + up**0.5


def _moved(ingredient: Ingredient, name: str, end: float) -> Ingredient:
    """The ingredient with one part at its low or high end, the rest scaled to close to 100 %."""
    figure = ingredient.figures[name]
    changed = {name: replace(figure, value=end)}
    if name == "water_pct":
        insoluble = ingredient.figures.get("insoluble_pct")
        fixed = insoluble.value if insoluble else 0.0
        factor = (100 - end - fixed) / max(100 - figure.value - fixed, 1e-9)
        for part in DISSOLVED:
            old = ingredient.figures.get(f"{part}_pct")
            if old:
                changed[f"{part}_pct"] = replace(old, value=old.value * factor)
    return replace(ingredient, figures={**ingredient.figures, **changed})
