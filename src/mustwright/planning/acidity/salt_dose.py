"""What to put in, how much and when: the dose in the answer on acid, and the alternatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.figure import ARITHMETIC, Figure
from mustwright.must.acidity.balance import solve_ph
from mustwright.must.acidity.claims import claims_data
from mustwright.must.acidity.dose import Trial, acid_for_ta
from mustwright.must.acidity.draws import quantile
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.path import Path
from mustwright.must.acidity.salts import Salt, all_salts, allowance
from mustwright.nutrition.limits import LegalProfile
from mustwright.planning.acidity.dose_answer import DOSE, dose_answer, salt_cautions
from mustwright.planning.acidity.result import AimAnswer, DoseAnswer, OtherDose, UpFront, ph_band
from mustwright.planning.acidity.salt_judgement import SaltAsk, judge_salt
from mustwright.texts import join, say

Floats = NDArray[np.float64]
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
    ask: SaltAsk,
    path: Path,
    salt: Salt,
    profile: LegalProfile,
    volume: Figure,
    scale_g: float,
    aim_ta_g_l: float | None,
) -> Dosed:
    """The dose as the plan has it, with the alternatives and what salt up front would do.

    Parameters
    ----------
    ask : SaltAsk
        Must, course and limits; its salt is a base.
    path : Path
        The pH without a salt.
    salt : Salt
        That was asked for; an acid moves titratable acid alone.
    """
    must, base = ask.must, ask.salt
    judged = judge_salt(ask, path)
    acid_low = quantile(must.titratable_g_l(), 0.05)
    others = [
        _other(ask.tried(one, schedule, most), most)
        for one, most in _salts(base, profile, acid_low)
        for schedule in ask.schedules
        if judged.needed
    ]
    answer = dose_answer(judged, ask, path, volume, scale_g)
    cautions = list(salt_cautions(base)) if judged.needed else []
    up_front = _up_front(must, base)
    aim = None
    if aim_ta_g_l is not None:
        aim = _aim(must, salt, aim_ta_g_l, profile, volume)
        cautions.append(salt.caution)
    return Dosed(
        answer,
        tuple(others),
        up_front,
        _up_front_words(up_front),
        aim,
        judged.trial if judged.needed and ask.allowed.most_g_l > 0 else None,
        tuple(dict.fromkeys(cautions)),
    )


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


def _up_front(must: MustMembers, salt: Salt) -> tuple[UpFront, ...]:
    found = []
    rested = must.rested()
    for grams in UP_FRONT_G_L:
        mol = grams / salt.molar_mass / must.solvent_kg_l
        rows = rested.rows.with_base(mol * salt.base)
        if salt.acid:
            rows = rows.with_acid(salt.acid, mol)
        band = ph_band(solve_ph(rows), say("pH with the salt in before yeast, degassed"), DOSE)
        found.append(UpFront(grams, band))
    return tuple(found)


def _up_front_words(up_front: Sequence[UpFront]) -> str:
    rule = say(
        "Do not add one or two grams of carbonate per litre up front: a honey "
        "must has little buffer and the pH overshoots. Wait until about 15 % of "
        "the sugar is gone, and measure."
    )
    whole = next(u for u in up_front if u.g_per_l == 1.0)
    if whole.band.p50.value > claims_data()["comfortable_high"]:
        return rule
    but = say("This must has more buffer than plain honey and water, but measure it anyway.")
    return join(" ", (rule, but))


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
        words = say(
            "{salt} moves the acid the other way: the must is at {acid:.1f} g/L.",
            salt=salt.name,
            acid=middle,
        )
    elif g_l < wanted:
        words = say(
            "{dose:.2f} g/L, the most allowed, of the {wanted:.2f} g/L wanted.",
            dose=g_l,
            wanted=wanted,
        )
    else:
        words = say(
            "{dose:.2f} g/L of {salt}; taste and measure before the rest.",
            dose=g_l,
            salt=salt.name.lower(),
        )
    dose = Figure(
        g_l, "g/L", say("(wanted - present acid) x meq per g of tartaric / meq per g of this"),
        salt.source, {"present_g_l": middle, "wanted_g_l": aim_g_l},
        min(quantile(each, 0.05), allowed.most_g_l), min(quantile(each, 0.95), allowed.most_g_l),
    )  # fmt: skip
    grams = Figure(
        g_l * volume.value, "g", say("grams per litre x volume"), ARITHMETIC,
        {"g_per_l": dose, "volume_l": volume},
    )  # fmt: skip
    after = ph_band(solve_ph(rows), say("pH with it in, before yeast"), DOSE)
    return AimAnswer(salt.id, aim_g_l, dose, grams, after, words, allowed.statements)
