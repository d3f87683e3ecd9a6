"""The liquid that steps start from, and what it is once they are done."""

from __future__ import annotations

from dataclasses import fields
from datetime import date

import pytest

from finish_cases import CASES
from mustwright.batch.finishing_record import FACTS
from mustwright.bench.field_text import printed, words
from mustwright.bench.liquid import FACTS as WAYS
from mustwright.bench.liquid import IN_WORDS as SAID
from mustwright.bench.liquid import NAMES, MeadNow, mead_now
from mustwright.bench.step_table import STEPS, answer, run_step, then
from mustwright.figure import Figure
from mustwright.finishing.step import finishing_data

TODAY = date(2026, 3, 1)


def typed_for(mead, step):
    """What a step takes from the liquid by the same name."""
    wanted = {one.name for one in STEPS[step].fields}
    return {name: text for name, text in mead.typed().items() if name in wanted}


LANE = MeadNow(volume_l=19.0, gravity=0.998, alcohol_pct=13.0, ph=3.5, batch="lane")


def test_every_fact_can_be_typed_and_read_back():
    assert set(WAYS) == set(FACTS)  # what a log may keep of a mead is what can be typed of it
    assert set(WAYS) | set(SAID) | {"wrong"} == {f.name for f in fields(MeadNow)}
    full = MeadNow(
        19.0, 0.998, 13.0, 3.5, 20.0, 5.0, 1.2, 1.098, 8.0, 35.0, 0.8, 90.0, 17.0, 3.0, 2.0,
        "pasteurised", "us", "lane",
    )  # fmt: skip
    typed = full.typed()
    assert set(typed) == set(NAMES)
    assert mead_now(typed) == full
    assert mead_now({}) == MeadNow()


def test_other_fields_are_passed_over_and_bad_ones_kept_as_errors():
    found = mead_now({"volume": "19 C", "ph": "3.5", "colour": "red", "alcohol": " "})
    assert (found.volume_l, found.ph, found.alcohol_pct) == (None, 3.5, None)
    assert list(found.wrong) == ["volume"]
    assert found.wrong["volume"].got == "19 C"


def test_sulfite_then_sorbate_protect_and_count():
    dose = run_step("sulfite", {**typed_for(LANE, "sulfite"), "molecular": "0.8"})
    after = then(LANE, dose)
    assert after.total_so2_mg_l == pytest.approx(dose.total_after_mg_l.value)
    assert after.potassium_mg_l == pytest.approx(dose.potassium_mg_l.value)
    assert after.molecular_so2_mg_l == pytest.approx(0.8, abs=1e-6)
    assert after.ph == 3.5
    sorbate = run_step("sorbate", typed_for(after, "sorbate"))
    last = then(after, sorbate)
    assert last.stabilised == "sulfite+sorbate"
    assert last.sorbic_acid_mg_l == pytest.approx(sorbate.sorbic_acid_mg_l.value)
    both = dose.potassium_mg_l.value + sorbate.potassium_mg_l.value
    assert last.potassium_mg_l == pytest.approx(both)


def test_sorbate_without_enough_sulfite_does_not_count_as_protection():
    weak = MeadNow(volume_l=19.0, alcohol_pct=12.0, molecular_so2_mg_l=0.5)
    assert then(weak, run_step("sorbate", typed_for(weak, "sorbate"))).stabilised == ""


def test_a_second_dose_of_sorbate_counts_the_first():
    first = run_step("sorbate", {"volume": "19 L", "alcohol": "12 %", "profile": "eu"})
    again = run_step("sorbate", {
        "volume": "19 L", "alcohol": "9 %", "profile": "eu",
        "sorbic": f"{first.sorbic_acid_mg_l.value} mg/L",
    })  # fmt: skip
    assert first.sorbic_acid_mg_l.value < again.sorbic_acid_mg_l.value <= 200
    fraction = finishing_data()["sorbate"]["sorbic_fraction"]
    brought = 1000 * again.weigh_g.value * fraction / 19
    assert again.sorbic_acid_mg_l.value == pytest.approx(first.sorbic_acid_mg_l.value + brought)


