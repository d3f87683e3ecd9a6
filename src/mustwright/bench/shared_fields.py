"""Fields that several finishing steps share: one wording for each, in commands and forms."""

from __future__ import annotations

from mustwright.bench import kinds
from mustwright.bench.fields import StepField
from mustwright.must.ingredient import SUGARS, all_ingredients
from mustwright.texts import literal, say


def sweet_ingredients() -> list[str]:
    """Ingredients that hold sugar, by name."""
    return [i.name for i in all_ingredients().values() if any(i.share(s) for s in SUGARS)]


VOLUME = StepField(
    "volume",
    say("Volume of the mead"),
    "19 L or 5 US gal",
    kinds.VOLUME,
    needs=kinds.VOLUME.such_as,
)
GRAVITY = StepField(
    "gravity", say("Gravity now"), literal("{gravity}, or {brix}"), kinds.GRAVITY,
    amounts=(("gravity", "0.998"), ("brix", "2 Bx")),
)  # fmt: skip
ALCOHOL = StepField("alcohol", say("Alcohol"), "12 %", kinds.ALCOHOL)
PH = StepField("ph", say("pH, measured"), "3.5", kinds.NUMBER)
TEMPERATURE = StepField(
    "temperature", say("Temperature of the mead"), "20 C or 68 F", kinds.CELSIUS
)
ACIDITY = StepField("acidity", say("Titratable acid now, as tartaric"), "5 g/L", kinds.G_L)
RESIDUAL = StepField("residual_sugar", say("Fermentable sugar left, measured"), "2 g/L", kinds.G_L)
SUGAR_NOW = RESIDUAL.but(label=say("Sugar in it now"), hint="10 g/L", to="sugar_g_l")
ORIGINAL = StepField(
    "original", say("Gravity before fermentation"), "1.098", kinds.GRAVITY, to="original_gravity"
)
FREE = StepField("free", say("Free sulfur dioxide now, measured"), "8 mg/L", kinds.MG_L)
TOTAL = StepField("total", say("Total sulfur dioxide now"), "35 mg/L", kinds.MG_L)
MOLECULAR = StepField(
    "molecular", say(
        "Molecular sulfur dioxide that should go with it"), "0.8 mg/L", kinds.MOLECULAR,
    to="molecular_so2_mg_l",
)  # fmt: skip
SORBIC = StepField(
    "sorbic", say("Sorbic acid it holds already"), "90 mg/L", kinds.MG_L, to="sorbic_now_mg_l"
)
POTASSIUM = StepField("potassium", say("Potassium added so far"), "50 mg/L", kinds.MG_L)
CALCIUM = StepField("calcium", say("Calcium added so far"), "20 mg/L", kinds.MG_L)
GAS = StepField("gas", say("Gas it holds"), "2 g/L", kinds.G_L)

PROFILE = StepField("profile", say("Law to keep to"), kind=kinds.LAW, default="home", choices=(
    ("", say("home")), ("us", say("United States")), ("eu", say("European Union")),
))  # fmt: skip
SCALE = StepField("scale", say("What your scale shows"), "0.1 g", kinds.MASS, default="0.1 g")
WITH = StepField("with", say("With"), kind=kinds.INGREDIENT, known=sweet_ingredients)
MOISTURE = StepField("moisture", say("Water in your honey"), "17.5 %", kinds.MOISTURE)
BRIX = StepField("brix", say("Brix of your juice or fruit"), "12 Bx", kinds.BRIX)
STABILISED = StepField("stabilised", say("How yeast was stopped"), kind=kinds.KIND, choices=(
    ("", say("not stated")), ("sulfite+sorbate", say("sulfite and sorbate")),
    ("pasteurised", say("pasteurised")), ("sterile-filtered", say("filtered sterile")),
    ("alcohol", say("by its own alcohol, proven")), ("no", say("it was not")),
))  # fmt: skip
CONTAINER = StepField("bottle", say("Bottle"), kind=kinds.KIND, choices=(
    ("", say("any; show which ones hold it")), ("wine", say("still wine bottle")),
    ("beer", say("beer bottle")), ("swing_top", say("swing-top for beer")),
    ("sparkling", say("sparkling wine bottle")), ("pet", say("plastic, for fizzy drinks")),
    ("keg", say("steel keg")),
))  # fmt: skip
LIMIT = StepField("limit", say("Pressure your own bottle or keg is made for"), "3 bar", kinds.BAR)
TOLERANCE = StepField(
    "tolerance",
    say("Alcohol the yeast can reach"),
    literal("{low} to {high} %"),
    kinds.TOLERANCE,
    amounts=(("low", "12"), ("high", "14")),
)
STILL = StepField("days_still", say("Days gravity stood still with sugar left"), "28 d", kinds.DAYS)
BATCH = StepField("batch", say("Name of the batch"))
