"""What to put in, how much and when: the dose in the answer on acid, and the alternatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright import data
from mustwright.figure import ARITHMETIC, Figure
from mustwright.must.acidity.balance import solve_ph
from mustwright.must.acidity.claims import claims_data
from mustwright.must.acidity.course import AcidCourse, Traits
from mustwright.must.acidity.dose import (
    OUT_OF_REACH,
    Schedule,
    Trial,
    acid_for_ta,
    after_start,
    before_yeast,
    try_dose,
    with_feeds,
)
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.path import Path
from mustwright.must.acidity.salts import Allowance, Salt, all_salts, allowance
from mustwright.nutrition.limits import LegalProfile
from mustwright.planning.acidity.result import (
    AimAnswer,
    DoseAnswer,
    Moment,
    OtherDose,
    UpFront,
    chance_figure,
    ph_band,
)

Floats = NDArray[np.float64]
DOSE = "strong-ion difference needed at the lowest pH to keep, less the one present"
UP_FRONT_G_L = (0.25, 0.5, 1.0, 2.0)
OTHERS = ("potassium_bicarbonate", "potassium_carbonate", "potassium_citrate", "calcium_carbonate")


@dataclass(frozen=True)
class Dosed:
    """Everything about the dose, and the trial it rests on (None for no dose)."""

    answer: DoseAnswer
    alternatives: tuple[OtherDose, ...]
    up_front: tuple[UpFront, ...]
    up_front_words: str
    aim: AimAnswer | None
    trial: Trial | None
    cautions: tuple[str, ...]


def answer_dose(
    must: MustMembers,
    course: AcidCourse,
    traits: Traits,
    path: Path,
    salt: Salt,
    floor: float,
    feeds: Sequence[tuple[float, float]],
    profile: LegalProfile,
    on_shelf: tuple[float, str] | None,
    volume: Figure,
    scale_g: float,
    aim_ta_g_l: float | None,
) -> Dosed:
    """The smallest dose that keeps the floor with the chance wanted, at the best moment for it.

    Parameters
    ----------
    feeds : sequence of (float, float)
        Part of the sugar used and acid load [meq/L] of each.
    on_shelf : tuple of (float, str) or None
        What label and stock allow [g/L], and which of them.
    """
    base = salt if not salt.is_acid else all_salts()["potassium_bicarbonate"]
    acid_low = quantile(must.titratable_g_l(), 0.05)
    allowed = allowance(base, profile.id, acid_low)
    if on_shelf is not None and base is salt and on_shelf[0] < allowed.most_g_l:
        allowed = Allowance(on_shelf[0], allowed.statements, on_shelf[1])
    claims = claims_data()
    schedules = _schedules(feeds, float(claims["start_after_sugar_used"]))
    step = scale_g / volume.value

    def tried(one: Salt, schedule: Schedule, most: float) -> Trial:
        return try_dose(
            must, course, traits, one, floor, schedule,
            wanted=float(claims["chance_wanted"]), most_g_l=most, step_g_l=step,
        )  # fmt: skip

    without = chance(path.trough() < floor)
    needed = without > 1 - float(claims["chance_wanted"])
    trials = [tried(base, s, allowed.most_g_l) for s in schedules]
    chosen = _chosen(trials, float(claims["chance_wanted"]), float(claims["comfortable_high"]))
    free = trials[chosen] if allowed.most_g_l > 0 else tried(base, schedules[0], base.max_g_l)
    answer = _answer(trials[chosen], free, allowed, path, floor, needed, volume, scale_g)
    others = [
        _other(tried(one, s, most), most)
        for one, most in _salts(base, profile, acid_low)
        for s in schedules
    ]
    cautions = [base.caution] if needed else []
    if needed:
        cautions += [str(data.load("cautions")[n]["text"]) for n in _caution_names(base)]
    up_front = _up_front(must, base)
    aim = None
    if aim_ta_g_l is not None:
        aim = _aim(must, salt, aim_ta_g_l, profile, volume)
        cautions.append(salt.caution)
    return Dosed(
        answer,
        tuple(others) if needed else (),
        up_front,
        _up_front_words(up_front),
        aim,
        trials[chosen] if needed and allowed.most_g_l > 0 else None,
        tuple(dict.fromkeys(cautions)),
    )


def _caution_names(salt: Salt) -> list[str]:
    names = ["caustic_carbonate"] if salt.id == "potassium_carbonate" else []
    return [*names, "powder_in_gassy_must", "dose_rounding", "label_first", "local_law"]


def _schedules(feeds: Sequence[tuple[float, float]], start: float) -> list[Schedule]:
    along = with_feeds(feeds)
    found = [after_start(start)]
    if along is not None and len(along.moments) > 1:
        found.append(along)
    return [*found, before_yeast()]


def _chosen(trials: Sequence[Trial], wanted: float, comfortable: float) -> int:
    """The first that keeps the floor without overshooting; else the one likeliest to keep it."""
    good = [
        i
        for i, t in enumerate(trials)
        if t.chance_kept >= wanted - 1e-9 and quantile(t.highest, 0.95) <= comfortable
    ]
    if good:
        return good[0]
    gentle = [i for i, t in enumerate(trials) if t.schedule.id != "before_yeast"]
    return max(gentle, key=lambda i: (round(trials[i].chance_kept, 2), -i))


def _salts(base: Salt, profile: LegalProfile, acid_g_l: float) -> list[tuple[Salt, float]]:
    names = dict.fromkeys([base.id, *OTHERS])
    known = all_salts()
    return [(known[n], allowance(known[n], profile.id, acid_g_l).most_g_l) for n in names]


def _other(trial: Trial, most: float) -> OtherDose:
    high = quantile(trial.highest, 0.95)
    return OtherDose(
        trial.salt.id,
        trial.salt.name,
        trial.schedule.id,
        trial.schedule.words,
        round(trial.g_l, 3),
        round(trial.chance_kept, 3),
        round(high, 2),
        high > claims_data()["comfortable_high"],
        most > 0,
    )


def _answer(
    trial: Trial,
    free: Trial,
    allowed: Allowance,
    path: Path,
    floor: float,
    needed: bool,
    volume: Figure,
    scale_g: float,
) -> DoseAnswer:
    salt, wanted = trial.salt, float(claims_data()["chance_wanted"])
    g_l = trial.g_l if needed else 0.0
    held = needed and free.wanted_g_l > allowed.most_g_l + 1e-9
    dose = Figure(
        g_l,
        "g/L",
        f"smallest dose that keeps pH {floor:g} with {wanted:.0%} chance, never above what is "
        f"allowed; {DOSE}",
        salt.source,
        {"acid_taken_up_meq_g": salt.base_meq_g, "most_allowed_g_l": allowed.most_g_l},
        min(quantile(trial.each_g_l, 0.5), g_l),
        min(quantile(trial.each_g_l, 0.95), allowed.most_g_l) if needed else 0.0,
    )
    grams = Figure(
        round(g_l * volume.value / scale_g) * scale_g,
        "g",
        "grams per litre x volume, to the scale's step",
        ARITHMETIC,
        {"g_per_l": dose, "volume_l": volume, "scale_step_g": scale_g},
    )
    highest = ph_band(trial.highest, "highest pH from the first part of the dose on", DOSE)
    members = trial.each_g_l.size
    return DoseAnswer(
        salt=salt.id,
        name=salt.name,
        schedule=trial.schedule.id,
        when=trial.schedule.words if g_l > 0 else "none",
        g_per_l=dose,
        grams=grams,
        moments=_moments(trial, grams, scale_g) if g_l > 0 else (),
        chance_kept=chance_figure(
            trial.chance_kept if g_l > 0 else 1 - chance(path.trough() < floor),
            f"that keep pH {floor:g} from the first part of the dose on",
            members,
        ),
        chance_without=chance_figure(
            1 - chance(path.trough() < floor), f"that keep pH {floor:g} without salt", members
        ),
        chance_dip_before=chance_figure(
            trial.chance_dip if g_l > 0 else 0.0, f"under pH {floor:g} before the dose", members
        ),
        highest=highest,
        overshoots=g_l > 0 and quantile(trial.highest, 0.95) > claims_data()["comfortable_high"],
        wanted_g_per_l=_wanted(free, held),
        limit=allowed.binding if held else "",
        potassium_mg_l=Figure(
            g_l * salt.potassium_mg_g, "mg/L", "dose x potassium of the salt", ARITHMETIC,
            {"g_per_l": dose, "potassium_mg_g": salt.potassium_mg_g},
        ),
        calcium_mg_l=Figure(
            g_l * salt.calcium_mg_g, "mg/L", "dose x calcium of the salt", ARITHMETIC,
            {"g_per_l": dose, "calcium_mg_g": salt.calcium_mg_g},
        ),
        gas_l=Figure(
            g_l * salt.gas_l_g * volume.value, "L of CO2", "dose x volume x gas of the salt",
            ARITHMETIC, {"g_per_l": dose, "gas_l_g": salt.gas_l_g, "volume_l": volume},
        ),
        law=allowed.statements,
        words=_words(trial, free, allowed, needed, held, g_l, floor),
        steps=_steps(trial, grams, floor) if g_l > 0 else (),
    )  # fmt: skip


def _wanted(free: Trial, held: bool) -> float | None:
    if not held or free.wanted_g_l >= OUT_OF_REACH:
        return None
    return round(free.wanted_g_l, 3)


def _moments(trial: Trial, grams: Figure, scale_g: float) -> tuple[Moment, ...]:
    """Parts in the scale's step that add up to the whole."""
    left, found = grams.value, []
    for i, (at, part) in enumerate(trial.schedule.moments):
        last = i == len(trial.schedule.moments) - 1
        amount = left if last else min(round(grams.value * part / scale_g) * scale_g, left)
        left -= amount
        words = "before the yeast" if at <= 0 else f"once about {at:.0%} of the sugar is gone"
        figure = Figure(
            round(amount, 6), "g", f"{part:.0%} of the dose", ARITHMETIC, {"dose": grams}
        )
        found.append(Moment(round(at, 3), figure, words))
    return tuple(found)


