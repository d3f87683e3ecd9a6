"""Fields that several finishing steps share: one wording for each, in commands and forms."""

from __future__ import annotations

from mustwright.bench import kinds
from mustwright.bench.fields import StepField
from mustwright.must.ingredient import SUGARS, all_ingredients


def sweet_ingredients() -> list[str]:
    """Ingredients that hold sugar, by name."""
    return [i.name for i in all_ingredients().values() if any(i.share(s) for s in SUGARS)]


VOLUME = StepField(
    "volume", "Volume of the mead", "19 L or 5 US gal", kinds.VOLUME, needs=kinds.VOLUME.such_as
)
GRAVITY = StepField("gravity", "Gravity now", "0.998, or 2 Bx", kinds.GRAVITY)
ALCOHOL = StepField("alcohol", "Alcohol", "12 %", kinds.ALCOHOL)
PH = StepField("ph", "pH, measured", "3.5", kinds.NUMBER)
TEMPERATURE = StepField("temperature", "Temperature of the mead", "20 C or 68 F", kinds.CELSIUS)
ACIDITY = StepField("acidity", "Titratable acidity now, as tartaric", "5 g/L", kinds.G_L)
RESIDUAL = StepField("residual_sugar", "Fermentable sugar left, measured", "2 g/L", kinds.G_L)
SUGAR_NOW = RESIDUAL.but(label="Sugar in it now", hint="10 g/L", to="sugar_g_l")
ORIGINAL = StepField(
    "original", "Gravity before fermentation", "1.098", kinds.GRAVITY, to="original_gravity"
)
FREE = StepField("free", "Free sulfur dioxide now, measured", "8 mg/L", kinds.MG_L)
TOTAL = StepField("total", "Total sulfur dioxide now", "35 mg/L", kinds.MG_L)
MOLECULAR = StepField(
    "molecular", "Molecular sulfur dioxide beside it", "0.8 mg/L", kinds.MOLECULAR,
    to="molecular_so2_mg_l",
)  # fmt: skip
SORBIC = StepField(
    "sorbic", "Sorbic acid it holds already", "90 mg/L", kinds.MG_L, to="sorbic_now_mg_l"
)
POTASSIUM = StepField("potassium", "Potassium added so far", "50 mg/L", kinds.MG_L)
CALCIUM = StepField("calcium", "Calcium added so far", "20 mg/L", kinds.MG_L)
GAS = StepField("gas", "Gas it holds", "2 g/L", kinds.G_L)

PROFILE = StepField("profile", "Law to keep to", kind=kinds.LAW, default="home", choices=(
    ("", "home"), ("us", "United States"), ("eu", "European Union"),
))  # fmt: skip
SCALE = StepField("scale", "What your scale shows", "0.1 g", kinds.MASS, default="0.1 g")
WITH = StepField("with", "With", kind=kinds.INGREDIENT, known=sweet_ingredients)
MOISTURE = StepField("moisture", "Water in your honey", "17.5 %", kinds.MOISTURE)
BRIX = StepField("brix", "Brix of your juice or fruit", "12 Bx", kinds.BRIX)
STABILISED = StepField("stabilised", "How yeast was stopped", kind=kinds.KIND, choices=(
    ("", "not stated"), ("sulfite+sorbate", "sulfite and sorbate"),
    ("pasteurised", "pasteurised"), ("sterile-filtered", "filtered sterile"),
    ("alcohol", "by its own alcohol, proven"), ("no", "it was not"),
))  # fmt: skip
CONTAINER = StepField("bottle", "Bottle", kind=kinds.KIND, choices=(
    ("", "any; show which ones hold it"), ("wine", "still wine bottle"),
    ("beer", "beer bottle"), ("swing_top", "swing-top for beer"),
    ("sparkling", "sparkling wine bottle"), ("pet", "plastic, for fizzy drinks"),
    ("keg", "steel keg"),
))  # fmt: skip
LIMIT = StepField("limit", "Pressure your own bottle or keg is made for", "3 bar", kinds.BAR)
TOLERANCE = StepField("tolerance", "Alcohol the yeast can reach", "12 to 14 %", kinds.TOLERANCE)
STILL = StepField("days_still", "Days gravity stood still with sugar left", "28 d", kinds.DAYS)
BATCH = StepField("batch", "Name of the batch")