def test_sweetening_thins_what_is_kept_in_grams():
    before = MeadNow(19.0, 0.998, 13.0, 3.5, total_so2_mg_l=60.0, free_so2_mg_l=30.0)
    done = run_step("sweeten", {**typed_for(before, "sweeten"), "to": "1.015"})
    after = then(before, done)
    volume = done.new_volume_l.value
    assert after.total_so2_mg_l == pytest.approx(60 * 19 / volume)
    assert after.total_so2_mg_l * after.volume_l == pytest.approx(60 * 19)
    assert after.free_so2_mg_l is None
    assert after.residual_sugar_g_l == pytest.approx(done.sugar_after_g_l.value)


def test_racking_losses_thin_nothing_but_topping_up_does():
    before = MeadNow(20.0, 0.998, 13.0, total_so2_mg_l=60.0)
    bare = run_step("rack", {"volume": "20 L"})
    assert then(before, bare).total_so2_mg_l == pytest.approx(60)
    assert then(before, bare).volume_l < 20
    topped = run_step("rack", CASES["rack"][2])
    shrunk = 60 * topped.racked_l.value / topped.volume_after_l.value
    assert then(before, topped).total_so2_mg_l == pytest.approx(shrunk)


def test_priming_raises_alcohol_and_leaves_gas():
    done = run_step("carbonate", CASES["carbonate"][2])
    after = then(MeadNow(19.0, alcohol_pct=12.0), done)
    assert after.alcohol_pct == pytest.approx(12 + done.alcohol_rise_pct.value)
    assert after.co2_g_l == pytest.approx(done.target_co2_g_l.value)


def test_a_blend_is_a_liquid_of_its_own():
    lots = [
        {"name": "a", "volume": "9 L", "alcohol": "14 %", "gravity": "1.01"},
        {"name": "b", "volume": "9 L", "alcohol": "9 %", "gravity": "0.998"},
    ]
    done = run_step("blend", {"lot": lots, "target": ["alcohol=12 %"]})
    after = then(LANE, done)
    assert after.alcohol_pct == pytest.approx(12, abs=0.01)
    assert (after.ph, after.batch) == (None, "lane")


def test_every_result_has_an_answer():
    cases = ("stable", "rack", "sulfite", "sorbate", "sweeten", "acid", "buffer", "carbonate",
             "keg", "bottle")  # fmt: skip
    said = {case: answer(run_step(CASES[case][1], CASES[case][2], TODAY)) for case in cases}
    assert said["stable"].endswith("Look again on 1 March 2026, 28 days after the last reading.")
    assert said["rack"].startswith("About 18.70 L come over; top up with 0.11 L of water")
    assert said["sulfite"].startswith("Add 8.9 mL of the stock (0.89 g of potassium metabisulfite)")
    assert said["sweeten"].startswith("Protect it first. Then 1052 g of blossom honey bring it to")
    assert "half of it first (4.3 g)" in said["buffer"]
    assert said["keg"] == "Set the keg to 1.00 bar for 2.50 volumes."
    assert said["bottle"].startswith("31 bottles: 20 of 750 mL and 11 of 375 mL")
    with pytest.raises(TypeError):
        answer("no result")


def test_nothing_to_add_is_said():
    enough = {"volume": "19 L", "ph": "3.2", "alcohol": "12 %", "free": "60 mg/L"}
    assert answer(run_step("sulfite", enough)).startswith("Add none")


def test_words_and_figures():
    assert words("new_volume_l") == "New volume"
    assert printed(Figure(-0.0001, "L", "", "")) == "0.00 L"
    assert printed(Figure(2500.4, "g", "", "")) == "2500 g"
