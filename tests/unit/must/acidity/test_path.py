"""Members, readings, the path through the ferment, doses and what they are worth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.errors import InputError, UnknownKindError
from mustwright.must.acidity.balance import buffer_capacity, solve_ph
from mustwright.must.acidity.calibrate import calibrate
from mustwright.must.acidity.course import (
    AcidCourse,
    draw_traits,
    nutrient_addition,
    usual_course,
)
from mustwright.must.acidity.dose import (
    acid_for_ta,
    after_start,
    before_yeast,
    try_dose,
    with_dose,
    with_feeds,
)
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.medium import co2_mol_kg
from mustwright.must.acidity.members import draw_must
from mustwright.must.acidity.path import ph_along
from mustwright.must.acidity.potassium import (
    potassium_sheet,
    published_ratio,
    ratio_to_hydrogen,
    sticking_odds_factor,
)
from mustwright.must.acidity.reading import (
    batch_grams,
    bench_trial,
    effective_members,
    reading_weights,
    worth_of_reading,
)
from mustwright.must.acidity.salts import all_salts, allowance, salt_called
from mustwright.must.blend import Blend, Portion
from mustwright.must.ingredient import all_ingredients, with_lot_facts

MEMBERS = 400
KNOWN = all_ingredients()
BLEND = Blend([Portion(KNOWN["honey_generic"], 5.5), Portion(KNOWN["pure_water"], 14.0)])


def drawn(members=8 * MEMBERS, seed=1):
    return draw_must(BLEND.portions, BLEND.volume_l, BLEND.sugar_g_l, 20.0, members, seed)


@pytest.fixture(scope="module")
def must():
    return calibrate(drawn(), 1, ph=3.8, ph_sd=0.02, members=MEMBERS).must


@pytest.fixture(scope="module")
def traits():
    return draw_traits(MEMBERS, 1)


def salts_g_l(mg_n_l):
    return mg_n_l / 28.0134 * 132.056 / 1000


def dap(mg_n_l):
    return nutrient_addition(
        "DAP", [1.0], ammonium_mg_l=mg_n_l, ammonium_phosphate_g_l=salts_g_l(mg_n_l)
    )


def sulfate(mg_n_l):
    return nutrient_addition(
        "AS", [1.0], ammonium_mg_l=mg_n_l, ammonium_sulfate_g_l=salts_g_l(mg_n_l)
    )


def organic(mg_n_l):
    return nutrient_addition("organic", [1.0], amino_mg_l=mg_n_l)


def course(traits, feeds=(), points=None):
    more = {} if points is None else {"points": points}
    return usual_course(
        traits,
        sugar_g_l=BLEND.sugar_g_l,
        fermentable_g_l=BLEND.fermentable_g_l,
        temperature_c=20.0,
        ammonium_mg_l=1.0,
        amino_mg_l=12.0,
        additions=feeds,
        **more,
    )


# Members -----------------------------------------------------------------------------------------


def test_a_seed_draws_the_same_again_and_another_does_not():
    assert (drawn(50, 3).ph() == drawn(50, 3).ph()).all()
    assert not (drawn(50, 3).ph() == drawn(50, 4).ph()).all()


def test_without_a_measurement_the_band_is_wide_and_a_reading_narrows_it(must):
    prior = drawn()
    wide = quantile(prior.ph(), 0.95) - quantile(prior.ph(), 0.05)
    narrow = quantile(must.ph(), 0.95) - quantile(must.ph(), 0.05)
    assert wide > 0.6
    assert narrow < 0.1
    strip = calibrate(prior, 1, ph=3.8, ph_sd=0.18, members=MEMBERS).must.ph()
    assert narrow < quantile(strip, 0.95) - quantile(strip, 0.05) < wide


def test_a_measured_acid_is_met_and_narrows_the_buffer(must):
    both = calibrate(drawn(), 1, ph=3.8, ph_sd=0.02, ta_g_l=6.0, members=MEMBERS).must
    assert np.median(both.ph()) == pytest.approx(3.8, abs=0.02)
    assert np.median(both.titratable_g_l()) == pytest.approx(6.0, rel=0.05)
    spread = [np.std(np.log(buffer_capacity(m.rows))) for m in (both, must)]
    assert spread[0] < 0.5 * spread[1]


def test_an_unlikely_reading_is_questioned():
    assert calibrate(drawn(), 1, ph=6.9, members=MEMBERS).notes
    assert not calibrate(drawn(), 1, ph=3.8, members=MEMBERS).notes


def test_settling_lactone_sours_the_must_by_under_a_tenth():
    fresh = drawn(MEMBERS)
    moved = np.median(fresh.rested().ph() - fresh.ph())
    assert -0.12 < moved < -0.03
    assert (fresh.rested().lactone == 0).all()
    in_steps = fresh.rested(0.4).rested(0.5).rested()
    assert in_steps.ph() == pytest.approx(fresh.rested().ph(), abs=1e-9)
    assert fresh.rested().rested().ph() == pytest.approx(fresh.rested().ph(), abs=1e-12)


def test_every_ingredient_can_be_drawn():
    for ingredient in KNOWN.values():
        blend = Blend([Portion(ingredient, 3.0), Portion(KNOWN["tap_water"], 10.0)])
        made = draw_must(blend.portions, blend.volume_l, blend.sugar_g_l, 20.0, 60, 1)
        ph = made.ph()
        assert np.isfinite(ph).all(), ingredient.id
        assert ((ph > 1.5) & (ph < 9.5)).all(), ingredient.id


@cases(150)
@given(
    kinds=st.lists(st.sampled_from(sorted(KNOWN)), min_size=1, max_size=4),
    kilograms=st.lists(st.floats(0.01, 50), min_size=4, max_size=4),
    ph=st.floats(2.0, 9.0),
    acid=st.floats(0, 2000),
    measured=st.none() | st.floats(2.0, 8.0),
    titrated=st.none() | st.floats(0.05, 40.0),
    temperature=st.floats(0, 45),
    ammonium=st.floats(0, 400),
)
def test_no_sheet_makes_it_fail(
    kinds, kilograms, ph, acid, measured, titrated, temperature, ammonium
):
    """150 sheets of 40 members, with whatever was typed or measured: a finite path for each."""
    facts = {"ph": ph, "titratable_acid_meq_kg": acid}
    lots = [with_lot_facts(KNOWN[k], facts if i == 0 else {}, "x")[0] for i, k in enumerate(kinds)]
    blend = Blend([Portion(lot, kg) for lot, kg in zip(lots, kilograms, strict=False)])
    made = draw_must(blend.portions, blend.volume_l, blend.sugar_g_l, temperature, 80, 1)
    made = calibrate(made, 1, ph=measured, ta_g_l=titrated, members=40).must
    assert np.isfinite(made.ph()).all()
    traits = draw_traits(40, 1)
    made_course = usual_course(
        traits,
        sugar_g_l=blend.sugar_g_l,
        fermentable_g_l=min(blend.fermentable_g_l, blend.sugar_g_l),
        temperature_c=temperature,
        ammonium_mg_l=0.0,
        amino_mg_l=0.0,
        additions=[(0.0, dap(ammonium))],
        points=np.linspace(0, 1, 6),
    )
    path = ph_along(made, made_course, traits)
    assert np.isfinite(path.ph).all()
    trial = try_dose(made, made_course, traits, salt_called("khco3"), 3.2, after_start(0.15))
    assert 0 <= trial.g_l <= trial.salt.max_g_l + 1e-9


# The path ----------------------------------------------------------------------------------------


def test_sources_of_nitrogen_rank_as_their_protons_do(must, traits):
    lows = [
        np.median(ph_along(must, course(traits, [(0.0, feed(150.0))]), traits).trough())
        for feed in (organic, dap, sulfate)
    ]
    none = np.median(ph_along(must, course(traits), traits).trough())
    assert none + 0.02 > lows[0] > lows[1] + 0.2 > lows[2] + 0.6


def test_eaten_ammonium_costs_one_proton_each():
    """The strong-ion way of saying it: the same acid as that many mmol of hydrochloric acid."""
    traits = draw_traits(MEMBERS, 2)
    zero = np.zeros(MEMBERS)
    plain = replace(
        traits, protons_per_ammonium=zero + 1, potassium_mmol_g=zero, phosphorus_mmol_g=zero,
        succinic_g_l=zero, acetic_g_l=zero, keto_meq_l=zero, structural_ph=zero,
    )  # fmt: skip
    must = drawn(MEMBERS)
    x = np.array([0.0, 1e-9])
    flat = AcidCourse(
        x, np.full(2, BLEND.sugar_g_l), np.zeros(2), np.full(2, 20.0),
        np.array([0.0, 70.0]), np.zeros(2), np.zeros(2),
        (replace(sulfate(70.0), given=np.ones(2)),),
    )  # fmt: skip
    ours = ph_along(must, flat, plain).ph[:, 1]
    acid = must.rested().rows.with_base(-70.0 / 14006.7 / must.solvent_kg_l)
    acid = replace(acid, co2=np.full(MEMBERS, float(co2_mol_kg(20.0))))
    assert ours == pytest.approx(solve_ph(acid), abs=0.02)


def test_the_path_starts_at_the_must_and_stays_in_bounds(must, traits):
    bare = ph_along(must, course(traits), traits)
    assert bare.ph[:, 0] == pytest.approx(must.rested().ph(), abs=1e-6)
    path = ph_along(must, course(traits, [(0.0, dap(100.0)), (0.3, dap(100.0))]), traits)
    assert path.ph.shape == (MEMBERS, path.sugar_used.size)
    assert path.ph[:, 0] == pytest.approx(must.rested().ph(), abs=1e-6)  # as mixed, nothing fed
    assert (path.ph[:, 1] > bare.ph[:, 1]).all()  # the salt itself is alkaline until it is eaten
    assert np.isfinite(path.ph).all()
    assert (path.trough() <= path.at(0.5) + 1e-12).all()
    at_trough = [float(np.interp(x, path.sugar_used, p)) for x, p in zip(
        path.trough_at(), path.ph, strict=True)]  # fmt: skip
    assert (np.array(at_trough) - path.trough()).max() <= 0.05 + 1e-9
    assert 0.2 <= np.median(path.trough_at()) <= 0.7
    assert (np.diff(path.quantiles(0.9) - path.quantiles(0.1)) < 0.5).all()


def test_interpolating_is_bounded_and_says_so(must, traits):
    made = course(traits, [(0.0, dap(100.0)), (0.3, dap(60.0))], np.linspace(0, 1, 121))
    full = ph_along(must, made, traits)
    thin = ph_along(must, made, traits, every=6)
    assert full.interpolation_error == 0.0
    worst = np.abs(full.ph - thin.ph).max()
    assert 0 < thin.interpolation_error < 0.02
    assert worst < 0.03


def test_interpolating_minds_each_members_own_feeds(must, traits):
    made = course(traits, (), np.linspace(0, 1, 121))
    rng = np.random.default_rng(1)
    when = rng.uniform(0.05, 0.5, MEMBERS)[:, None]
    eaten = 1 - np.exp(-np.maximum(made.sugar_used - when, 0) / 0.1)
    fed = replace(
        made,
        additions=(replace(dap(120.0), given=(made.sugar_used >= when).astype(float)),),
        ammonium_taken_mg_l=made.ammonium_taken_mg_l + 120.0 * eaten,
    )
    full, thin = ph_along(must, fed, traits), ph_along(must, fed, traits, every=6)
    assert np.abs(full.ph - thin.ph).max() < 0.03
    assert thin.interpolation_error < 0.02


def test_members_may_be_fed_at_their_own_moments(must, traits):
    made = course(traits)
    n = made.points
    late = np.zeros((MEMBERS, n))
    late[: MEMBERS // 2, n // 2 :] = 1.0
    fed = replace(made, additions=(replace(sulfate(50.0), given=late),),
                  ammonium_taken_mg_l=made.ammonium_taken_mg_l + 50.0 * late)  # fmt: skip
    moved = ph_along(must, fed, traits).ph - ph_along(must, made, traits).ph
    assert np.abs(moved[MEMBERS // 2 :]).max() < 1e-6
    assert np.median(moved[: MEMBERS // 2, -1]) < -0.1


# Doses -------------------------------------------------------------------------------------------


def test_the_dose_keeps_the_floor_and_less_does_not(must, traits):
    made = course(traits, [(0.0, dap(200.0))], np.linspace(0, 1, 41))
    when = after_start(0.15)
    trial = try_dose(must, made, traits, salt_called("khco3"), 3.2, when, most_g_l=5.0)
    assert trial.chance_kept >= 0.9
    less = with_dose(must, made, traits, trial.salt, 0.95 * trial.g_l, when.given(made.sugar_used))
    assert chance(less.trough(0.15) >= 3.2) < 0.9
    assert 0.45 <= trial.g_l <= 0.9  # earlier trial: 0.6 to 0.8 g/L of KHCO3 for DAP 200
    without = chance(ph_along(must, made, traits).trough() < 3.2)
    assert without > 0.75
    assert 1 - trial.chance_kept < 0.11


def test_the_same_dose_up_front_overshoots(must, traits):
    made = course(traits, [(0.0, dap(200.0))], np.linspace(0, 1, 41))
    salt = salt_called("k2co3")
    early = try_dose(must, made, traits, salt, 3.2, before_yeast(), most_g_l=5.0)
    later = try_dose(must, made, traits, salt, 3.2, after_start(0.15), most_g_l=5.0)
    assert quantile(early.highest, 0.95) > 5.5
    assert quantile(later.highest, 0.95) < 4.8


def test_every_base_does_its_share(must, traits):
    made = course(traits, [(0.0, dap(150.0))], np.linspace(0, 1, 21))
    grams = {}
    for salt in all_salts().values():
        if not salt.is_acid:
            trial = try_dose(must, made, traits, salt, 3.1, before_yeast(), most_g_l=9.0)
            grams[salt.id] = trial.g_l
            assert trial.chance_kept >= 0.9, salt.id
    ratio = grams["potassium_carbonate"] / grams["potassium_bicarbonate"]
    assert ratio == pytest.approx(69.10 / 100.115, rel=0.08)


def test_a_ceiling_is_never_passed(must, traits):
    made = course(traits, [(0.0, sulfate(200.0))], np.linspace(0, 1, 21))
    salt = salt_called("khco3")
    trial = try_dose(must, made, traits, salt, 3.4, after_start(0.1), step_g_l=0.03)
    assert trial.g_l <= salt.max_g_l
    assert trial.wanted_g_l > salt.max_g_l
    assert trial.chance_kept < 0.9


def test_parts_with_the_feeds_follow_their_acid():
    assert with_feeds([(0.0, 0.0), (0.3, 0.0)]) is None
    made = with_feeds([(0.0, 1.0), (0.3, 3.0)])
    assert made is not None
    assert made.moments == ((0.0, 0.25), (0.3, 0.75))
    assert made.given(np.array([0.0, 0.29, 0.31])).tolist() == [0.25, 0.25, 1.0]


def test_acid_for_a_titratable_acid():
    assert acid_for_ta(salt_called("tartaric"), 4.0, 6.0) == pytest.approx(2.0)
    assert acid_for_ta(salt_called("lactic"), 4.0, 5.0) == pytest.approx(1.2004 / 0.8, rel=1e-3)
    assert acid_for_ta(salt_called("khco3"), 7.0, 6.0) == pytest.approx(1.334, abs=5e-4)
    assert acid_for_ta(salt_called("tartaric"), 6.0, 4.0) == 0.0


def test_the_law_comes_before_the_dose():
    carbonate = salt_called("potassium carbonate")
    assert allowance(carbonate, "us", 0.5).most_g_l == 0.0
    assert "5.0 g/L" in allowance(carbonate, "us", 0.5).binding
    assert 0 < allowance(carbonate, "us", 5.4).most_g_l < carbonate.max_g_l
    assert allowance(carbonate, "eu", 5.0).most_g_l == 0.0
    assert allowance(salt_called("khco3"), "eu", 0.5).most_g_l > 0
    assert allowance(carbonate, "home", 0.5).most_g_l == carbonate.max_g_l
    assert allowance(salt_called("tartaric"), "eu", 4.0).most_g_l == pytest.approx(1.5, abs=0.01)


def test_an_unknown_salt_names_those_near_it():
    with pytest.raises(UnknownKindError, match="otassium"):
        salt_called("potasium carbonat")


# Potassium and readings --------------------------------------------------------------------------


def test_potassium_ratio_and_its_cost():
    assert ratio_to_hydrogen(617.0, 3.2) == pytest.approx(published_ratio(), rel=0.002)
    full = sticking_odds_factor(np.full(2000, 3.5), np.full(2000, 800.0))
    short = sticking_odds_factor(np.full(2000, 3.0), np.full(2000, 150.0))
    assert (full == 1.0).all()
    assert (short >= 1.0).all()
    assert quantile(short, 0.95) / quantile(short, 0.05) > 2
    assert short.max() <= 50.0 + 1e-9
    sheet = potassium_sheet(np.full(100, 150.0), 10.0, 200.0, np.full(100, 3.2))
    assert sheet.needed_mg_l[1] == pytest.approx(617, abs=1)
    assert sheet.chance_short == 1.0


def test_a_reading_in_mid_ferment_picks_the_members_that_foresaw_it(must, traits):
    path = ph_along(must, course(traits, [(0.0, dap(150.0))]), traits)
    seen = quantile(path.at(0.3), 0.8)
    weights = reading_weights(path, [(0.3, seen, 0.05)])
    assert weights.sum() == pytest.approx(1.0)
    assert effective_members(weights) < MEMBERS / 2
    assert quantile(path.at(0.3), 0.5, weights) == pytest.approx(seen, abs=0.05)
    width = [quantile(path.trough(), 0.95, w) - quantile(path.trough(), 0.05, w)
             for w in (None, weights)]  # fmt: skip
    assert width[1] < 0.5 * width[0]


def test_a_reading_that_tells_all_saves_more_than_one_that_tells_nothing():
    rng = np.random.default_rng(1)
    each = rng.uniform(0, 1, 4000)
    sharp = worth_of_reading("sharp", each, 0.01, each, -each)
    blind = worth_of_reading("blind", rng.uniform(0, 1, 4000), 0.01, each, -each)
    assert sharp.dose_g_l == pytest.approx(0.9, abs=0.02)
    assert sharp.dose_after_g_l == pytest.approx(0.5, abs=0.03)
    assert blind.saved_g_l < 0.05
    assert sharp.width_after < 0.1 * sharp.width


def test_a_bench_trial_finds_the_buffer():
    prior = calibrate(drawn(), 1, ph=3.8, ph_sd=0.02, members=2000).must
    salt = salt_called("khco3")
    beta = 1000 * buffer_capacity(prior.rows) * prior.solvent_kg_l
    strong = int(np.argsort(beta)[int(0.8 * beta.size)])
    mol = 0.25 / salt.molar_mass / prior.solvent_kg_l
    shown = float(solve_ph(prior.rows.with_base(mol))[strong])
    trial = bench_trial(prior, salt, [(0.25, shown)], 0.05, 1, wanted_ph=3.85)
    after = 1000 * buffer_capacity(trial.must.rows) * trial.must.solvent_kg_l
    assert np.std(after) < 0.6 * np.std(beta)
    assert np.median(after) > np.median(beta)
    assert trial.grams_l == pytest.approx(0.25 * (3.85 - 3.8) / (shown - 3.8), rel=0.15)
    several = bench_trial(prior, salt, [(0.1, 3.9), (0.25, shown), (0.5, 4.6)], 0.1, 1)
    assert several.effective < 2000


def test_a_bench_trial_refuses_nonsense(must):
    with pytest.raises(InputError):
        bench_trial(must, salt_called("khco3"), [], 0.05, 1)
    with pytest.raises(InputError):
        bench_trial(must, salt_called("khco3"), [(0.2, 14.0)], 0.05, 1)
    with pytest.raises(InputError):
        batch_grams(0.1, 0.0, 19.0)
