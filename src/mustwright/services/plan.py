"""Plan a must: what to mix, how to pitch, what to feed when, by one protocol or by all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from scipy.optimize import brentq

from mustwright.errors import ImpossibleError, InputError, validity_notes
from mustwright.must.blend import PRIMARY, Blend, MustFigures, measured_figures, must_figures
from mustwright.must.gravity import gravity_from_brix
from mustwright.must.solve import Wanted, solve_amounts
from mustwright.nutrition.choose import FRUIT_FORMS, Verdict, best, judge
from mustwright.nutrition.credits import Credit, credit_measured, credit_of
from mustwright.nutrition.limits import LegalProfile
from mustwright.nutrition.plan import FeedingPlan, Setting, plan_feeding
from mustwright.nutrition.protocols import Protocol, built_in_protocols, protocol_called
from mustwright.services.sheet import Measured, Sheet, read_sheet
from mustwright.working import ARITHMETIC, ASSUMED, TYPED, Figure
from mustwright.yeast.pitch import Pitch, Strain, plan_pitch

PER_LITRE_VOLUME_L = 1.0
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
    """Everything about a sheet that no protocol changes."""

    sheet: Sheet
    must: MustResult
    setting: Setting
    fruit: bool
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class PlanResult:
    """A plan by one protocol.

    Parameters
    ----------
    why : tuple of str
        Why this protocol, when the tool chose it; else what speaks for it.
    """

    name: str
    must: MustResult
    pitch: Pitch
    strain: Strain
    profile: LegalProfile
    plan: FeedingPlan
    chosen: bool
    verdict: Verdict
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Comparison:
    """Several protocols on one must, and the one that suits best."""

    name: str
    must: MustResult
    pitch: Pitch
    strain: Strain
    profile: LegalProfile
    plans: tuple[FeedingPlan, ...]
    verdicts: tuple[Verdict, ...]
    suits_best: str
    warnings: tuple[str, ...]


def plan(
    text: str,
    protocol: str | None = None,
    own: Mapping[str, Protocol] | None = None,
    name: str = "must",
) -> PlanResult:
    """Plan the must of a sheet.

    Parameters
    ----------
    text : str
        The sheet, TOML.
    protocol : str or None
        Id of a protocol; None picks the one that suits best.
    own : mapping of str to Protocol or None
        The maker's own protocols, by id.
    name : str
        For a sheet that names itself not.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    own = own or {}
    ground = _ground_of(text, name)
    if protocol is not None:
        chosen = protocol_called(protocol, own)
        feeding = plan_feeding(ground.setting, chosen)
        return _result(ground, feeding, judge(feeding, chosen, ground.setting, ground.fruit), False)
    comparison = _compare(ground, [*built_in_protocols().values(), *_not_built_in(own)])
    index = [p.protocol for p in comparison.plans].index(comparison.suits_best)
    return _result(ground, comparison.plans[index], comparison.verdicts[index], True)


def compare(
    text: str,
    protocols: Sequence[str] | None = None,
    own: Mapping[str, Protocol] | None = None,
    name: str = "must",
) -> Comparison:
    """Plan the must of a sheet by several protocols (all of them when none are named)."""
    own = own or {}
    ground = _ground_of(text, name)
    if protocols is None:
        chosen = [*built_in_protocols().values(), *_not_built_in(own)]
    else:
        chosen = [protocol_called(identity, own) for identity in dict.fromkeys(protocols)]
        if not chosen:
            raise InputError("protocol", "needs at least one protocol to compare", "none")
    return _compare(ground, chosen)


def _not_built_in(own: Mapping[str, Protocol]) -> list[Protocol]:
    return list(own.values())


def _result(ground: Ground, feeding: FeedingPlan, verdict: Verdict, chosen: bool) -> PlanResult:
    return PlanResult(
        ground.sheet.name,
        ground.must,
        ground.setting.pitch,
        ground.setting.strain,
        ground.setting.profile,
        feeding,
        chosen,
        verdict,
        (*ground.warnings, *feeding.warnings),
    )


def _compare(ground: Ground, chosen: Sequence[Protocol]) -> Comparison:
    plans = tuple(plan_feeding(ground.setting, one) for one in chosen)
    verdicts = tuple(
        judge(p, one, ground.setting, ground.fruit) for p, one in zip(plans, chosen, strict=True)
    )
    return Comparison(
        ground.sheet.name,
        ground.must,
        ground.setting.pitch,
        ground.setting.strain,
        ground.setting.profile,
        plans,
        verdicts,
        plans[best(verdicts)].protocol,
        ground.warnings,
    )


