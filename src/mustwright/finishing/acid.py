"""How much acid or carbonate, by titration or by pH, with the bench trial that decides."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from mustwright.constants import CO2_L_PER_MOL_20C
from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.finishing.acid_chemistry import (
    TARTARIC_G_EQ,
    equivalent_mass,
    protons_given,
    substance_called,
)
from mustwright.finishing.acid_law import AcidBound, acid_bounds, acid_law_words, refuse_ph
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.liquid import MOST_LITRES
from mustwright.finishing.step import (
    Addition,
    Recorded,
    cautions,
    finishing_data,
    published,
    within,
)
from mustwright.finishing.trial import BenchTrial, bench_trial
from mustwright.texts import say
from mustwright.weighing import down_to_step, first_half

MOST_CHANGE_G_L = 10.0
STEP_DOWN_G_L = 0.5


@dataclass(frozen=True)
class AcidAsk:
    """The mead and the goal: a titratable acidity as tartaric, or a pH.

    Parameters
    ----------
    volume_l : float
        The mead [L].
    substance : str
        Id of an acid or a base.
    acidity_g_l, to_acidity_g_l : float or None
        Titratable acidity as tartaric now and wanted [g/L].
    ph, to_ph : float or None
        Now and wanted.
    buffer_meq_l : float or None
        Acid or base that moves a litre by one pH unit [meq/L]; from a bench titration.
    scale_g : float
        What the scale can show [g].
    """

    volume_l: float
    substance: str
    acidity_g_l: float | None = None
    to_acidity_g_l: float | None = None
    ph: float | None = None
    to_ph: float | None = None
    buffer_meq_l: float | None = None
    scale_g: float = 0.1


@dataclass(frozen=True)
class AcidDose:
    """What to weigh and what it does."""

    substance: str
    grams: Figure
    weigh_g: Figure
    dose_g_l: Figure
    acidity_change_g_l: Figure
    acidity_after_g_l: Figure | None
    ph_after: Figure | None
    potassium_mg_l: Figure
    gas_l: Figure
    trial: BenchTrial
    recorded: Recorded = field(default_factory=Recorded)

    @property
    def first_half_g(self) -> float:
        """The first half of what is weighed, as the scale shows it [g]."""
        return first_half(self.weigh_g.value, cast(float, self.weigh_g.inputs["scale_step_g"]))


def acid_dose(ask: AcidAsk, law: FinishingLaw) -> AcidDose:
    """Acid or carbonate for an acidity or a pH.

    Raises
    ------
    InputError, ImpossibleError

    Notes
    -----
    By titration: ``grams per litre = change (as tartaric) x equivalent mass / 75.043``. By pH:
    milliequivalents are buffer x change of pH, and an acid counts only the protons it has given off
    at the pH wanted. Carbonate turns into carbon dioxide that leaves; no bitartrate is taken to
    fall out (there is little tartaric acid in mead), which is the upper end of the need.
    """
    is_acid, entry = substance_called(ask.substance)
    _check(ask)
    dose = _dose_by_acidity(ask, is_acid, entry)
    if dose is None:
        dose = _dose_by_ph(ask, is_acid, entry)
    _legal(ask, law, is_acid, entry, dose.value)
    return _result(ask, law, is_acid, entry, dose)


def _check(ask: AcidAsk) -> None:
    within(ask.volume_l, 1e-3, MOST_LITRES, "volume", say("a volume in L"))
    within(ask.scale_g, 1e-4, 1000, "scale", say("a scale resolution in g"))
    for name, value in (("acidity", ask.acidity_g_l), ("to_acidity", ask.to_acidity_g_l)):
        if value is not None:
            within(value, 0, 30, name, say("an acidity as tartaric in g/L"))
    for name, value in (("ph", ask.ph), ("to_ph", ask.to_ph)):
        if value is not None:
            within(value, 2.5, 5.0, name, say("the pH of a mead"))
    if ask.buffer_meq_l is not None:
        within(ask.buffer_meq_l, 0.5, 200, "buffer", say("a buffer in meq/L per pH"))


def _dose_by_acidity(ask: AcidAsk, is_acid: bool, entry: Mapping[str, Any]) -> Figure | None:
    if ask.to_acidity_g_l is None:
        return None
    if ask.acidity_g_l is None:
        raise InputError("acidity", say("needs the acidity it has now, as tartaric in g/L"), None)
    change = ask.to_acidity_g_l - ask.acidity_g_l
    _right_way(change if is_acid else -change, "to_acidity", ask.to_acidity_g_l, is_acid)
    if abs(change) > MOST_CHANGE_G_L:
        raise InputError(
            "to_acidity",
            say("needs a change up to {most:g} g/L", most=MOST_CHANGE_G_L),
            change,
        )
    factor = equivalent_mass(entry) / TARTARIC_G_EQ
    return Figure(
        abs(change) * factor,
        "g/L",
        say(
            "change as tartaric x {mass:.3f} / {tartaric}",
            mass=equivalent_mass(entry),
            tartaric=TARTARIC_G_EQ,
        ),
        ARITHMETIC,
        {"now": typed(ask.acidity_g_l, "g/L"), "wanted": typed(ask.to_acidity_g_l, "g/L")},
    )


def _dose_by_ph(ask: AcidAsk, is_acid: bool, entry: Mapping[str, Any]) -> Figure:
    if ask.to_ph is None:
        raise InputError("to_acidity", say("needs a target: an acidity or a pH"), None)
    if ask.ph is None:
        raise InputError("ph", say("needs the pH it has now"), None)
    change = ask.to_ph - ask.ph
    _right_way(-change if is_acid else change, "to_ph", ask.to_ph, is_acid)
    buffer = _buffer(ask)
    per_mol = protons_given(entry, ask.to_ph) if is_acid else float(entry["equivalents"])

    def dose(buffer_meq_l: float) -> float:
        return buffer_meq_l * abs(change) / per_mol * float(entry["molar_mass"]) / 1000

    return Figure(
        dose(buffer.value),
        "g/L",
        say(
            "buffer x change of pH / {per_mol:.3f} eq per mol x {molar_mass} / 1000",
            per_mol=per_mol,
            molar_mass=entry["molar_mass"],
        ),
        ARITHMETIC,
        {"buffer": buffer, "pH": typed(ask.ph, ""), "pH_wanted": typed(ask.to_ph, "")},
        None if buffer.low is None else dose(buffer.low),
        None if buffer.high is None else dose(buffer.high),
    )


def _buffer(ask: AcidAsk) -> Figure:
    if ask.buffer_meq_l is not None:
        return typed(ask.buffer_meq_l, say("meq/L per pH"))
    return published(finishing_data()["buffer"], say("buffer"), say("meq/L per pH"))


def _right_way(change: float, where: str, got: float, is_acid: bool) -> None:
    if change < 0:
        way = (
            say("is the wrong way: acid makes it sourer")
            if is_acid
            else say("is the wrong way: a carbonate makes it less sour")
        )
        raise ImpossibleError(where, way, got)


def _legal(
    ask: AcidAsk, law: FinishingLaw, is_acid: bool, entry: Mapping[str, Any], dose_g_l: float
) -> None:
    """Refuse a dose, an acidity or a pH that the profile does not allow."""
    if is_acid and ask.to_ph is not None:
        refuse_ph(law, ask.to_ph)
    for bound in _bounds(ask, law, is_acid, entry):
        if dose_g_l > bound.most_g_l + 1e-9:
            raise ImpossibleError(
                bound.field,
                bound.words,
                say("{dose:.2f} g/L of {name}", dose=dose_g_l, name=entry["name"]),
            )


def _bounds(
    ask: AcidAsk, law: FinishingLaw, is_acid: bool, entry: Mapping[str, Any]
) -> tuple[AcidBound, ...]:
    where = "to_acidity" if ask.to_acidity_g_l is not None else "to_ph"
    return acid_bounds(law, entry, is_acid, ask.acidity_g_l, where)


def _result(
    ask: AcidAsk, law: FinishingLaw, is_acid: bool, entry: Mapping[str, Any], dose: Figure
) -> AcidDose:
    name, molar = entry["name"], float(entry["molar_mass"])
    grams = Figure(
        dose.value * ask.volume_l,
        "g",
        say("dose x volume"),
        ARITHMETIC,
        {"dose_g_l": dose, "volume_l": typed(ask.volume_l, "L")},
        None if dose.low is None else dose.low * ask.volume_l,
        None if dose.high is None else dose.high * ask.volume_l,
    )
    weigh = Figure(
        down_to_step(grams.value, ask.scale_g),
        "g",
        say("rounded down to {step:g} g", step=ask.scale_g),
        ARITHMETIC,
        {"grams": grams, "scale_step_g": ask.scale_g},
    )
    sign = 1 if is_acid else -1
    change = Figure(
        sign * weigh.value / ask.volume_l / equivalent_mass(entry) * TARTARIC_G_EQ,
        "g/L",
        say(
            "grams / volume / {mass:.3f} x {tartaric}, as tartaric",
            mass=equivalent_mass(entry),
            tartaric=TARTARIC_G_EQ,
        ),
        ARITHMETIC,
        {"weigh_g": weigh},
    )
    acidity = None
    if ask.acidity_g_l is not None:
        acidity = Figure(
            ask.acidity_g_l + change.value,
            "g/L",
            say("acidity + change, as tartaric"),
            ARITHMETIC,
            {"acidity_g_l": typed(ask.acidity_g_l, "g/L"), "change": change},
        )
    base_mol = 0.0 if is_acid else weigh.value / molar
    has_potassium = not is_acid and entry["cation"] == "potassium"
    potassium = Figure(
        1000 * base_mol * float(entry["cation_mass"]) / ask.volume_l if has_potassium else 0.0,
        "mg/L",
        say("grams x potassium share / volume"),
        ARITHMETIC,
        {"weigh_g": weigh},
    )
    gas = Figure(
        base_mol * CO2_L_PER_MOL_20C,
        "L",
        say("mol of carbonate x 24.06 L at 20 C"),
        ARITHMETIC,
        {"weigh_g": weigh},
    )
    ph = _ph_after(ask, is_acid, entry, weigh.value / ask.volume_l)
    after = {} if acidity is None else {"acidity_g_l": acidity}
    if ph is not None:
        after["ph"] = ph
    identity = f"{entry['id']}_acid" if is_acid else str(entry["id"])
    brings = {"acidity_g_l": change} | ({"potassium_mg_l": potassium} if has_potassium else {})
    if not is_acid and entry["cation"] == "calcium":
        brings["calcium_mg_l"] = Figure(
            1000 * base_mol * float(entry["cation_mass"]) / ask.volume_l,
            "mg/L",
            say("grams x calcium share / volume"),
            ARITHMETIC,
            {"weigh_g": weigh},
        )
    warned = ("bench_first", "dose_rounding")
    recorded = Recorded(
        (Addition(identity, name, weigh, brings),),
        after,
        _steps(ask, is_acid, name, weigh),
        _notes(ask, law, is_acid, entry),
        cautions(*warned) if is_acid else cautions(*warned, "carbonate_foam", "caustic_carbonate"),
    )
    return AcidDose(
        name,
        grams,
        weigh,
        dose,
        change,
        acidity,
        ph,
        potassium,
        gas,
        _trial(ask, name, dose.value, [b.most_g_l for b in _bounds(ask, law, is_acid, entry)]),
        recorded,
    )


def _ph_after(
    ask: AcidAsk, is_acid: bool, entry: Mapping[str, Any], dose_g_l: float
) -> Figure | None:
    """pH after the dose by the buffer; None where no pH was typed."""
    if ask.ph is None:
        return None
    ph, mol = ask.ph, 1000 * dose_g_l / float(entry["molar_mass"])

    def after(buffer_meq_l: float) -> float:
        if not is_acid:
            return ph + mol * float(entry["equivalents"]) / buffer_meq_l
        low, high = ph - 3.0, ph
        for _ in range(60):
            middle = (low + high) / 2
            short = ph - mol * protons_given(entry, middle) / buffer_meq_l < middle
            low, high = (low, middle) if short else (middle, high)
        return (low + high) / 2

    buffer = _buffer(ask)
    low = high = None
    if buffer.low is not None and buffer.high is not None:
        low, high = sorted((after(buffer.low), after(buffer.high)))
    return Figure(
        after(buffer.value),
        "",
        say("pH -+ milliequivalents / buffer: a straight line, good for small steps"),
        ARITHMETIC,
        {"pH": typed(ph, ""), "buffer": buffer},
        low,
        high,
    )


def _trial(ask: AcidAsk, name: str, dose_g_l: float, bounds: Sequence[float]) -> BenchTrial:
    """Glasses from none to half as much again as computed, within what the profile leaves."""
    top = min(max(1.5 * dose_g_l, 0.2), *bounds, math.inf)
    stock = 100.0 if top > 0.5 else 20.0
    count = max(1, min(5, math.floor(top * 100 / stock / 0.1)))
    return bench_trial(
        name,
        ask.volume_l,
        [top * i / count for i in range(1, count + 1)] if top > 0.1 * stock / 100 else [0.0],
        stock_g_l=stock,
        scale_g=ask.scale_g,
        most_g_l=top,
    )


def _steps(ask: AcidAsk, is_acid: bool, name: str, weigh: Figure) -> tuple[str, ...]:
    taste = say("Taste and measure the trial glasses; use the batch amount of the one you like.")
    if is_acid:
        return (
            taste,
            say(
                "Dissolve {grams:g} g of {name} in a little mead, stir it in, wait a day, taste "
                "and measure again.",
                grams=weigh.value,
                name=name,
            ),
        )
    return (
        taste,
        say(
            "Half of it first: {half:g} g of {name}, wetted with water, in small parts.",
            half=first_half(weigh.value, ask.scale_g),
            name=name,
        ),
        say(
            "Stir until the gas is out, wait a day, measure pH, then as much of the rest as it "
            "needs."
        ),
    )


def _notes(
    ask: AcidAsk, law: FinishingLaw, is_acid: bool, entry: Mapping[str, Any]
) -> tuple[str, ...]:
    notes = []
    if ask.to_ph is not None and ask.buffer_meq_l is None:
        notes.append(
            say(
                "Dose two glasses, measure their pH and type them for a closer figure. The buffer "
                "of this mead is not known, which is why the range is wide."
            )
        )
    if not is_acid:
        notes.append(
            say(
                "This does not count potassium bitartrate settling out. With tartaric acid in it, "
                "half of it may be enough."
            )
        )
        if entry["id"] == "calcium_carbonate":
            notes.append(say("Calcium settles slowly and may cause haze months later."))
    if is_acid and entry["id"] == "lactic":
        notes.append(say("Lactic acid is sold as a solution: divide by its strength."))
    return (*notes, *acid_law_words(law, entry, is_acid, ask.acidity_g_l))
