"""The `finish` commands: from dry to a safe, stable bottle, one command for each thing done."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from mustwright.cli.sheets import print_answer, print_json
from mustwright.errors import InputError

if TYPE_CHECKING:
    from datetime import date


class Ask(NamedTuple):
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
    asks: tuple[Ask, ...]


VOLUME = Ask("volume", "VOLUME", "Of the mead, such as '19 L'.")
ALCOHOL = Ask("alcohol", "ALCOHOL", "Such as '12 %'.")
GRAVITY = Ask("gravity", "GRAVITY", "Such as 0.998, or '2 Bx'.")
PH = Ask("ph", "NUMBER", "Measured pH.")
SCALE = Ask("scale", "MASS", "What your scale can show, such as '0.1 g'.")
PROFILE = Ask("profile", "ID", "Law to keep to: home (default), us or eu.")
MOISTURE = Ask("moisture", "PERCENT", "Water in your honey, such as '17.5 %'.")
BRIX = Ask("brix", "BRIX", "Of your juice or fruit, such as '12 Bx'.")
RESIDUAL = Ask("residual_sugar", "G/L", "Sugar it holds now, such as '2 g/L'.")
PROTECTED = (
    Ask("stabilised", "HOW", "sulfite+sorbate, pasteurised, sterile-filtered, alcohol, or no."),
    Ask("tolerance", "ALCOHOL", "What the yeast reaches, such as '12 to 14 %'."),
    Ask("days_still", "DAYS", "Days gravity has stood still with sugar left."),
)
_S, _T, _P = (f"mustwright.services.finish.{name}" for name in ("protect", "taste", "pack"))

WAYS: dict[str, Way] = {
    "stable": Way(_S, "stable", "Is it done, and will it stay so?", (
        Ask("reading", "'DAY GRAVITY'", "Such as '2026-01-05 1.002' or '7 d: 1.002'.", many=True),
        Ask("original", "GRAVITY", "Of the must."),
        Ask("error", "NUMBER", "Error of the instrument, 0.001 when left out."),
        RESIDUAL, ALCOHOL, Ask("tolerance", "ALCOHOL", "Of the yeast, such as '12 to 14 %'."),
        Ask("yeast", "KIND", "Instead of a tolerance."),
        Ask("nitrogen", "MG/L", "Nitrogen left, such as '20 mg/L'."),
        Ask("sterile", "", "Pasteurised or filtered sterile.", flag=True),
    )),
    "rack": Way(_S, "rack_off", "What is left after racking, and topping up.", (
        VOLUME, GRAVITY, ALCOHOL,
        Ask("lees", "KIND", "gross_plain, gross_fruit, fine or fining."),
        Ask("by", "KIND", "siphon, pump, tap or gas."),
        Ask("lees_depth", "LENGTH", "Measured, such as '2 cm'."),
        Ask("diameter", "LENGTH", "Of the vessel."),
        Ask("vessel", "VOLUME", "Next vessel, to the brim."),
        Ask("headspace", "VOLUME", "Room to leave; a hundredth when left out."),
        Ask("top_up", "WITH", "mead, water or 'honey water'."),
        Ask("top_gravity", "GRAVITY", "Of what tops it up."),
        Ask("top_alcohol", "ALCOHOL", "Of the mead that tops it up."),
        Ask("honey", "KIND", "In the honey water."), MOISTURE,
    )),
    "sulfite": Way(_S, "sulfite", "Sulfite for a molecular target.", (
        VOLUME, PH, ALCOHOL,
        Ask("temperature", "TEMPERATURE", "Of the mead, such as '20 C'."),
        Ask("molecular", "MG/L", "Target, 0.5 dry, 0.8 sweet or with sorbate."),
        Ask("free", "MG/L", "Free sulfur dioxide now, measured."),
        Ask("total", "MG/L", "Total sulfur dioxide now, measured."),
        Ask("binding", "PERCENT", "Share of an addition that gets bound."),
        RESIDUAL, Ask("salt", "KIND", "potassium or sodium."),
        Ask("strength", "PERCENT", "Sulfur dioxide your powder still gives, such as '57 %'."),
        Ask("stock", "PERCENT", "Stock solution, grams in 100 mL, such as '10 %'."),
        Ask("tablet", "MASS", "Metabisulfite in one tablet by its label, such as '0.44 g'."),
        Ask("ionic_strength", "NUMBER", "In mol/L, 0.038 when left out."), SCALE, PROFILE,
    )),
    "sorbate": Way(_S, "sorbate", "Sorbate by alcohol.", (
        VOLUME, ALCOHOL, PH,
        Ask("molecular", "MG/L", "Molecular sulfur dioxide it will have beside it."),
        Ask("sorbic", "MG/L", "Sorbic acid of an earlier addition."),
        Ask("malolactic", "", "Malolactic bacteria have worked, or may.", flag=True),
        Ask("fermenting", "", "It still ferments.", flag=True), SCALE, PROFILE,
    )),
    "sweeten": Way(_T, "sweeten_to", "Sweeten to a gravity, g/L or word.", (
        VOLUME, GRAVITY, ALCOHOL,
        Ask("to", "GOAL", "Gravity, g/L of sugar, or dry, medium, sweet, dessert."),
        Ask("with", "KIND", "honey (default), sugar, a juice or concentrate."),
        MOISTURE, BRIX, RESIDUAL,
        Ask("acidity", "G/L", "Titratable, as tartaric."), PH, *PROTECTED,
        Ask("glasses", "NUMBER", "In the bench trial."), SCALE, PROFILE,
    )),
    "acid": Way(_T, "acid", "Acid or carbonate, by acidity or pH.", (
        VOLUME,
        Ask("with", "KIND", "tartaric, malic, citric, lactic, potassium_bicarbonate, ..."),
        Ask("acidity", "G/L", "Titratable now, as tartaric."),
        Ask("to_acidity", "G/L", "Wanted."), PH, Ask("to_ph", "NUMBER", "Wanted."),
        Ask("buffer", "NUMBER", "In meq/L per pH."),
        Ask("titration", "'DOSE: PH'", "A glass, such as '0.5 g/L: 3.41'.", many=True),
        SCALE, PROFILE,
    )),
    "tannin": Way(_T, "tannin", "Tannin by taste.", (VOLUME, SCALE, PROFILE)),
    "fruit": Way(_T, "fruit", "Fruit or juice late: what it brings.", (
        VOLUME, GRAVITY, ALCOHOL, Ask("with", "KIND", "Such as raspberry."),
        Ask("amount", "MASS", "Such as '2 kg'."), BRIX, MOISTURE, RESIDUAL, *PROTECTED,
    )),
    "spice": Way(_T, "add_spice", "Spice by grams per litre, in thirds.", (
        VOLUME, Ask("with", "NAME", "Such as 'vanilla'."), Ask("dose", "G/L", "Such as '1 g/L'."),
    )),
    "blend": Way(_T, "blend", "Two to six lots to several targets.", (
        Ask("lot", "FACTS", "'name=old, volume=10 L, alcohol=14 %, gravity=1.012, acidity=5 g/L, "
            "so2=60 mg/L, price=3'; or 'batch=BATCH'.", many=True),
        Ask("target", "GOAL", "'alcohol=12 %' or 'gravity=1.008 to 1.012'.", many=True),
        Ask("volume", "VOLUME", "Wanted; the most there can be when left out."),
        Ask("cheapest", "", "Least cost instead of least deviation.", flag=True), PROFILE,
    )),
    "carbonate": Way(_P, "carbonate_to", "Priming sugar or keg pressure.", (
        VOLUME,
        Ask("temperature", "TEMPERATURE", "Warmest since the ferment ended.", many=True),
        Ask("co2_volumes", "NUMBER", "Volumes wanted."), Ask("co2", "G/L", "Or grams per litre."),
        Ask("pressure", "BAR", "Or bar above the air at 20 C."),
        Ask("sugar", "KIND", "sucrose, dextrose, honey or a juice."), MOISTURE, BRIX, ALCOHOL,
        Ask("residual_sugar", "G/L", "Sweetness left."),
        Ask("fermentable", "G/L", "Of it, what yeast could eat."),
        Ask("stabilised", "HOW", "If it was."),
        Ask("bottle", "KIND", "wine, beer, swing_top, sparkling, pet or keg."),
        Ask("limit", "BAR", "What your own bottle or keg bears, such as '3 bar'."),
        Ask("keg", "TEMPERATURE", "Gas in a keg at this temperature instead of sugar."),
        Ask("sparkling", "", "Meant to sparkle, where law has classes by gas.", flag=True),
        PROFILE,
    )),
    "bottle": Way(_P, "bottle_up", "Count, materials, label facts, label sheet.", (
        VOLUME, Ask("size", "SIZE", "'750 mL' or '375 mL x 12'.", many=True),
        Ask("loss", "VOLUME", "Left behind in filling."), ALCOHOL,
        Ask("so2", "MG/L", "Total sulfur dioxide."),
        Ask("name", "TEXT", "On the label."), Ask("kind", "TEXT", "Such as 'Honey wine'."),
        Ask("maker", "TEXT", "Who and where."), Ask("contents", "TEXT", "Of what, and allergens."),
        Ask("bottled", "DATE", "Today when left out."),
        Ask("sparkling", "", "Under pressure.", flag=True),
        Ask("co2", "G/L", "Gas it holds, such as '2 g/L'."), PROFILE,
    )),
}  # fmt: skip


@click.group("finish", context_settings={"help_option_names": ["-h", "--help"]})
def finish_command() -> None:
    """From dry to a safe, stable bottle: each thing done is a command."""


def work(name: str, given: Mapping[str, Any], today: date | None = None) -> object:
    """Run the use case of one command; `today` is for a bottling without a day."""
    import importlib
    from datetime import date

    way = WAYS[name]
    use_case: Callable[..., object] = getattr(importlib.import_module(way.module), way.function)
    return use_case(given, today or date.today()) if name == "bottle" else use_case(given)


def _command(name: str, way: Way) -> click.Command:
    def callback(**typed: Any) -> None:
        explain, as_json = typed.pop("explain"), typed.pop("as_json")
        sheet = {key: typed.pop(key, None) for key in ("labels", "link", "page")}
        wish = {key: typed.pop(key) for key in ("batch", "record", "used", "at", "note")}
        given = {a.field: typed[f"ask_{a.field}"] for a in way.asks}

        def finish(result: object, more: Mapping[str, Any] | None = None) -> None:
            if sheet["labels"]:
                write_labels(result, sheet["labels"], sheet["link"] or "", sheet["page"] or "a4")
            _show(result, explain, as_json, more or {})

        if wish["batch"] is None and not any(wish[key] for key in ("record", "used", "at", "note")):
            finish(work(name, given))
            return
        from mustwright.cli.finish_batch import for_batch

        for_batch(name, given, wish, finish, as_json)

    options: list[click.Parameter] = []
    for ask in way.asks:
        declared = [f"--{ask.field.replace('_', '-')}", f"ask_{ask.field}"]
        if ask.flag:
            options.append(click.Option(declared, is_flag=True, help=ask.help))
        else:
            options.append(
                click.Option(declared, metavar=ask.metavar, help=ask.help, multiple=ask.many)
            )
    if name == "bottle":
        options += [
            click.Option(["--labels"], metavar="FILE.pdf", help="Write a sheet of labels."),
            click.Option(["--link"], metavar="ADDRESS", help="QR code on each label."),
            click.Option(["--page"], metavar="SIZE", help="Of the sheet: a4 or letter."),
        ]
    options += [
        click.Option(
            ["--batch"], metavar="BATCH", help="Start from this batch's own numbers; its lot code."
        ),
        click.Option(["--record"], is_flag=True, help="It is done: write it into the batch."),
        click.Option(
            ["--used"],
            metavar="AMOUNT",
            multiple=True,
            help="What was really used, where it differs: '0.9 g', or NAME=AMOUNT.",
        ),
        click.Option(["--at"], metavar="WHEN", help="When it was done; now when left out."),
        click.Option(["--note"], help="A few words for the log."),
        click.Option(["--explain"], is_flag=True, help="Show how every figure came about."),
        click.Option(["--json", "as_json"], is_flag=True, help="Print one JSON object."),
    ]
    return click.Command(name, params=options, callback=callback, help=way.help)


for _name, _way in WAYS.items():
    finish_command.add_command(_command(_name, _way))


def _show(result: object, explain: bool, as_json: bool, more: Mapping[str, Any]) -> None:
    from mustwright.services.finish.report import step_data, step_working

    if as_json:
        print_json({**step_data(result, explain), **more})
        return
    from mustwright.cli.finish_text import step_lines

    print_answer(step_lines(result), (lambda: step_working(result)) if explain else None)


def write_labels(result: Any, path: str, link: str, page: str) -> None:
    """Write the label sheet of a bottling to a file.

    Raises
    ------
    InputError
        When there is nothing to label or the file cannot be written.
    """
    from mustwright.services.finish.pack import labels_pdf

    pdf = labels_pdf(result, link, page)
    try:
        Path(path).write_bytes(pdf)
    except OSError as error:
        raise InputError("labels", "needs a file that can be written", error.strerror) from None
