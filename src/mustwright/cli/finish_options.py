"""The steps of the finishing bench as commands: which options each has, and its use case."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from datetime import date


class Opt(NamedTuple):
    """One option of a command: the field it fills and what to type."""

    field: str
    metavar: str
    help: str
    many: bool = False
    flag: bool = False


class Way(NamedTuple):
    """One command: where its use case is, and its options."""

    module: str
    function: str
    help: str
    asks: tuple[Opt, ...]


VOLUME = Opt("volume", "VOLUME", "Of the mead, such as '19 L'.")
ALCOHOL = Opt("alcohol", "ALCOHOL", "Such as '12 %'.")
GRAVITY = Opt("gravity", "GRAVITY", "Such as 0.998, or '2 Bx'.")
PH = Opt("ph", "NUMBER", "Measured pH.")
SCALE = Opt("scale", "MASS", "What your scale can show, such as '0.1 g'.")
PROFILE = Opt("profile", "ID", "Law to keep to: home (default), us or eu.")
MOISTURE = Opt("moisture", "PERCENT", "Water in your honey, such as '17.5 %'.")
BRIX = Opt("brix", "BRIX", "Of your juice or fruit, such as '12 Bx'.")
RESIDUAL = Opt("residual_sugar", "G/L", "Sugar it holds now, such as '2 g/L'.")
PROTECTED = (
    Opt("stabilised", "HOW", "sulfite+sorbate, pasteurised, sterile-filtered, alcohol, or no."),
    Opt("tolerance", "ALCOHOL", "What the yeast reaches, such as '12 to 14 %'."),
    Opt("days_still", "DAYS", "Days gravity has stood still with sugar left."),
)
_S, _T, _P = (f"mustwright.bench.{name}" for name in ("stabilise", "taste", "package"))

WAYS: dict[str, Way] = {
    "stable": Way(_S, "stable", "Is it done, and will it stay so?", (
        Opt("reading", "'DAY GRAVITY'", "Such as '2026-01-05 1.002' or '7 d: 1.002'.", many=True),
        Opt("original", "GRAVITY", "Of the must."),
        Opt("error", "NUMBER", "Error of the instrument, 0.001 when left out."),
        RESIDUAL, ALCOHOL, Opt("tolerance", "ALCOHOL", "Of the yeast, such as '12 to 14 %'."),
        Opt("yeast", "KIND", "Instead of a tolerance."),
        Opt("nitrogen", "MG/L", "Nitrogen left, such as '20 mg/L'."),
        Opt("sterile", "", "Pasteurised or filtered sterile.", flag=True),
    )),
    "rack": Way(_S, "rack_off", "What is left after racking, and topping up.", (
        VOLUME, GRAVITY, ALCOHOL,
        Opt("lees", "KIND", "gross_plain, gross_fruit, fine or fining."),
        Opt("by", "KIND", "siphon, pump, tap or gas."),
        Opt("lees_depth", "LENGTH", "Measured, such as '2 cm'."),
        Opt("diameter", "LENGTH", "Of the vessel."),
        Opt("vessel", "VOLUME", "Next vessel, to the brim."),
        Opt("headspace", "VOLUME", "Room to leave; a hundredth when left out."),
        Opt("top_up", "WITH", "mead, water or 'honey water'."),
        Opt("top_gravity", "GRAVITY", "Of what tops it up."),
        Opt("top_alcohol", "ALCOHOL", "Of the mead that tops it up."),
        Opt("honey", "KIND", "In the honey water."), MOISTURE,
    )),
    "sulfite": Way(_S, "sulfite", "Sulfite for a molecular target.", (
        VOLUME, PH, ALCOHOL,
        Opt("temperature", "TEMPERATURE", "Of the mead, such as '20 C'."),
        Opt("molecular", "MG/L", "Target, 0.5 dry, 0.8 sweet or with sorbate."),
        Opt("free", "MG/L", "Free sulfur dioxide now, measured."),
        Opt("total", "MG/L", "Total sulfur dioxide now, measured."),
        Opt("binding", "PERCENT", "Share of an addition that gets bound."),
        RESIDUAL, Opt("salt", "KIND", "potassium or sodium."),
        Opt("strength", "PERCENT", "Sulfur dioxide your powder still gives, such as '57 %'."),
        Opt("stock", "PERCENT", "Stock solution, grams in 100 mL, such as '10 %'."),
        Opt("tablet", "MASS", "Metabisulfite in one tablet by its label, such as '0.44 g'."),
        Opt("ionic_strength", "NUMBER", "In mol/L, 0.038 when left out."), SCALE, PROFILE,
    )),
    "sorbate": Way(_S, "sorbate", "Sorbate by alcohol.", (
        VOLUME, ALCOHOL, PH,
        Opt("molecular", "MG/L", "Molecular sulfur dioxide it will have beside it."),
        Opt("sorbic", "MG/L", "Sorbic acid of an earlier addition."),
        Opt("malolactic", "", "Malolactic bacteria have worked, or may.", flag=True),
        Opt("fermenting", "", "It still ferments.", flag=True), SCALE, PROFILE,
    )),
    "sweeten": Way(_T, "sweeten_to", "Sweeten to a gravity, g/L or word.", (
        VOLUME, GRAVITY, ALCOHOL,
        Opt("to", "GOAL", "Gravity, g/L of sugar, or dry, medium, sweet, dessert."),
        Opt("with", "KIND", "honey (default), sugar, a juice or concentrate."),
        MOISTURE, BRIX, RESIDUAL,
        Opt("acidity", "G/L", "Titratable, as tartaric."), PH, *PROTECTED,
        Opt("glasses", "NUMBER", "In the bench trial."), SCALE, PROFILE,
    )),
    "acid": Way(_T, "acid", "Acid or carbonate, by acidity or pH.", (
        VOLUME,
        Opt("with", "KIND", "tartaric, malic, citric, lactic, potassium_bicarbonate, ..."),
        Opt("acidity", "G/L", "Titratable now, as tartaric."),
        Opt("to_acidity", "G/L", "Wanted."), PH, Opt("to_ph", "NUMBER", "Wanted."),
        Opt("buffer", "NUMBER", "In meq/L per pH."),
        Opt("titration", "'DOSE: PH'", "A glass, such as '0.5 g/L: 3.41'.", many=True),
        SCALE, PROFILE,
    )),
    "tannin": Way(_T, "tannin", "Tannin by taste.", (VOLUME, SCALE, PROFILE)),
    "fruit": Way(_T, "fruit", "Fruit or juice late: what it brings.", (
        VOLUME, GRAVITY, ALCOHOL, Opt("with", "KIND", "Such as raspberry."),
        Opt("amount", "MASS", "Such as '2 kg'."), BRIX, MOISTURE, RESIDUAL, *PROTECTED,
    )),
    "spice": Way(_T, "add_spice", "Spice by grams per litre, in thirds.", (
        VOLUME, Opt("with", "NAME", "Such as 'vanilla'."), Opt("dose", "G/L", "Such as '1 g/L'."),
    )),
    "blend": Way(_T, "blend", "Two to six lots to several targets.", (
        Opt("lot", "FACTS", "'name=old, volume=10 L, alcohol=14 %, gravity=1.012, acidity=5 g/L, "
            "so2=60 mg/L, price=3'; or 'batch=BATCH'.", many=True),
        Opt("target", "GOAL", "'alcohol=12 %' or 'gravity=1.008 to 1.012'.", many=True),
        Opt("volume", "VOLUME", "Wanted; the most there can be when left out."),
        Opt("cheapest", "", "Least cost instead of least deviation.", flag=True), PROFILE,
    )),
    "carbonate": Way(_P, "carbonate_to", "Priming sugar or keg pressure.", (
        VOLUME,
        Opt("temperature", "TEMPERATURE", "Warmest since the ferment ended.", many=True),
        Opt("co2_volumes", "NUMBER", "Volumes wanted."), Opt("co2", "G/L", "Or grams per litre."),
        Opt("pressure", "BAR", "Or bar above the air at 20 C."),
        Opt("sugar", "KIND", "sucrose, dextrose, honey or a juice."), MOISTURE, BRIX, ALCOHOL,
        Opt("residual_sugar", "G/L", "Sweetness left."),
        Opt("fermentable", "G/L", "Of it, what yeast could eat."),
        Opt("stabilised", "HOW", "If it was."),
        Opt("bottle", "KIND", "wine, beer, swing_top, sparkling, pet or keg."),
        Opt("limit", "BAR", "What your own bottle or keg bears, such as '3 bar'."),
        Opt("keg", "TEMPERATURE", "Gas in a keg at this temperature instead of sugar."),
        Opt("sparkling", "", "Meant to sparkle, where law has classes by gas.", flag=True),
        PROFILE,
    )),
    "bottle": Way(_P, "bottle_up", "Count, materials, label facts, label sheet.", (
        VOLUME, Opt("size", "SIZE", "'750 mL' or '375 mL x 12'.", many=True),
        Opt("loss", "VOLUME", "Left behind in filling."), ALCOHOL,
        Opt("so2", "MG/L", "Total sulfur dioxide."),
        Opt("name", "TEXT", "On the label."), Opt("kind", "TEXT", "Such as 'Honey wine'."),
        Opt("maker", "TEXT", "Who and where."), Opt("contents", "TEXT", "Of what, and allergens."),
        Opt("bottled", "DATE", "Today when left out."),
        Opt("sparkling", "", "Under pressure.", flag=True),
        Opt("co2", "G/L", "Gas it holds, such as '2 g/L'."), PROFILE,
    )),
}  # fmt: skip


def work(name: str, given: Mapping[str, Any], today: date | None = None) -> object:
    """Run the use case of one command; `today` is for a bottling without a day."""
    import importlib
    from datetime import date

    way = WAYS[name]
    use_case: Callable[..., object] = getattr(importlib.import_module(way.module), way.function)
    return use_case(given, today or date.today()) if name == "bottle" else use_case(given)
