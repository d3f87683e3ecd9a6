"""What does no protocol change: the must mixed and credited, the pitch, and what to mind."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from mustwright.errors import validity_notes
from mustwright.figure import ARITHMETIC, ASSUMED, FROM_MEMORY, TYPED, Figure, source_words
from mustwright.kinetics.house_prior import HousePrior
from mustwright.must.blend import (
    PRIMARY,
    Blend,
    MustFigures,
    Portion,
    measured_figures,
    must_figures,
    with_fermentable,
)
from mustwright.must.gravity import gravity_from_brix
from mustwright.must.gravity_text import brix_sign, gravity_text
from mustwright.nutrition.choose import FRUIT_FORMS
from mustwright.nutrition.credits import Credit, credit_measured, credit_of
from mustwright.nutrition.feeding_plan import Setting
from mustwright.nutrition.shelf import Nutrient
from mustwright.planning.field_words import note_in_words
from mustwright.planning.mix import mix
from mustwright.planning.sheet import Measured, Sheet, read_sheet
from mustwright.texts import literal, say
from mustwright.unit_system import METRIC, UnitSystem, degrees, degrees_number, units_of
from mustwright.yeast.pitch import Pitch, plan_pitch

KEPT = 128  # musts; solving one is most of what a plan costs
PER_LITRE_VOLUME_L = 1.0
MUCH_YEAST_G_L = 1.0
FRUIT_SHARE = 0.05  # of the must's mass; below it fruit is flavour and not a fruit must
MEASURED_DIFFERENCE_BRIX = 0.5


@dataclass(frozen=True)
class IngredientLine:
    """One line of what to mix."""

    kind: str
    name: str
    kg: Figure
    litres: Figure
    stage: str
    origin: str


@dataclass(frozen=True)
class MustResult:
    """The must as the maker reads it."""

    volume_l: Figure
    gravity: Figure
    brix: Figure
    sugar_g_l: Figure
    fermentable_sugar_g_l: Figure
    potential_alcohol_pct: Figure
    dry_gravity: Figure
    density_kg_m3: Figure
    glucose_share: Figure
    filled_l: Figure
    temperature_c: float
    ph: float | None
    ingredients: tuple[IngredientLine, ...]


@dataclass(frozen=True)
class Ground:
    """Everything about a sheet that no protocol changes.

    Parameters
    ----------
    house : HousePrior or None
        What the maker's finished batches say of such a fermentation; None where there are none.
    units : UnitSystem
        In which its amounts are said.
    """

    sheet: Sheet
    must: MustResult
    setting: Setting
    fruit: bool
    primary: tuple[Portion, ...]
    warnings: tuple[str, ...]
    house: HousePrior | None = None
    units: UnitSystem = METRIC


def ground_of(text: str, name: str) -> Ground:
    """The ground of a sheet's text, with every formula that left its range among the warnings."""
    return _ground(text, name, units_of(text))


@lru_cache(maxsize=KEPT)
def _ground(text: str, name: str, units: UnitSystem) -> Ground:
    with validity_notes() as outside:
        ground = lay_ground(read_sheet(text, name), units)
    return replace(ground, warnings=(*ground.warnings, *outside))


def lay_ground(sheet: Sheet, units: UnitSystem = METRIC) -> Ground:
    """Mix the must, credit it, and work out the pitch; `units` are those its sentences use."""
    warnings = [note_in_words(note) for note in sheet.assumptions]
    primary = [p for p in sheet.portions if p.stage == PRIMARY]
    if primary:
        blend: Blend | None = mix(sheet)
        assert blend is not None
        figures, credit = must_figures(blend), credit_of(blend)
    else:
        blend = None
        figures, credit = _measured_must(sheet, warnings), None
    figures = _as_measured(figures, sheet.measured, warnings)
    credit = _credit(credit, sheet.measured, warnings)
    jar = sheet.shelf.for_rehydration
    most, held = _most_rehydration_g(sheet, jar, figures.volume_l.value)
    pitch = plan_pitch(
        sheet.strain,
        sheet.yeast_g,
        figures.volume_l,
        figures.brix,
        sheet.temperature_c,
        jar.name if jar else None,
        most,
        units,
    )
    setting = Setting(
        figures,
        credit,
        sheet.strain,
        pitch,
        sheet.shelf,
        sheet.profile,
        sheet.temperature_c,
        sheet.labels_advise,
        sheet.follow_author,
    )
    warnings.extend(_cautions(sheet, figures, pitch, units))
    warnings.extend(_rehydration_notes(sheet, pitch, held))
    fruit = blend is not None and _is_fruit_must(blend)
    must = _must_result(sheet, figures, blend)
    mixed = tuple(blend.portions) if blend else ()
    return Ground(sheet, must, setting, fruit, mixed, tuple(dict.fromkeys(warnings)), units=units)


def _is_fruit_must(blend: Blend) -> bool:
    """Whether fruit or juice is a real part of the must."""
    fruit = sum(p.kg for p in blend.portions if p.ingredient.form in FRUIT_FORMS)
    return fruit > FRUIT_SHARE * sum(p.kg for p in blend.portions)


