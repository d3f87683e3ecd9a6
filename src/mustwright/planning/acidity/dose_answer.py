"""The dose of a salt as an answer: grams, moments, what to expect of it, what to do."""

from __future__ import annotations

from mustwright import data
from mustwright.figure import ARITHMETIC, Figure
from mustwright.must.acidity.claims import ADD_UNDER, REST_UNDER, claims_data
from mustwright.must.acidity.dose import OUT_OF_REACH, Trial
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.path import Path
from mustwright.must.acidity.salts import Salt
from mustwright.planning.acidity.result import DoseAnswer, Moment, chance_figure, ph_band
from mustwright.planning.acidity.salt_judgement import Judged, SaltAsk
from mustwright.texts import join, say
from mustwright.weighing import first_half

DOSE = say("strong-ion difference needed at the lowest pH to keep, less the one present")


def salt_cautions(salt: Salt) -> tuple[str, ...]:
    """What to mind with a salt that is to go in."""
    names = ["caustic_carbonate"] if salt.id == "potassium_carbonate" else []
    names += ["powder_in_gassy_must", "dose_rounding", "label_first", "local_law"]
    return (salt.caution, *(data.load("cautions")[name]["text"] for name in names))


def dose_answer(
    judged: Judged, ask: SaltAsk, path: Path, volume: Figure, scale_g: float
) -> DoseAnswer:
    """A judged dose as plan and acid page say it.

    Parameters
    ----------
    judged : Judged
    ask : SaltAsk
        That it was judged on.
    path : Path
        The pH without a salt.
    volume : Figure
        Of the must [L].
    scale_g : float
        The scale's step [g].
    """
    trial, free, needed = judged.trial, judged.free, judged.needed
    allowed, floor = ask.allowed, ask.floor
    salt, wanted = trial.salt, float(claims_data()["chance_wanted"])
    g_l = trial.g_l if needed else 0.0
    held = needed and free.wanted_g_l > allowed.most_g_l + 1e-9
    dose = Figure(
        g_l,
        "g/L",
        say(
            "smallest dose that stays above pH {floor:g} with {wanted:.0%} chance, "
            "never above what is allowed; {rule}",
            floor=floor,
            wanted=wanted,
            rule=DOSE,
        ),
        salt.source,
        {"acid_taken_up_meq_g": salt.base_meq_g, "most_allowed_g_l": allowed.most_g_l},
        min(quantile(trial.each_g_l, 0.5), g_l),
        min(quantile(trial.each_g_l, 0.95), allowed.most_g_l) if needed else 0.0,
    )
    grams = Figure(
        round(g_l * volume.value / scale_g) * scale_g,
        "g",
        say("grams per litre x volume, to the scale's step"),
        ARITHMETIC,
        {"g_per_l": dose, "volume_l": volume, "scale_step_g": scale_g},
    )
    highest = ph_band(trial.highest, say("highest pH from the first part of the dose on"), DOSE)
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
            say("that keep pH {floor:g} from the first part of the dose on", floor=floor),
            members,
        ),
        chance_without=chance_figure(
            1 - chance(path.trough() < floor),
            say("that keep pH {floor:g} without salt", floor=floor),
            members,
        ),
        chance_dip_before=chance_figure(
            trial.chance_dip if g_l > 0 else 0.0,
            say("under pH {floor:g} before the dose", floor=floor),
            members,
        ),
        highest=highest,
        overshoots=g_l > 0 and quantile(trial.highest, 0.95) > claims_data()["comfortable_high"],
        wanted_g_per_l=_wanted(free, held),
        limit=allowed.binding if held else "",
        potassium_mg_l=Figure(
            g_l * salt.potassium_mg_g, "mg/L", say("dose x potassium of the salt"), ARITHMETIC,
            {"g_per_l": dose, "potassium_mg_g": salt.potassium_mg_g},
        ),
        calcium_mg_l=Figure(
            g_l * salt.calcium_mg_g, "mg/L", say("dose x calcium of the salt"), ARITHMETIC,
            {"g_per_l": dose, "calcium_mg_g": salt.calcium_mg_g},
        ),
        gas_l=Figure(
            g_l * salt.gas_l_g * volume.value, say("L of CO2"),
            say("dose x volume x gas of the salt"), ARITHMETIC,
            {"g_per_l": dose, "gas_l_g": salt.gas_l_g, "volume_l": volume},
        ),
        law=allowed.statements,
        words=_words(judged, ask, held, g_l),
        steps=_steps(trial, grams, floor, scale_g) if g_l > 0 else (),
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
        words = (
            say("before the yeast")
            if at <= 0
            else say("once about {at:.0%} of the sugar is gone", at=at)
        )
        figure = Figure(
            round(amount, 6),
            "g",
            say("{part:.0%} of the dose", part=part),
            ARITHMETIC,
            {"dose": grams, "scale_step_g": scale_g},
        )
        found.append(Moment(round(at, 3), figure, words))
    return tuple(found)


def _words(judged: Judged, ask: SaltAsk, held: bool, g_l: float) -> str:
    trial, free, allowed, floor = judged.trial, judged.free, ask.allowed, ask.floor
    if judged.is_slight:
        return say(
            "Add no salt: {dose:.2f} g/L would be enough to stay above pH "
            "{floor:g}, too little to show on a meter.",
            dose=free.wanted_g_l,
            floor=floor,
        )
    if not judged.needed:
        return say("Add no salt: pH will very likely stay above {floor:g} without it.", floor=floor)
    if allowed.most_g_l <= 0:
        found = [join(" ", (say("No salt is planned."), allowed.binding))]
        if free.wanted_g_l < OUT_OF_REACH:
            found.append(
                say("Without that limit it would take {dose:.2f} g/L.", dose=free.wanted_g_l)
            )
        if ask.feeds_acid:
            found.append(say("Feed less ammonium and more amino nitrogen instead."))
        return join(" ", found)
    found = [
        say(
            "{dose:.2f} g/L {when}: {chance:.0%} chance of staying above pH {floor:g} from then "
            "on.",
            dose=g_l,
            when=trial.schedule.words,
            chance=trial.chance_kept,
            floor=floor,
        )
    ]
    if held:
        found.append(
            say(
                "This is the most allowed ({limit}).",
                limit=allowed.binding or say("planning maximum of the salt"),
            )
        )
        if trial.chance_kept < 0.9:
            found.append(say("Feed less ammonium as well."))
    return join(" ", found)


def _steps(trial: Trial, grams: Figure, floor: float, scale_g: float) -> tuple[str, ...]:
    parts = len(trial.schedule.moments)
    dissolve = (
        say("Stir it into a little water, then that into the must in small parts; it foams.")
        if trial.salt.gas_mol
        else say("Dissolve in a little must.")
    )
    when = trial.schedule.words
    return (
        say(
            "Measure pH first, {when}: above {ph:.1f} add nothing yet.",
            when=when,
            ph=floor + ADD_UNDER,
        ),
        say("Stir the gas out gently and leave headspace."),
        say(
            "{dissolve} Give half of it ({grams:g} g of {salt}).",
            dissolve=dissolve,
            grams=first_half(grams.value, scale_g),
            salt=trial.salt.name.lower(),
        )
        if parts == 1
        else say("{dissolve} Give the part for this feed, half of it first.", dissolve=dissolve),
        say(
            "Stir. Measure again after half a day; give the rest only under pH {ph:.1f}.",
            ph=floor + REST_UNDER,
        ),
    )