def _words(
    trial: Trial,
    free: Trial,
    allowed: Allowance,
    needed: bool,
    held: bool,
    g_l: float,
    floor: float,
) -> str:
    if not needed:
        return f"Add no salt: pH will stay above {floor:g} without it, with the chance asked for."
    if allowed.most_g_l <= 0:
        would = "" if free.wanted_g_l >= OUT_OF_REACH else (
            f" Without that limit it would take {free.wanted_g_l:.2f} g/L."
        )  # fmt: skip
        return (
            f"None of this salt is planned: {allowed.binding}{would} Instead, use less "
            f"ammonium and more "
            "amino nitrogen."
        )
    text = (
        f"{g_l:.2f} g/L {trial.schedule.words}: keeps pH {floor:g} with {trial.chance_kept:.0%} "
        "chance."
    )
    if held:
        text += f" This is the most allowed ({allowed.binding or 'planning maximum of the salt'})."
        if trial.chance_kept < 0.9:
            text += " Feed less ammonium as well."
    return text


def _steps(trial: Trial, grams: Figure, floor: float) -> tuple[str, ...]:
    half = grams.value / 2
    dissolve = (
        "Stir it into a little water, then that into the must in small parts; it foams."
        if trial.salt.gas_mol
        else "Dissolve in a little must."
    )
    when = trial.schedule.words
    return (
        f"Measure pH first, {when}: above {floor + 0.3:.1f} add nothing yet.",
        "Stir the gas out gently and leave headspace.",
        f"{dissolve} Give half of it ({half:.3g} g of {trial.salt.name.lower()}).",
        f"Stir, let the gas go, measure again; give the rest only under pH {floor + 0.2:.1f}.",
    )


