"""The steps of the finishing bench as forms, in the order a maker meets them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from mustwright.bench import package, stabilise, taste
from mustwright.web.forms.finish_ask import (
    ACIDITY,
    ALCOHOL,
    BRIX,
    GRAVITY,
    MOISTURE,
    PH,
    PROFILE,
    PROOF,
    RESIDUAL,
    SCALE,
    STABILISED,
    STILL,
    TEMPERATURE,
    TOLERANCE,
    VOLUME,
    Ask,
    Given,
    Part,
    Step,
)


def of(work: Callable[[Given], object]) -> Callable[[Given, date], object]:
    """A use case that needs no date."""
    return lambda given, _today: work(given)


def only(given: Given, names: tuple[str, ...]) -> dict[str, object]:
    """The fields that a use case has."""
    return {name: value for name, value in given.items() if name in names}


def acid_or_tannin(given: Given, _today: date) -> object:
    """The one of the two use cases that the substance chosen belongs to."""
    if given.get("with") == "tannin":
        return taste.tannin(only(given, taste.TANNIN_FIELDS))
    return taste.acid(given)


def fruit_or_spice(given: Given, _today: date) -> object:
    """Fruit by mass, or spice by grams per litre."""
    if given.get("what") == "spice":
        return taste.add_spice(only(given, taste.SPICE_FIELDS))
    return taste.fruit(only(given, taste.FRUIT_FIELDS))


STABLE = Step(
    "stable", "Done and stable?", "Is it done, and will it stay so?",
    "A row of readings and what is known of the sugar give the chance that it still moves, "
    "a verdict, and the day to look again.",
    "Judge it", of(stabilise.stable),
    (
        Part("", (
            Ask("reading", "Gravity readings", "One a line: day and gravity, 2026-01-05 1.002 or "
                "7 d: 1.002", shape="lines"),
        )),
        Part("Its sugar and alcohol", (
            Ask("original", "Gravity before fermentation", "1.098"), RESIDUAL, ALCOHOL, TOLERANCE,
            Ask("yeast", "Or the kind of yeast", "where no tolerance is typed", known="yeasts"),
        )),
        Part("More that is known", (
            Ask("nitrogen", "Nitrogen left that yeast could use", "20 mg/L"),
            Ask("error", "Error of your hydrometer", "0.001"),
            Ask("sterile", "Pasteurised or filtered sterile since", shape="tick"),
        ), folded=True),
    ),
    ("pressure_glass",), several=("reading",),
)  # fmt: skip

RACK = Step(
    "rack", "Rack", "Rack it off the lees",
    "What comes over, the air above it, and what topping up does to volume and alcohol.",
    "Work it out", of(stabilise.rack_off),
    (
        Part("", (
            Ask("volume", "Volume before, lees included", "20 L"),
            Ask("lees", "Lees", "", (
                ("", "first racking, honey and water"), ("gross_fruit", "first racking, off fruit"),
                ("fine", "later racking, fine lees"), ("fining", "off a fining agent"),
            )),
            Ask("by", "By", "", (
                ("", "siphon"), ("pump", "pump"), ("tap", "tap above the lees"),
                ("gas", "pushed over with gas"),
            )),
            Ask("vessel", "Next vessel, to the brim", "19 L"),
        )),
        Part("Top up", (
            Ask("top_up", "With", "", (
                ("", "nothing"), ("mead", "mead"), ("water", "water"),
                ("honey water", "honey water"),
            )),
            GRAVITY, ALCOHOL,
            Ask("top_gravity", "Gravity of what tops it up", "0.998; for mead and honey water"),
            Ask("top_alcohol", "Alcohol of the mead that tops it up", "12 %"),
            Ask("headspace", "Room to leave", "0.2 L; a hundredth of the vessel when empty"),
        ), folded=True),
        Part("Measured lees, and the honey", (
            Ask("lees_depth", "Depth of the lees", "2 cm"),
            Ask("diameter", "Diameter of the vessel", "27 cm"),
            Ask("honey", "Honey in the honey water", "such as clover honey", known="ingredients"),
            MOISTURE,
        ), folded=True),
    ),
    ("carbon_dioxide_room",),
)  # fmt: skip

SULFITE = Step(
    "sulfite", "Sulfite", "Sulfite by what is molecular",
    "How much free sulfur dioxide this pH, alcohol and temperature ask for, and what to weigh.",
    "Work it out", of(stabilise.sulfite),
    (
        Part("", (
            VOLUME, PH, ALCOHOL, TEMPERATURE,
            Ask("molecular", "Molecular sulfur dioxide wanted",
                "0.8 mg/L when empty; 0.5 does for a dry mead", known="molecular"), PROFILE,
        )),
        Part("Measured sulfur dioxide", (
            Ask("free", "Free now", "8 mg/L"), Ask("total", "Total now", "35 mg/L"),
            Ask("binding", "Share of an addition that gets bound", "30 %"),
            Ask("residual_sugar", "Sugar in it", "10 g/L; where the law asks for it"),
        ), folded=True),
        Part("How it is measured out", (
            Ask("salt", "Salt", "", (("", "potassium metabisulfite"),
                                     ("sodium", "sodium metabisulfite"))),
            Ask("strength", "Sulfur dioxide your powder still gives", "57 %"),
            Ask("stock", "Stock solution, grams in 100 mL", "10 %"),
            Ask("tablet", "Metabisulfite in one tablet, by its label", "0.44 g"),
            Ask("scale", "What your scale shows", "0.01 g"),
            Ask("ionic_strength", "Ionic strength in mol/L", "0.038 when empty"),
        ), folded=True),
    ),
    ("sulfite_asthma",),
)  # fmt: skip

SORBATE = Step(
    "sorbate", "Sorbate", "Sorbate, beside sulfite",
    "Keeps yeast from multiplying in a mead that stands still, is clear, and has its sulfite.",
    "Work it out", of(stabilise.sorbate),
    (
        Part("", (
            VOLUME, ALCOHOL, PH,
            Ask("molecular", "Molecular sulfur dioxide beside it", "0.8 mg/L"),
            Ask("malolactic", "Malolactic bacteria have worked in it, or may", shape="tick"),
            Ask("fermenting", "It still ferments", shape="tick"), PROFILE,
        )),
        Part("Earlier sorbate, and the scale", (
            Ask("sorbic", "Sorbic acid it holds already", "90 mg/L"), SCALE,
        ), folded=True),
    ),
    ("sorbate_no_brake",),
)  # fmt: skip

SWEETEN = Step(
    "sweeten", "Sweeten", "Sweeten to a gravity or to taste",
    "What goes in, what the mead becomes, and a row of glasses to taste first.",
    "Work it out", of(taste.sweeten_to),
    (
        Part("", (
            VOLUME, GRAVITY, ALCOHOL,
            Ask("to", "Sweet as", "a gravity such as 1.015, sugar such as 40 g/L, or dry, medium, "
                "sweet, dessert", known="sweetness"),
            Ask("with", "With", "honey when empty", known="ingredients"), STABILISED, PROFILE,
        )),
        PROOF,
        Part("More that is known", (
            Ask("residual_sugar", "Sugar in it now", "2 g/L"), ACIDITY, PH, MOISTURE, BRIX,
            Ask("glasses", "Glasses in the row", "6"), Ask("scale", "What your scale shows", "1 g"),
        ), folded=True),
    ),
    ("pressure_glass", "bench_first"),
)  # fmt: skip

ACID = Step(
    "acid", "Acid, tannin, buffer", "Acid, tannin or carbonate",
    "By titration, or by pH and the buffer of your mead; tannin by taste; glasses to try.",
    "Work it out", acid_or_tannin,
    (
        Part("", (
            VOLUME,
            Ask("with", "What goes in", "", (
                ("tartaric", "tartaric acid"), ("malic", "malic acid"), ("citric", "citric acid"),
                ("lactic", "lactic acid"), ("gluconic", "gluconic acid"),
                ("potassium_bicarbonate", "potassium bicarbonate"),
                ("potassium_carbonate", "potassium carbonate"),
                ("calcium_carbonate", "calcium carbonate"), ("tannin", "tannin"),
            )),
        )),
        Part("By titration", (
            ACIDITY, Ask("to_acidity", "Acidity wanted, as tartaric", "5.5 g/L"),
        )),
        Part("By pH", (
            PH, Ask("to_ph", "pH wanted", "3.4"),
            Ask("titration", "Glasses you dosed and measured",
                "One a line: dose and pH, 0.5 g/L: 3.41. They give the buffer.", shape="lines"),
            Ask("buffer", "Or the buffer, meq/L per pH", "15"),
        )),
        Part("", (PROFILE, SCALE)),
    ),
    ("bench_first", "carbonate_foam", "caustic_carbonate"), several=("titration",),
)  # fmt: skip

LATE = Step(
    "late", "Fruit or spice late", "Fruit or spice after the ferment",
    "The sugar that fruit or honey brings and whether yeast wakes to it; spice by the litre.",
    "Work it out", fruit_or_spice,
    (
        Part("", (
            Ask("what", "What goes in", "", (("fruit", "fruit, juice or honey"),
                                             ("spice", "spice or herb"))),
            Ask("with", "Its name", "such as raspberry, or vanilla", known="ingredients"), VOLUME,
        )),
        Part("Fruit, juice or honey", (
            Ask("amount", "Mass of it", "2 kg"), GRAVITY, ALCOHOL, STABILISED,
        )),
        Part("Spice or herb", (Ask("dose", "Spice per litre", "1 g/L"),)),
        Part("Your fruit, and proof that alcohol alone stops the yeast", (
            BRIX, MOISTURE, Ask("residual_sugar", "Sugar in the mead now", "5 g/L"),
            TOLERANCE, STILL,
        ), folded=True),
    ),
    ("pressure_glass", "poisonous_plant_parts", "allergens_named"),
)  # fmt: skip

BLEND = Step(
    "blend", "Blend", "Blend lots to targets",
    "Two to six lots in the parts that meet all targets at once, or come nearest to them.",
    "Find the blend", of(taste.blend),
    (
        Part("What is wanted, as a value or from one to another", (
            Ask("target.alcohol", "Alcohol wanted", "12 %, or 11.5 to 12.5 %"),
            Ask("target.gravity", "Gravity wanted", "1.008, or 1.006 to 1.010"),
            Ask("target.acidity", "Acidity wanted", "5.5 g/L"),
            Ask("target.so2", "Total sulfur dioxide wanted", "0 to 90 mg/L"),
        )),
        Part("More targets", (
            Ask("target.sugar", "Sugar wanted", "20 to 30 g/L"),
            Ask("target.colour", "Colour wanted", "your own note from 0 to 10"),
        ), folded=True),
        Part("", (
            Ask("volume", "Volume wanted", "15 L; as much as can be made when empty"),
            Ask("cheapest", "As cheap as the targets allow, instead of as near their middles",
                shape="tick"), PROFILE,
        )),
    ),
    ("bench_first",),
)  # fmt: skip
LOT_FIELDS = (
    Ask("name", "Name", "such as old"), Ask("volume", "How much there is", "10 L"), ALCOHOL,
    Ask("gravity", "Gravity", "1.012"),
)  # fmt: skip
MORE_LOT_FIELDS = (
    Ask("acidity", "Acidity, as tartaric", "5 g/L"), Ask("so2", "Total sulfur dioxide", "60 mg/L"),
    Ask("sugar", "Sugar", "20 g/L"), Ask("colour", "Colour, your own note", "0 to 10"),
    Ask("price", "Price of a litre", "3"), Ask("least", "At least so much of it", "2 L"),
)  # fmt: skip
MOST_LOTS = 6

CARBONATE = Step(
    "carbonate", "Carbonate", "Make it sparkle",
    "Priming sugar or keg pressure, with the pressure if the bottles get warm and what bears it.",
    "Work it out", of(package.carbonate_to),
    (
        Part("", (
            VOLUME,
            Ask("temperature", "Warmest since the ferment ended", "20 C"), ALCOHOL,
            Ask("fermentable", "Fermentable sugar left", "1 g/L"),
        )),
        Part("Sparkle wanted, one of the three", (
            Ask("co2_volumes", "Volumes of gas", "2.5"), Ask("co2", "Or grams per litre", "5 g/L"),
            Ask("pressure", "Or pressure at 20 °C, above the air", "2 bar"),
        )),
        Part("Where the gas comes from", (
            Ask("sugar", "Sugar to prime with", "table sugar when empty; none for a keg",
                known="priming"),
            Ask("keg", "Or a keg under gas, at", "4 C"),
            Ask("bottle", "Bottle", "", (
                ("", "any: show what bears it"), ("wine", "still wine bottle"),
                ("beer", "beer bottle"), ("swing_top", "swing-top for beer"),
                ("sparkling", "sparkling wine bottle"), ("pet", "plastic, for fizzy drinks"),
                ("keg", "steel keg"),
            )),
        )),
        Part("", (
            Ask("sparkling", "Meant as a sparkling drink, where law limits still ones",
                shape="tick"), PROFILE,
        )),
        Part("More that is known", (
            STABILISED, Ask("residual_sugar", "Sweetness in it", "10 g/L"),
            Ask("limit", "What your own bottle or keg bears", "3 bar"), MOISTURE, BRIX,
        ), folded=True),
    ),
    ("priming_bomb", "keg_pressure"), {"fermentable": "residual_sugar"}, ("temperature",),
)  # fmt: skip

BOTTLE = Step(
    "bottle", "Bottle and label", "Bottles and labels",
    "How many bottles, what to lay out, what the label has to say, and a sheet of labels to print.",
    "Count and label", package.bottle_up,
    (
        Part("", (
            VOLUME,
            Ask("size", "Bottles", "One a line: 750 mL, or 375 mL x 12 for so many of them",
                shape="lines"),
            ALCOHOL, Ask("so2", "Total sulfur dioxide", "40 mg/L"), PROFILE,
            Ask("sparkling", "Under pressure", shape="tick"),
        )),
        Part("On the label", (
            Ask("name", "Name", "such as Dry Lane"), Ask("kind", "What it is", "Mead when empty"),
            Ask("contents", "Made of, with allergens", "such as honey, raspberries"),
            Ask("maker", "Who made it, and where"), Ask("batch", "Batch, for the lot code"),
            Ask("bottled", "Day of bottling", "2026-03-01; today when empty"),
        )),
        Part("Sheet, losses and gas", (
            Ask("page", "Paper of the label sheet", "", (("", "A4"), ("letter", "Letter"))),
            Ask("link", "Address for a QR code on each label"),
            Ask("loss", "Left behind in filling", "0.3 L"), Ask("co2", "Gas it holds", "2 g/L"),
            Ask("residual_sugar", "Sugar in it", "10 g/L"),
        ), folded=True),
    ),
    ("pressure_glass", "priming_bomb", "allergens_named"),
    {"so2": "total", "co2": "gas"}, ("size",),
)  # fmt: skip
SHEET_FIELDS = ("page", "link")

STEPS = {
    step.slug: step
    for step in (STABLE, RACK, SULFITE, SORBATE, SWEETEN, ACID, LATE, BLEND, CARBONATE, BOTTLE)
}
LIQUID = (
    Part("", (VOLUME, GRAVITY, ALCOHOL, PH, TEMPERATURE, PROFILE)),
    Part("More that is known", (
        Ask("original", "Gravity before fermentation", "1.098"), RESIDUAL, ACIDITY,
        Ask("free", "Free sulfur dioxide", "8 mg/L"),
        Ask("total", "Total sulfur dioxide", "35 mg/L"),
        STABILISED, Ask("batch", "Name of the batch"),
    ), folded=True),
)  # fmt: skip