def _most_rehydration_g(
    sheet: Sheet, jar: Nutrient | None, volume_l: float
) -> tuple[float | None, str]:
    """Grams of the rehydration nutrient that stock, label and law allow, and which of them.

    As in a feed, the label typed counts, and where none is typed the usual one.
    """
    if jar is None:
        return None, ""
    ends: list[tuple[float, str]] = []
    if jar.stock_g is not None:
        ends.append(
            (
                jar.stock_g,
                say(
                    "the shelf holds {grams:g} g of {jar}",
                    grams=jar.stock_g,
                    jar=jar.name,
                ),
            )
        )
    label = jar.label_max_g_l
    if label is not None:
        allows = (
            literal("the label of {jar} allows {most:g} g/L ({source})")
            if label.source == TYPED
            else literal("the usual label of {jar} allows {most:g} g/L ({source})")
        )
        words = allows.format(jar=jar.name, most=label.value, source=source_words(label.source))
        ends.append((label.value * volume_l, words))
    for limit in sheet.profile.limits:
        part = limit.fraction_in(jar)
        if part > 0:
            words = say(
                "{profile} allows {most:g} g/L of {substance} ({source})",
                profile=sheet.profile.name,
                most=limit.max_g_l,
                substance=limit.name,
                source=limit.source,
            )
            ends.append((limit.max_g_l / part * volume_l, words))
    return min(ends, default=(None, ""), key=lambda end: end[0] or 0.0)


def _rehydration_notes(sheet: Sheet, pitch: Pitch, held: str) -> list[str]:
    """Where the rehydration nutrient is held back, or unfit for its use."""
    found: list[str] = [
        say(
            "{nutrient} holds ammonium, which harms yeast during rehydration: it is "
            "not used in the rehydration water.",
            nutrient=n.name,
        )
        for n in sheet.shelf.nutrients
        if n.use == "rehydration" and n.per_gram("ammonium_n") > 0
    ]
    given = pitch.rehydration_nutrient_g
    wanted = given.inputs.get("wanted_g")
    if isinstance(wanted, Figure):
        found.append(
            say(
                "{grams:.1f} g of rehydration nutrient are needed, but {limit}.",
                grams=wanted.value,
                limit=held,
            )
        )
    return found


def _measured_must(sheet: Sheet, warnings: list[str]) -> MustFigures:
    """A must known by measurement alone."""
    volume = sheet.target.volume_l
    if volume is None:
        figure = Figure(
            PER_LITRE_VOLUME_L, "L", say("no volume given: amounts are per litre"), ASSUMED
        )
        warnings.append(say("Volume: not given, so amounts are for one litre"))
    else:
        figure = Figure(volume, "L", say("as typed"), TYPED)
    assert sheet.measured.brix is not None
    return measured_figures(figure, *_measured_scales(sheet.measured.brix))


def _measured_scales(brix: float) -> tuple[Figure, Figure]:
    value = Figure(brix, "Brix", say("measured"), TYPED)
    gravity = Figure(
        float(gravity_from_brix(brix)),
        "SG 20/20",
        say("apparent gravity of this Brix"),
        "NBS1942",
        {"brix": value},
    )
    return value, gravity


def _as_measured(figures: MustFigures, measured: Measured, warnings: list[str]) -> MustFigures:
    """A mixed must with its gravity as measured: sugars scale with it."""
    if measured.brix is None or figures.brix.source == TYPED:
        return figures
    off = measured.brix - figures.brix.value
    if abs(off) > MEASURED_DIFFERENCE_BRIX:
        warnings.append(
            (
                literal(
                    "measured gravity is {brix:.1f} {sign} above what the amounts give: the "
                    "measured one is used; check the mixing and the weights"
                )
                if off > 0
                else literal(
                    "measured gravity is {brix:.1f} {sign} below what the amounts give: the "
                    "measured one is used; check the mixing and the weights"
                )
            ).format(brix=abs(off), sign=brix_sign())
        )
    taken = measured_figures(figures.volume_l, *_measured_scales(measured.brix))
    part = figures.fermentable_sugar_g_l.value / max(figures.sugar_g_l.value, 1e-9)
    factor = taken.sugar_g_l.value / max(figures.sugar_g_l.value, 1e-9)
    old = figures.fermentable_sugar_g_l
    fermentable = Figure(
        part * taken.sugar_g_l.value,
        "g/L",
        say("measured sugar x fermentable share of the mix"),
        ARITHMETIC,
        {"sugar": taken.sugar_g_l, "share": part},
        None if old.low is None else old.low * factor,
        None if old.high is None else old.high * factor,
    )
    return replace(with_fermentable(taken, fermentable), glucose_share=figures.glucose_share)


def _credit(reckoned: Credit | None, measured: Measured, warnings: list[str]) -> Credit:
    if measured.yan_mg_l is not None:
        return credit_measured(measured.yan_mg_l, reckoned)
    if reckoned is None:
        warnings.append(
            say("Measured nitrogen (YAN): not given, so the must is assumed to hold no nitrogen")
        )
        return credit_measured(0.0, None)
    return reckoned