def _up_front(must: MustMembers, salt: Salt) -> tuple[UpFront, ...]:
    found = []
    rested = must.rested()
    for grams in UP_FRONT_G_L:
        mol = grams / salt.molar_mass / must.solvent_kg_l
        rows = rested.rows.with_base(mol * salt.base)
        if salt.acid:
            rows = rows.with_acid(salt.acid, mol)
        band = ph_band(solve_ph(rows), "pH with the salt in before yeast, degassed", DOSE)
        found.append(UpFront(grams, band))
    return tuple(found)


def _up_front_words(up_front: Sequence[UpFront]) -> str:
    rule = (
        "Do not add one or two grams of carbonate per litre up front: a honey must has little "
        "buffer and the pH overshoots. Wait until about 15 % of the sugar is gone, and measure."
    )
    whole = next(u for u in up_front if u.g_per_l == 1.0)
    if whole.band.p50.value > claims_data()["comfortable_high"]:
        return rule
    return f"{rule} This must has more buffer than plain honey and water, but measure it anyway."


def _aim(
    must: MustMembers, salt: Salt, aim_g_l: float, profile: LegalProfile, volume: Figure
) -> AimAnswer:
    now = must.titratable_g_l()
    middle = quantile(now, 0.5)
    allowed = allowance(salt, profile.id, middle)
    each = np.array([acid_for_ta(salt, float(ta), aim_g_l) for ta in now])
    wanted = quantile(each, 0.5)
    g_l = min(wanted, allowed.most_g_l)
    mol = g_l / salt.molar_mass / must.solvent_kg_l
    rows = must.rows.with_base(mol * salt.base)
    if salt.acid:
        rows = rows.with_acid(salt.acid, mol)
    if wanted <= 0:
        words = f"{salt.name} moves the acid the other way: the must is at {middle:.1f} g/L."
    elif g_l < wanted:
        words = f"{g_l:.2f} g/L, the most allowed, of the {wanted:.2f} g/L wanted."
    else:
        words = f"{g_l:.2f} g/L of {salt.name.lower()}; taste and measure before the rest."
    dose = Figure(
        g_l, "g/L", "(wanted - present acid) x meq per g of tartaric / meq per g of this",
        salt.source, {"present_g_l": middle, "wanted_g_l": aim_g_l},
        min(quantile(each, 0.05), allowed.most_g_l), min(quantile(each, 0.95), allowed.most_g_l),
    )  # fmt: skip
    grams = Figure(
        g_l * volume.value, "g", "grams per litre x volume", ARITHMETIC,
        {"g_per_l": dose, "volume_l": volume},
    )  # fmt: skip
    after = ph_band(solve_ph(rows), "pH with it in, before yeast", DOSE)
    return AimAnswer(salt.id, aim_g_l, dose, grams, after, words, allowed.statements)