def _ground_of(text: str, name: str) -> Ground:
    """The ground of a sheet's text, with every formula that left its range among the warnings."""
    with validity_notes() as outside:
        ground = lay_ground(read_sheet(text, name))
    return replace(ground, warnings=(*ground.warnings, *outside))


def lay_ground(sheet: Sheet) -> Ground:
    """Mix the must, credit it, and work out the pitch."""
    warnings = list(sheet.assumptions)
    primary = [p for p in sheet.portions if p.stage == PRIMARY]
    if primary:
        blend: Blend | None = _mix(sheet)
        assert blend is not None
        figures, credit = must_figures(blend), credit_of(blend)
    else:
        blend = None
        figures, credit = _measured_must(sheet, warnings), None
    figures = _as_measured(figures, sheet.measured, warnings)
    credit = _credit(credit, sheet.measured, warnings)
    jar = sheet.shelf.for_rehydration
    pitch = plan_pitch(
        sheet.strain,
        sheet.yeast_g,
        figures.volume_l,
        figures.brix,
        sheet.temperature_c,
        jar.name if jar else None,
    )
    setting = Setting(
        figures, credit, sheet.strain, pitch, sheet.shelf, sheet.profile, sheet.temperature_c
    )
    warnings.extend(_cautions(sheet, figures, pitch, jar.stock_g if jar else None))
    fruit = blend is not None and any(
        p.ingredient.form in FRUIT_FORMS
        and p.kg * p.ingredient.dissolved > 0.05 * blend.dissolved_kg
        for p in blend.portions
    )
    must = _must_result(sheet, figures, blend)
    return Ground(sheet, must, setting, fruit, tuple(dict.fromkeys(warnings)))


def _mix(sheet: Sheet) -> Blend:
    """Solve the amounts of what goes in before pitching."""
    chosen = [
        (p, part) for p, part in zip(sheet.portions, sheet.parts, strict=True) if p.stage == PRIMARY
    ]
    portions, parts = [p for p, _ in chosen], [part for _, part in chosen]
    target = sheet.target
    if target.alcohol_pct is None:
        return solve_amounts(portions, parts, Wanted(target.volume_l, target.brix))
    return _mix_for_alcohol(sheet, portions, parts)


def _mix_for_alcohol(sheet: Sheet, portions: list, parts: list) -> Blend:  # type: ignore[type-arg]
    """The must whose mead has the wanted alcohol when it stops at the wanted gravity."""
    target = sheet.target
    assert target.alcohol_pct is not None

    def mixed(brix: float) -> Blend:
        return solve_amounts(portions, parts, Wanted(target.volume_l, brix))

    def excess(brix: float) -> float:
        blend = mixed(brix)
        finish = target.finish_gravity
        if finish is not None and finish >= blend.gravity:
            return -target.alcohol_pct  # type: ignore[operator]
        if finish is not None and finish < blend.fermented().gravity:
            raise ImpossibleError(
                "must.finish",
                "is below where this must ends when all its sugar is gone: lowest "
                f"is {blend.fermented().gravity:.3f}",
                f"{finish:.3f}",
            )
        return blend.fermented(finish).ethanol_pct_vol - target.alcohol_pct  # type: ignore[operator]

    low, high = _brix_bracket(target.alcohol_pct, target.finish_gravity)
    while high > low + 0.5:
        try:
            top = excess(high)
            break
        except ImpossibleError as error:
            if error.field == "must.finish":
                raise
            high -= 0.5
    else:
        mixed(high)
        raise ImpossibleError(
            "must.alcohol", "cannot be reached with these ingredients", f"{target.alcohol_pct:g} %"
        )
    if top < 0:
        raise ImpossibleError(
            "must.alcohol",
            f"cannot be reached: these ingredients give at most {top + target.alcohol_pct:.1f} %",
            f"{target.alcohol_pct:g} %",
        )
    return mixed(float(brentq(excess, low, high, xtol=1e-9)))


def _brix_bracket(alcohol_pct: float, finish: float | None) -> tuple[float, float]:
    """Brix between which the wanted must lies."""
    low = 0.9 * alcohol_pct
    if finish is not None:
        low = max(low, 0.0)
    high = min(3.4 * alcohol_pct + 12.0 + (0 if finish is None else max(finish - 1, 0) * 260), 60.0)
    return low, high


def _measured_must(sheet: Sheet, warnings: list[str]) -> MustFigures:
    """A must known by measurement alone."""
    volume = sheet.target.volume_l
    if volume is None:
        figure = Figure(PER_LITRE_VOLUME_L, "L", "no volume given: amounts are per litre", ASSUMED)
        warnings.append("must.volume: not given, so amounts are for one litre")
    else:
        figure = Figure(volume, "L", "as typed", TYPED)
    assert sheet.measured.brix is not None
    return measured_figures(figure, *_measured_scales(sheet.measured.brix))


