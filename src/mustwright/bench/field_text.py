"""What the fields of a step are called, and how finely its figures are printed, in every shell."""

from __future__ import annotations

from mustwright.figure import Figure
from mustwright.must.gravity_text import brix_step, gravity_number, gravity_sign
from mustwright.texts import join, say
from mustwright.unit_system import current, degrees, in_pounds, mass, number_in, unit_for
from mustwright.weighing import grams_number, grams_on_scale

WORDS = {
    "free_so2_mg_l": say("Free sulfur dioxide needed"),
    "free_to_add_mg_l": say("Free sulfur dioxide to add"),
    "keeping_temperature_c": say("Coldest it will be kept at"),
    "dosed_for_c": say("Temperature it is dosed for"),
    "molecular_kept_mg_l": say("Molecular in the glass, at that temperature"),
    "molecular_now_mg_l": say("Molecular in the glass, at its temperature now"),
    "total_after_mg_l": say("Total sulfur dioxide after"),
    "legal_total_mg_l": say("Legal limit of the total"),
    "legal_sorbic_mg_l": say("Legal limit of sorbic acid"),
    "handout_free_so2_mg_l": say("Free sulfur dioxide by the usual handout, to compare"),
    "declare": say("On the label"),
    "co2_if_fermented_g_l": say("Gas if it ferments"),
    "gas_if_it_wakes_vol": say("Gas if it ferments again"),
    "chance_moving": say("Chance that it still ferments"),
    "chance_past_tolerance": say("Chance that alcohol is past its limit"),
    "keg_bar": say("Set on the keg"),
    "residual_co2_volumes": say("Gas still in it"),
    "target_co2_volumes": say("Gas wanted"),
    "target_co2_g_l": say("Gas wanted, by weight"),
    "next_check_days": say("Next check in"),
    "new_ph": say("New pH, a first guess"),
    "ph_after": say("pH after, a first guess"),
    "kg": say("To add"),
    "sugar_g": say("Sugar in all"),
    "headspace_pct": say("Headspace, as a share"),
    "sugar_g_l": say("Sugar per litre"),
    "potential_alcohol_pct": say("If yeast fermented the sweetness, alcohol would rise by"),
    "ready": say("Safe to add now"),
    "wakes_yeast": say("Ferments again"),
    "grams_low": say("At least"),
    "grams_high": say("At most"),
    "lees_l": say("Left with the lees"),
    "way_l": say("Lost on the way"),
    "bears": say("Holds it"),
    "most_volumes": say("At most"),
    "working_bar": say("Working pressure"),
    "why": say("Because", context="figure"),
    "batch_g": say("For the batch"),
    "dilution_pct": say("Thinned by"),
    "kind": say("What it is"),
    "contents": say("Made of"),
    "date_line": say("Date", context="figure"),
    "verdict": say("Verdict", context="figure"),
    "bottle_still": say("Bottle still"),
    "fall_per_day": say("Fall", context="figure"),
    "days_watched": say("Days watched"),
    "gravity_now": say("Gravity now"),
    "floor_gravity": say("Floor gravity"),
    "residual_sugar_g_l": say("Residual sugar"),
    "alcohol_pct": say("Alcohol", context="figure"),
    "reasons": say("Reasons", context="figure"),
    "racked_l": say("Racked", context="figure"),
    "headspace_l": say("Headspace", context="figure"),
    "top_up_l": say("Top up"),
    "volume_after_l": say("Volume after"),
    "alcohol_after_pct": say("Alcohol after"),
    "gravity_after": say("Gravity after"),
    "sugar_brought_g_l": say("Sugar brought"),
    "molecular_fraction": say("Molecular fraction"),
    "metabisulfite_g": say("Metabisulfite", context="figure"),
    "weigh_g": say("Weigh", context="figure"),
    "stock_ml": say("Stock", context="figure"),
    "tablets": say("Tablets", context="figure"),
    "potassium_mg_l": say("Potassium", context="figure"),
    "sodium_mg_l": say("Sodium", context="figure"),
    "sorbate_g": say("Sorbate", context="figure"),
    "dose_g_l": say("Dose", context="figure"),
    "sorbic_acid_mg_l": say("Sorbic acid"),
    "undissociated_fraction": say("Undissociated fraction"),
    "water_ml": say("Water", context="figure"),
    "new_volume_l": say("New volume"),
    "new_alcohol_pct": say("New alcohol"),
    "new_gravity": say("New gravity"),
    "sugar_after_g_l": say("Sugar after"),
    "sugar_added_g_l": say("Sugar added"),
    "new_acidity_g_l": say("New acidity"),
    "substance": say("Substance", context="figure"),
    "stock": say("Stock", context="figure"),
    "stock_g_l": say("Stock", context="figure"),
    "glass_ml": say("Glass", context="figure"),
    "pipette_ml": say("Pipette", context="figure"),
    "made_with": say("Made with"),
    "glasses": say("Glasses", context="figure"),
    "grams": say("Grams", context="figure"),
    "acidity_change_g_l": say("Acidity change"),
    "acidity_after_g_l": say("Acidity after"),
    "gas_l": say("Gas", context="figure"),
    "legal_g_l": say("Legal", context="figure"),
    "volume_l": say("Volume", context="figure"),
    "filled_l": say("Filled", context="figure"),
    "alcohol_now_pct": say("Alcohol now"),
    "alcohol_if_fermented_pct": say("Alcohol if fermented"),
    "feasible": say("Feasible", context="figure"),
    "goal": say("Goal", context="figure"),
    "name": say("Name", context="figure"),
    "litres": say("Litres", context="figure"),
    "share_pct": say("Share", context="figure"),
    "targets": say("Targets", context="figure"),
    "quantity": say("Quantity", context="figure"),
    "reached": say("Reached", context="figure"),
    "off_by": say("Off by"),
    "met": say("Met", context="figure"),
    "contraction_l": say("Contraction", context="figure"),
    "gravity": say("Gravity", context="figure"),
    "acidity_g_l": say("Acidity", context="figure"),
    "total_so2_mg_l": say("Total sulfur dioxide"),
    "colour": say("Colour", context="figure"),
    "cost": say("Cost", context="figure"),
    "alcohol_rise_pct": say("Alcohol rise"),
    "remark": say("Remark", context="figure"),
    "legal_class": say("Legal class"),
    "bottles": say("Bottles", context="figure"),
    "count": say("Count", context="figure"),
    "bottle_count": say("Bottle count"),
    "usable_l": say("Usable", context="figure"),
    "left_l": say("Left", context="figure"),
    "alcohol": say("Alcohol", context="figure"),
    "volume": say("Volume", context="figure"),
    "sulfite": say("Sulfite", context="figure"),
    "lot": say("Lot", context="figure"),
    "maker": say("Maker", context="figure"),
    "warning": say("Warning", context="figure"),
    "label_alcohol_pct": say("Label alcohol"),
    "lot_code": say("Lot code"),
    "naming": say("Naming", context="figure"),
    "tax_class": say("Tax class"),
    "keeping": say("Keeping", context="figure"),
}
UNITS_IN_NAMES = (
    "_pct", "_g_l", "_mg_l", "_l", "_g", "_ml", "_bar", "_kg", "_vol", "_per_day", "_days", "_c",
)  # fmt: skip
DECIMALS = {"SG 20/20": 4, "% vol": 2, "%": 1, "L": 2, "mg/L": 1, "g/L": 2, "vol": 2, "bar": 2,
            "mL": 1, "d": 0, "per day": 5, "bottles": 0,
            "tablets": 0, "kg": 3, "meq/L per pH": 1}  # fmt: skip


