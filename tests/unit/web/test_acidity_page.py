"""The page of acid and buffer: what it says, what it takes, what it waits for."""

from __future__ import annotations

import re

import pytest

from batch_pages import unlinked
from mustwright.kinetics.ready import warm_up
from mustwright.planning.acidity.request import AcidityRequest
from mustwright.web.forms.acidity_form import read_asked
from mustwright.web.pictures.acid import acid_values
from workings import whole_working

SHEET = """[must]
volume = "10 L"
gravity = "1.090"
temperature = "20 C"
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
amount = "5 g"
[shelf]
dap = "100 g"
"""


@pytest.fixture
def must(app, client):
    warm_up()
    app.state.compose.cellar.save("sheet", "trial", SHEET, None, "Trial")
    return client


def test_same_figures_as_the_use_case(must):
    from mustwright.planning.acidity.report import acidity

    page = unlinked(must.get("/musts/trial/acidity?ph=3.8&protocol=everything_at_pitch").text)
    known = acidity(SHEET, AcidityRequest(ph=3.8), "everything_at_pitch", {}, "Trial")
    assert known.dose.words in page
    assert known.up_front_words.replace("'", "&#39;") in page
    for refusal in known.refusals:
        assert refusal in page


def test_the_picture_in_figures_begins_at_the_must_and_parts_before_from_after_a_dose():
    from mustwright.planning.acidity.report import acidity

    known = acidity(SHEET, AcidityRequest(), "halves_at_onset_and_third", {}, "Trial")
    told = {label: cells for _, label, cells in acid_values(known).moments}
    start = known.start.band
    bare, dosed = told["0 %, before the addition"]
    assert bare == dosed == f"{start.p05.value:.1f} to {start.p95.value:.1f}"
    assert told["0 %, after the addition"][0] != bare  # the first feed is in: its salt is alkaline
    before, after = told["15 %, before the addition"], told["15 %, after the addition"]
    assert before[0] == before[1] == after[0] != after[1]
    assert len(told) == len(acid_values(known).moments)


@pytest.mark.thorough
def test_from_a_recipe_it_asks_for_a_reading(must):
    page = must.get("/musts/trial/acidity").text
    assert "from the recipe alone" in page
    assert "No pH from a recipe alone" in page


def test_the_risk_and_the_units_are_said_in_german(must):
    german = {"Accept-Language": "de"}
    for path in ("/musts/trial/acidity", "/musts/trial"):
        page = re.sub(r"<[^>]+>", "", must.get(path, headers=german).text)
        assert re.search(r"Gefahr eines pH-Sturzes (?:niedrig|mittel|hoch)", page)
        assert not re.search(r"pH-Sturzes (?:low|middle|high)|per pH", page)


def test_each_anchor_of_a_figure_is_a_step_of_the_working(must):
    page = must.get("/musts/trial/acidity?ph=3.8").text
    anchors = set(re.findall(r"acidity/working\?[^\"]*#(w\d+)", page))
    working = whole_working(must, "/musts/trial/acidity/working?ph=3.8")
    assert anchors
    assert anchors <= set(re.findall(r'id="(w\d+)"', working))


@pytest.mark.parametrize(
    ("query", "field"),
    [("ph=sour", "ph"), ("ph=11", "ph"), ("ta=-3", "ta"), ("floor=9", "floor"), ("salt=x", "salt")],
)
def test_bad_fields_are_named_and_the_rest_answered(must, query, field):
    answer = must.get(f"/musts/trial/acidity?{query}")
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text
    assert "What to add, and when" in answer.text


def test_an_unknown_protocol_is_refused_as_on_the_plan_and_an_unknown_must_not_found(must):
    refused = must.get("/musts/trial/acidity?protocol=nonesuch")
    assert refused.status_code == must.get("/musts/trial?protocol=nonesuch").status_code == 422
    assert "nonesuch" in refused.text
    assert must.get("/musts/nonesuch/acidity").status_code == 404


@pytest.mark.usefixtures("compiling")
def test_until_compiled_it_waits(app, client):
    app.state.compose.cellar.save("sheet", "trial", SHEET, None, "Trial")
    for address in ("/musts/trial/acidity", "/musts/trial/acidity/working"):
        page = client.get(address)
        assert page.status_code == 200
        assert "being compiled" in page.text


def test_the_plan_leads_there(must):
    assert 'href="/musts/trial/acidity?protocol=' in must.get("/musts/trial").text


def test_what_is_asked_is_what_was_typed():
    asked, errors = read_asked({"ph": "3,8", "by": "strip", "ta": "53 meq/L", "floor": "3.3"})
    assert errors == {}
    assert (asked.ph, asked.by_strip, asked.floor) == (3.8, True, 3.3)
    assert asked.ta_g_l == pytest.approx(3.98, abs=0.01)
    assert read_asked({})[0].floor == 3.2


def test_a_bench_trial_and_a_target_are_answered_as_by_the_use_case(must):
    from mustwright.planning.acidity.report import acidity

    page = must.get(
        "/musts/trial/acidity?ph=3.8&bench=0.25:3.6&aim_ta=5+g/L&salt=tartaric_acid"
        "&protocol=everything_at_pitch"
    ).text
    asked = AcidityRequest(ph=3.8, bench=((0.25, 3.6),), aim_ta_g_l=5.0, salt="tartaric_acid")
    known = acidity(SHEET, asked, "everything_at_pitch", {}, "Trial")
    assert known.aim.words in page
    assert "Your bench trial" in page
    assert ">2.5" in page  # 0.25 g/L in 10 L


@pytest.mark.parametrize("typed", ["0.25", "a:b", "0.25:14", "999:4"])
def test_a_bench_trial_that_cannot_be_read_is_told_beside_the_field(must, typed):
    answer = must.get("/musts/trial/acidity", params={"bench": typed, "ph": "3.8"})
    assert answer.status_code == 422
    assert 'id="bench-wrong"' in answer.text
    assert f'value="{typed}"' in answer.text
