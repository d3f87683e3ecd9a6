"""What a plan's nutrients cost, by the prices the maker typed."""

from __future__ import annotations

from collections.abc import Sequence

from mustwright.figure import ARITHMETIC, Figure, total
from mustwright.nutrition.programme import Floats
from mustwright.nutrition.shelf import Nutrient


def cost_of(jars: Sequence[Nutrient], grams: Floats) -> tuple[Figure | None, str]:
    """Cost of grams (feeds by jars); None and why, where a price is not stated."""
    parts: dict[str, Figure] = {}
    unknown = []
    for j, jar in enumerate(jars):
        mass = float(grams[:, j].sum()) if grams.size else 0.0
        if mass <= 0:
            continue
        if jar.price_per_kg is None:
            unknown.append(jar.name)
            continue
        parts[jar.name] = Figure(
            mass * jar.price_per_kg / 1000,
            "money",
            "grams x typed price per kg / 1000",
            ARITHMETIC,
            {"grams": mass, "price_per_kg": jar.price_per_kg},
        )
    if unknown:
        return None, f"no price stated for {', '.join(unknown)}"
    return total(parts, "money"), ""