# Units that are words.
UNITS = {
    "bottles": say("bottles", context="unit"), "tablets": say("tablets", context="unit"),
    "per day": say("per day", context="unit"),
    "meq/L per pH": say("meq/L per pH"),
}  # fmt: skip
PER_DAY = "per day"  # a fall of gravity, in a mead that is nearly dry
GRAVITIES = ("SG 20/20", PER_DAY)


def words(name: str) -> str:
    """A field's name as a person would say it."""
    if name in WORDS:
        return WORDS[name]
    if name == "pressure_bar_20c":
        return say("Pressure at {degrees}", degrees=degrees(20.0))
    if name == "pressure_bar_30c":
        return say("Pressure at {degrees}, if left in the warm", degrees=degrees(30.0))
    for suffix in UNITS_IN_NAMES:
        if name.endswith(suffix) and len(name) > len(suffix):
            name = name[: -len(suffix)]
            break
    text = name.replace("_", " ").replace("so2", "SO2").replace("co2", "CO2")
    return text[:1].upper() + text[1:]


def shown(figure: Figure, ranged: bool = True) -> str:
    """A figure with its unit and, where it has one, its range."""
    spread = between(figure) if ranged else ""
    return join("", (printed(figure), " (", spread, ")")) if spread else printed(figure)