def _cautions(sheet: Sheet, figures: MustFigures, pitch: Pitch, units: UnitSystem) -> list[str]:
    found: list[str] = []
    tolerance = sheet.strain.alcohol_tolerance_pct
    potential = figures.potential_alcohol_pct.value
    if potential > tolerance.value:
        found.append(
            say(
                "Potential alcohol {potential:.1f} % is above the {limit:g} % "
                "this yeast ({strain}) usually reaches: expect some sugar to be left.",
                potential=potential,
                limit=tolerance.value,
                strain=sheet.strain.name.lower(),
            )
        )
    low, high = sheet.strain.temperature_low_c, sheet.strain.temperature_high_c
    if not low <= sheet.temperature_c <= high:
        found.append(
            say(
                "{temperature} is outside the usual {low} to {high} of this yeast ({strain}).",
                temperature=degrees(sheet.temperature_c, units),
                low=degrees_number(low, units, 0),
                high=degrees(high, units, 0),
                strain=sheet.strain.name.lower(),
            )
        )
    if figures.brix.value > 30:
        found.append(
            say(
                "Above 30 {sign} sugar itself slows yeast: the risk of a stuck ferment rises.",
                sign=brix_sign(),
            )
        )
    usual = pitch.yeast_g_l.value
    if usual < 0.1:
        found.append(
            say(
                "Only {rate:.2g} g/L of yeast: a slow start; 0.2 g/L or more is usual.",
                rate=usual,
            )
        )
    if usual > MUCH_YEAST_G_L:
        found.append(
            say("{rate:.1f} g/L of yeast is far above the usual 0.2 to 0.5. Check it.", rate=usual)
        )
    found.extend(_finish_notes(sheet, figures))
    found.extend(_class_notes(sheet, figures))
    return found


def _finish_notes(sheet: Sheet, figures: MustFigures) -> list[str]:
    """A sweet finish is not a property of the must: what would have to stop it there."""
    finish, alcohol = sheet.target.finish_gravity, sheet.target.alcohol_pct
    potential = figures.potential_alcohol_pct.value
    if finish is None or alcohol is None or potential < alcohol + 0.5:
        return []
    return [
        say(
            "This must has sugar for {potential:.1f} %. It ends at {alcohol:g} % and "
            "{gravity} only if the yeast stops there or you stop it. It is "
            "safer to ferment a weaker must dry, then stabilise and sweeten it.",
            potential=potential,
            alcohol=alcohol,
            gravity=gravity_text(finish),
        )
    ]


def _class_notes(sheet: Sheet, figures: MustFigures) -> list[str]:
    """Where the must leaves a legal class of drink the profile knows."""
    values = {
        "brix_before": figures.brix.value,
        "alcohol_after": figures.potential_alcohol_pct.value,
    }
    found: list[str] = []
    for bound in sheet.profile.class_limits:
        value = values.get(bound.quantity)
        below = value is not None and bound.low is not None and value < bound.low
        above = value is not None and bound.high is not None and value > bound.high
        if below or above:
            found.append(
                say(
                    "{profile}: {statement} This must: {amount:.1f} {unit} ({source}).",
                    profile=sheet.profile.name,
                    statement=bound.statement,
                    amount=value,
                    unit=bound.unit,
                    source=bound.source,
                )
            )
    return found


def _must_result(sheet: Sheet, figures: MustFigures, blend: Blend | None) -> MustResult:
    lines = []
    solved = {id(p.ingredient): p for p in (blend.portions if blend else ())}
    for typed in sheet.portions:
        portion = solved.get(id(typed.ingredient), typed)
        if typed.origin == "typed":
            portion = typed
        inputs: dict[str, Figure | float | str] = {}
        if portion.origin != "typed":
            inputs = {"gravity": figures.gravity, "volume_l": figures.volume_l}
        kg = Figure(
            portion.kg,
            "kg",
            {
                "typed": say("as typed"),
                "solve": say("mass balance: sugar and volume both met"),
                "fill": say("mass balance: what fills the volume"),
            }[portion.origin],
            TYPED if portion.origin == "typed" else ARITHMETIC,
            inputs,
        )
        litres = Figure(
            portion.litres,
            "L",
            say("mass / density as measured out"),
            ARITHMETIC,
            {"kg": kg, "density_kg_l": portion.ingredient.density_kg_l},
        )
        lines.append(
            IngredientLine(
                portion.kind, portion.ingredient.name, kg, litres, portion.stage, portion.origin
            )
        )
    filled = blend.filled_l if blend else figures.volume_l.value
    filled_figure = Figure(
        filled,
        "L",
        say("volume + fruit solids / 1.35 kg per L"),
        FROM_MEMORY,
        {"volume_l": figures.volume_l, "solids_kg": blend.insoluble_kg if blend else 0.0},
    )
    return MustResult(
        figures.volume_l,
        figures.gravity,
        figures.brix,
        figures.sugar_g_l,
        figures.fermentable_sugar_g_l,
        figures.potential_alcohol_pct,
        figures.dry_gravity,
        figures.density_kg_m3,
        figures.glucose_share,
        filled_figure,
        sheet.temperature_c,
        sheet.measured.ph,
        tuple(lines),
    )
