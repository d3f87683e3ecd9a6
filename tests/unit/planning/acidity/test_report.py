"""The answer on acid: bands, risks, doses within law and label, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from mustwright.errors import InputError, UnknownKindError
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.planning.acidity.as_json import acidity_data, acidity_working
from mustwright.planning.acidity.report import AcidityRequest, acidity

EXAMPLES = Path(__file__).parents[4] / "examples"
SHEETS = sorted(p.stem for p in EXAMPLES.glob("*.toml") if p.stem != "own_protocol")
FEW = 120


def sheet(name: str) -> str:
    return (EXAMPLES / f"{name}.toml").read_text()


def answer(name: str = "traditional_1100", protocol: str | None = "everything_at_pitch", **asked):
    asked = {"members": FEW, **asked}
    return acidity(sheet(name), AcidityRequest(**asked), protocol)


@pytest.mark.parametrize("name", SHEETS)
def test_every_example_is_answered(name):
    data = acidity_data(answer(name), explain=True)
    json.dumps(data, allow_nan=False)
    assert data["working"]
    start, trough = data["start"]["band"], data["trough"]
    assert 2.9 <= start["p05"] <= start["p50"] <= start["p95"]
    assert 2.9 <= trough["band"]["p05"] <= trough["band"]["p95"]
    assert trough["risk"] in ("low", "middle", "high")
    assert 0 <= trough["chance_below_floor"] <= 1
    assert all(2.9 <= row["p05"] <= row["p50"] <= row["p95"] for row in data["path"])


def test_from_a_recipe_only_a_wide_band_and_that_is_said():
    data = acidity_data(answer())
    assert data["start"]["measured"] is False
    assert data["start"]["band"]["p95"] - data["start"]["band"]["p05"] > 0.6
    assert any("recipe alone" in refusal for refusal in data["refusals"])
    assert data["measuring"][0]["reading"].startswith("pH before yeast")


def test_a_measured_ph_narrows_the_start_and_the_trough():
    wide, narrow = acidity_data(answer()), acidity_data(answer(ph=3.8))
    assert narrow["start"]["measured"] is True
    assert narrow["start"]["band"]["p95"] - narrow["start"]["band"]["p05"] < 0.25
    assert not any("recipe alone" in refusal for refusal in narrow["refusals"])
    widths = [d["measuring"][-1]["trough_width_now"] for d in (wide, narrow)]
    assert widths[1] < widths[0]


def test_the_sheets_own_ph_counts_as_measured():
    data = acidity_data(answer("measured_must"))
    assert data["start"]["measured_ph"] == 3.6
    assert any("are assumed" in warning for warning in data["warnings"])


def test_low_values_are_words_not_numbers():
    data = acidity_data(answer(ph=3.5))
    band = data["trough"]["band"]
    assert band["below_shown"] is True
    assert band["p05"] == 2.9
    assert "below 2.9" in band["words"]
    assert "likely to stall" in band["words"]
    assert any("below 2.9" in refusal for refusal in data["refusals"])


def test_the_dose_is_the_smallest_with_nine_in_ten_and_goes_in_later():
    dose = acidity_data(answer(ph=3.8, members=300))["dose"]
    assert dose["schedule"] in ("after_start", "with_feeds")
    assert 0.2 <= dose["g_per_l"] <= 0.8
    assert dose["chance_kept"] >= 0.9
    assert dose["chance_without"] < 0.5
    assert dose["grams"] == pytest.approx(sum(m["grams"] for m in dose["moments"]))
    assert dose["grams"] == pytest.approx(19 * dose["g_per_l"], abs=0.06)
    assert dose["potassium_mg_l"] == pytest.approx(390.5 * dose["g_per_l"], rel=0.001)
    assert any("half" in step for step in dose["steps"])


def test_only_what_a_reading_would_change_is_said_to_be_worth_it():
    data = acidity_data(answer())
    assert "from then on" in data["dose"]["words"]
    assert data["measuring"]
    for one in data["measuring"]:
        assert one["saves_g_per_l"] or one["trough_width_after"] < one["trough_width_now"]


def test_one_to_two_grams_up_front_overshoot():
    data = acidity_data(answer(ph=3.8, salt="potassium carbonate"))
    up_front = {u["g_per_l"]: u["band"] for u in data["up_front"]}
    assert up_front[1.0]["p50"] > 5.5
    assert up_front[2.0]["p05"] > 5.5
    assert up_front[0.25]["p50"] == pytest.approx(4.3, abs=0.4)


def test_no_feeds_and_a_fair_start_need_no_salt():
    data = acidity_data(answer(protocol="none", ph=4.0, floor=2.9))
    assert data["acid_load_meq_l"] == 0
    assert data["dose"]["g_per_l"] == 0
    assert data["dose"]["when"] == "none"
    assert data["dose"]["steps"] == []
    assert data["alternatives"] == []


def test_law_holds_a_dose_back_and_says_so():
    data = acidity_data(answer("traditional_1140", ph=3.7))
    assert data["must"]["volume_l"] > 0
    assert data["dose"]["g_per_l"] == 0
    assert "5.0 g/L" in data["dose"]["limit"]
    assert "CFR24246" in data["dose"]["limit"]
    assert "ammonium" in data["dose"]["words"]


def test_a_label_on_the_shelf_is_never_passed():
    text = sheet("traditional_1100").replace(
        "[shelf]", '[shelf]\npotassium_bicarbonate = { label_max_g_l = 0.2, stock = "50 g" }'
    )
    data = acidity_data(acidity(text, AcidityRequest(ph=3.6, members=FEW), "everything_at_pitch"))
    assert data["dose"]["salt"] == "potassium_bicarbonate"
    assert data["dose"]["g_per_l"] <= 0.2 + 1e-9
    assert data["dose"]["wanted_g_per_l"] > 0.2
    assert data["dose"]["chance_kept"] < 0.9


def test_sources_and_protocols_rank_by_their_ammonium():
    result = acidity(
        sheet("traditional_1100"),
        AcidityRequest(ph=3.8, members=FEW),
        "everything_at_pitch",
        compare=True,
    )
    by_source = {s.id: s.trough.chance_below_floor.value for s in result.by_source}
    assert by_source["amino"] < by_source["blend"] <= by_source["phosphate"] <= by_source["sulfate"]
    assert {p.id for p in result.protocols} == set(built_in_protocols())
    organic = next(p for p in result.protocols if p.id == "organic_only_by_sugar")
    rest = [p for p in result.protocols if p.ammonium_share > 0.7]
    assert organic.ammonium_share == 0
    assert all(
        organic.trough.chance_below_floor.value < p.trough.chance_below_floor.value for p in rest
    )


def test_each_feed_says_what_it_does():
    result = answer(protocol="thirds_on_days_0_2_4", ph=3.8)
    assert len(result.feeds) == 3
    total = sum(f.acid_load_meq_l.value for f in result.feeds)
    assert result.acid_load_meq_l.value == pytest.approx(total)
    assert all(f.moves_trough.value < 0.05 for f in result.feeds)


def test_alkaline_water_is_an_input():
    soft = sheet("traditional_1100").replace(
        'amount = "fill"', 'amount = "fill"\nalkalinity_meq_kg = 0'
    )
    hard = soft.replace("alkalinity_meq_kg = 0", "alkalinity_meq_kg = 3")
    middles = [
        acidity(text, AcidityRequest(members=FEW), "none").start.band.p50.value
        for text in (soft, hard)
    ]
    assert middles[1] > middles[0] + 0.2


def test_an_acid_for_a_titratable_acid():
    data = acidity_data(answer(ta_g_l=3.0, ph=3.6, salt="tartaric", aim_ta_g_l=4.0))
    assert data["aim"]["g_per_l"] == pytest.approx(1.0, abs=0.25)
    assert data["aim"]["grams"] == pytest.approx(19 * data["aim"]["g_per_l"], rel=0.01)
    assert data["aim"]["ph_after"]["p50"] < 3.6


def test_a_bench_trial_is_scaled_to_the_batch():
    data = acidity_data(answer(ph=3.8, bench=((0.25, 4.1),)))
    assert data["bench"]["points"][0]["grams_for_batch"] == pytest.approx(4.75, rel=0.01)
    assert data["bench"]["members_left"] > 5


def test_potassium_of_the_salt_is_credited():
    data = acidity_data(answer(ph=3.8, members=300))
    assert data["potassium"]["dose_mg_l"] == pytest.approx(data["dose"]["potassium_mg_l"])
    assert data["potassium"]["published_ratio"] == 25
    assert data["potassium"]["sticking_odds_factor"] >= 1
    assert 0 <= data["potassium"]["chance_short"] <= 1


def test_cautions_where_the_hand_is():
    data = acidity_data(answer(ph=3.8, salt="potassium carbonate"))
    assert any("goggles" in caution for caution in data["cautions"])
    assert any("erupt" in caution for caution in data["cautions"])
    assert any("law" in caution for caution in data["cautions"])


def test_the_same_seed_gives_the_same_answer():
    first, again = (acidity_data(answer(ph=3.8, seed=7)) for _ in range(2))
    assert first == again
    assert acidity_data(answer(ph=3.8, seed=8)) != first


def test_every_figure_unfolds():
    working = acidity_working(answer(ph=3.8))
    for place in ("dose.g_per_l", "trough.chance_below_floor", "potassium.needed_mg_l"):
        assert working[place].source
        assert working[place].formula


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"ph": 12.0}, "--ph"),
        ({"floor": 2.0}, "--floor"),
        ({"ta_g_l": 0.0}, "--ta"),
        ({"members": 3}, "--members"),
        ({"seed": -1}, "--seed"),
    ],
)
def test_what_cannot_be_is_refused(asked, field):
    with pytest.raises(InputError) as error:
        AcidityRequest(**asked)
    assert error.value.field == field


def test_unknown_names_are_refused():
    with pytest.raises(UnknownKindError):
        answer(salt="moon dust")
    with pytest.raises(UnknownKindError):
        answer(protocol="nobody_knows")