def printed(figure: Figure) -> str:
    """A figure with its unit.

    Examples
    --------
    >>> printed(Figure(0.94973, "g", "", "")), printed(Figure(12.534, "% vol", "", ""))
    ('0.9497 g', '12.53 % vol')
    """
    unit = _unit(figure)
    if figure.unit in GRAVITIES and gravity_sign():
        a_day = (UNITS[PER_DAY],) if figure.unit == PER_DAY else ()
        return join(" ", (_text(figure, figure.value), gravity_sign(), *a_day))
    shown = "" if unit == "lb" else f"°{unit}" if unit in ("C", "F") else UNITS.get(unit, unit)
    return join(" ", (_text(figure, figure.value), shown)).strip()


def between(figure: Figure) -> str:
    """The range of a figure; empty without one, or where it prints as one value."""
    if figure.low is None or figure.high is None:
        return ""
    low, high = _text(figure, figure.low), _text(figure, figure.high)
    return "" if low == high else say("{low} to {high}", low=low, high=high)


def grams(figure: Figure) -> str:
    """Grams or kilograms as one weighs them."""
    value = figure.value
    if in_pounds(value):
        return mass(value / 1000)
    if value >= 10000:
        return say("{kg:.2f} kg", kg=value / 1000)
    step = figure.inputs.get("scale_step_g")
    if isinstance(step, float):
        return say("{grams} g", grams=grams_on_scale(value, step))
    return say("{grams} g", grams=grams_number(value))


def milligrams(figure: Figure) -> str:
    """Milligrams per litre in a sentence."""
    value = figure.value
    return say("{mg_l:.0f} mg/L", mg_l=value) if value >= 10 else say("{mg_l:.1f} mg/L", mg_l=value)


def _unit(figure: Figure) -> str:
    """The unit in which a figure is said; a glass and a pipette stay in millilitres."""
    if figure.unit == "mL":
        return "mL"
    if figure.unit == "g" and in_pounds(figure.value):
        return "lb"
    return unit_for(figure.value, figure.unit, current())


def _text(figure: Figure, number: float) -> str:
    unit = _unit(figure)
    if figure.unit in GRAVITIES and gravity_sign():
        fall = figure.unit == PER_DAY
        return brix_step(number, 1.0, 5) if fall else gravity_number(number, 4)
    if unit != figure.unit:
        if figure.unit == "g":
            return number_in(number / 1000, "kg", unit)
        return number_in(number, figure.unit, unit)
    places = DECIMALS.get(figure.unit)
    if places is None and abs(number) >= 1000:
        return say("{number:.0f}", number=number)
    shown = f"{number:.4g}" if places is None else f"{number:.{places}f}"
    number = 0.0 if float(shown) == 0 else number
    if places is None:
        return say("{number:.4g}", number=number)
    return say("{number:.{places}f}", number=number, places=places)
