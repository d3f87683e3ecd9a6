"""What the fields of a step are called, and how finely its figures are printed, in every shell."""

from __future__ import annotations

from mustwright.figure import Figure
from mustwright.unit_hints import example
from mustwright.unit_system import current, in_pounds, mass, number_in, unit_for

WORDS = {
    "free_so2_mg_l": "Free sulfur dioxide needed",
    "free_to_add_mg_l": "Free sulfur dioxide to add",
    "keeping_temperature_c": "Coldest it will be kept at",
    "dosed_for_c": "Temperature it is dosed for",
    "molecular_kept_mg_l": "Molecular in the glass, at that temperature",
    "molecular_now_mg_l": "Molecular in the glass, at its temperature now",
    "total_after_mg_l": "Total sulfur dioxide after",
    "legal_total_mg_l": "Legal limit of the total",
    "legal_sorbic_mg_l": "Legal limit of sorbic acid",
    "handout_free_so2_mg_l": "Free sulfur dioxide by the usual handout, to compare",
    "declare": "On the label",
    "co2_if_fermented_g_l": "Gas if it ferments",
    "gas_if_it_wakes_vol": "Gas if it ferments again",
    "chance_moving": "Chance that it still ferments",
    "chance_past_tolerance": "Chance that alcohol is past its limit",
    "pressure_bar_20c": "Pressure at 20 C",
    "pressure_bar_30c": "Pressure at 30 C, if left in the warm",
    "keg_bar": "Set on the keg",
    "residual_co2_volumes": "Gas still in it",
    "target_co2_volumes": "Gas wanted",
    "target_co2_g_l": "Gas wanted, by weight",
    "next_check_days": "Next check in",
    "new_ph": "New pH, a first guess",
    "ph_after": "pH after, a first guess",
    "kg": "To add",
    "sugar_g": "Sugar in all",
    "headspace_pct": "Headspace, as a share",
    "sugar_g_l": "Sugar per litre",
    "potential_alcohol_pct": "If yeast fermented the sweetness, alcohol would rise by",
    "ready": "Protected: safe to add now",
    "lees_l": "Left with the lees",
    "way_l": "Lost on the way",
    "bears": "Holds it",
    "most_volumes": "At most",
    "working_bar": "Working pressure",
    "why": "Because",
    "batch_g": "For the batch",
    "dilution_pct": "Thinned by",
    "kind": "What it is",
    "contents": "Made of",
    "date_line": "Date",
}
UNITS_IN_NAMES = (
    "_pct", "_g_l", "_mg_l", "_l", "_g", "_ml", "_bar", "_kg", "_vol", "_per_day", "_days", "_c",
)  # fmt: skip
DECIMALS = {"SG 20/20": 4, "% vol": 2, "%": 1, "L": 2, "mg/L": 1, "g/L": 2, "vol": 2, "bar": 2,
            "mL": 1, "d": 0, "per day": 5, "bottles": 0,
            "tablets": 0, "kg": 3, "meq/L per pH": 1}  # fmt: skip


def words(name: str) -> str:
    """A field's name as a person would say it."""
    if name in WORDS:
        return example(WORDS[name])
    for suffix in UNITS_IN_NAMES:
        if name.endswith(suffix) and len(name) > len(suffix):
            name = name[: -len(suffix)]
            break
    text = name.replace("_", " ").replace("so2", "SO2").replace("co2", "CO2")
    return text[:1].upper() + text[1:]


def shown(figure: Figure, ranged: bool = True) -> str:
    """A figure with its unit and, where it has one, its range."""
    spread = between(figure) if ranged else ""
    return printed(figure) + (f" ({spread})" if spread else "")


def printed(figure: Figure) -> str:
    """A figure with its unit.

    Examples
    --------
    >>> printed(Figure(0.94973, "g", "", "")), printed(Figure(12.534, "% vol", "", ""))
    ('0.9497 g', '12.53 % vol')
    """
    unit = _unit(figure)
    shown = "" if unit == "lb" else f"°{unit}" if unit == "F" else unit
    return f"{_text(figure, figure.value)} {shown}".strip()


def between(figure: Figure) -> str:
    """The range of a figure; empty without one, or where it prints as one value."""
    if figure.low is None or figure.high is None:
        return ""
    low, high = _text(figure, figure.low), _text(figure, figure.high)
    return "" if low == high else f"{low} to {high}"


def grams(figure: Figure) -> str:
    """Grams or kilograms as one weighs them."""
    value = figure.value
    if in_pounds(value):
        return mass(value / 1000)
    if value >= 10000:
        return f"{value / 1000:.2f} kg"
    if value >= 100:
        return f"{value:.0f} g"
    return f"{value:.1f} g" if value >= 10 else f"{value:.3g} g"


def milligrams(figure: Figure) -> str:
    """Milligrams per litre in a sentence."""
    return f"{figure.value:.0f} mg/L" if figure.value >= 10 else f"{figure.value:.1f} mg/L"


def _unit(figure: Figure) -> str:
    """The unit in which a figure is said; a glass and a pipette stay in millilitres."""
    if figure.unit == "mL":
        return "mL"
    if figure.unit == "g" and in_pounds(figure.value):
        return "lb"
    return unit_for(figure.value, figure.unit, current())


def _text(figure: Figure, number: float) -> str:
    unit = _unit(figure)
    if unit != figure.unit:
        if figure.unit == "g":
            return number_in(number / 1000, "kg", unit)
        return number_in(number, figure.unit, unit)
    places = DECIMALS.get(figure.unit)
    if places is None and abs(number) >= 1000:
        return f"{number:.0f}"
    text = f"{number:.4g}" if places is None else f"{number:.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text