def _measured_scales(brix: float) -> tuple[Figure, Figure]:
    value = Figure(brix, "Brix", "measured", TYPED)
    gravity = Figure(
        float(gravity_from_brix(brix)),
        "SG 20/20",
        "apparent gravity of this Brix",
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
            f"measured gravity is {abs(off):.1f} Brix {'above' if off > 0 else 'below'} what the "
            "amounts give: the measured one is used; check the mixing and the weights"
        )
    taken = measured_figures(figures.volume_l, *_measured_scales(measured.brix))
    part = figures.fermentable_sugar_g_l.value / figures.sugar_g_l.value
    factor = taken.sugar_g_l.value / figures.sugar_g_l.value
    old = figures.fermentable_sugar_g_l
    fermentable = Figure(
        part * taken.sugar_g_l.value,
        "g/L",
        "measured sugar x fermentable share of the mix",
        ARITHMETIC,
        {"sugar": taken.sugar_g_l, "share": part},
        None if old.low is None else old.low * factor,
        None if old.high is None else old.high * factor,
    )
    alcohol = replace(
        figures.potential_alcohol_pct,
        value=figures.potential_alcohol_pct.value * factor,
        formula="of the mix x measured sugar / sugar of the mix",
        inputs={"of_the_mix": figures.potential_alcohol_pct, "factor": factor},
    )
    return replace(
        taken,
        fermentable_sugar_g_l=fermentable,
        potential_alcohol_pct=alcohol,
        dry_gravity=figures.dry_gravity,
        glucose_share=figures.glucose_share,
    )


def _credit(reckoned: Credit | None, measured: Measured, warnings: list[str]) -> Credit:
    if measured.yan_mg_l is not None:
        return credit_measured(measured.yan_mg_l, reckoned)
    if reckoned is None:
        warnings.append(
            "measured.yan_mg_l: not given, so the must is taken to bring no nitrogen at all"
        )
        return credit_measured(0.0, None)
    return reckoned


def _cautions(
    sheet: Sheet, figures: MustFigures, pitch: Pitch, rehydration_stock_g: float | None
) -> list[str]:
    found = []
    tolerance = sheet.strain.alcohol_tolerance_pct
    potential = figures.potential_alcohol_pct.value
    if potential > tolerance.value:
        found.append(
            f"Potential alcohol {potential:.1f} % is above the {tolerance.value:g} % this yeast "
            f"({sheet.strain.name.lower()}) usually bears: expect sugar to be left."
        )
    low, high = sheet.strain.temperature_low_c, sheet.strain.temperature_high_c
    if not low <= sheet.temperature_c <= high:
        found.append(
            f"{sheet.temperature_c:g} C is outside the usual {low:g} to {high:g} C of this yeast "
            f"({sheet.strain.name.lower()})."
        )
    if figures.brix.value > 30:
        found.append("Above 30 Brix sugar itself slows yeast: the risk of a stuck ferment rises.")
    needed = pitch.rehydration_nutrient_g.value
    if rehydration_stock_g is not None and needed > rehydration_stock_g:
        found.append(
            f"The shelf holds {rehydration_stock_g:g} g of rehydration nutrient; "
            f"{needed:.1f} g are wanted."
        )
    usual = pitch.yeast_g_l.value
    if usual < 0.1:
        found.append(f"Only {usual:.2f} g/L of yeast: a slow start; 0.2 g/L or more is usual.")
    found.extend(_class_notes(sheet, figures))
    return found


def _class_notes(sheet: Sheet, figures: MustFigures) -> list[str]:
    """Where the must leaves a legal class of drink the profile knows."""
    values = {
        "brix_before": figures.brix.value,
        "alcohol_after": figures.potential_alcohol_pct.value,
    }
    found = []
    for bound in sheet.profile.class_limits:
        value = values.get(bound.quantity)
        below = value is not None and bound.low is not None and value < bound.low
        above = value is not None and bound.high is not None and value > bound.high
        if below or above:
            found.append(
                f"{sheet.profile.name}: {bound.statement} This must: {value:.1f} "
                f"{bound.unit} ({bound.source})."
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
                "typed": "as typed",
                "solve": "mass balance: sugar and volume both met",
                "fill": "mass balance: what fills the volume",
            }[portion.origin],
            TYPED if portion.origin == "typed" else ARITHMETIC,
            inputs,
        )
        litres = Figure(
            portion.litres,
            "L",
            "mass / density as measured out",
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
        "volume + fruit solids / 1.35 kg per L",
        "from memory",
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
