"""Five answers make the must that the must form would make."""

from __future__ import annotations

import re
import tomllib

import pytest

from batch_pages import words

AT = "/musts/new/first"
ANSWERS = {"volume": "10 L", "target": "12 %", "yeast_kind": "", "temperature": "20 C"}


def made(client, **answers) -> str:
    answer = client.post(AT, data=ANSWERS | answers, follow_redirects=False)
    assert answer.status_code == 303
    return answer.headers["location"]


def test_there_are_five_questions_and_no_more(client):
    page = client.get(AT).text
    form = page.split(f'action="{AT}"')[1].split("</form>")[0]
    assert re.findall(r"<(?:label|legend)[^>]*>\s*(\d)\.", form) == ["1", "2", "3", "4", "5"]


def test_five_answers_make_a_plan_that_is_the_must_forms_own(client):
    here = made(client, jar=["dap", "autolysed_yeast"])
    plan = words(client.get(here).text)
    assert "12.0 % vol" in plan
    assert "ammonium phosphate" in plan
    assert "generic nutrients because your shelf is empty" not in plan
    filled = {**ANSWERS, "name": "By the form", "finish": "dry", "shelf": "own", "do": "save",
              "jar": ["dap", "autolysed_yeast"], "portion.0.kind": "honey",
              "portion.0.amount": "solve", "portion.0.stage": "primary",
              "portion.1.kind": "water", "portion.1.amount": "fill",
              "portion.1.stage": "primary"}  # fmt: skip
    other = client.post("/musts/new", data=filled, follow_redirects=False).headers["location"]
    cellar = client.app.state.compose.cellar
    sheets = [tomllib.loads(cellar.record("sheet", at.rsplit("/", 1)[1]).text)
              for at in (here, other)]  # fmt: skip
    assert sheets[0] == sheets[1]


@pytest.mark.thorough
def test_without_nutrients_the_plan_says_not_to_weigh_by_it(client):
    plan = words(client.get(made(client)).text)
    assert "Do not weigh anything by it" in plan


def test_a_shelf_is_used_and_not_asked_for(client):
    client.app.state.compose.cellar.save("nutrient", "dap", 'kind = "dap"\n', None)
    page = client.get(AT).text
    assert "The plan uses your shelf" in page
    assert 'name="jar"' not in page
    assert "your shelf is empty" not in client.get(made(client)).text


@pytest.mark.parametrize(
    ("field", "value"), [("volume", ""), ("volume", "much"), ("temperature", "warm")]
)
def test_a_wrong_answer_stands_beside_its_question(client, field, value):
    answer = client.post(AT, data=ANSWERS | {"jar": "dap", field: value})
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text
    assert 'value="dap" checked' in answer.text
    assert client.app.state.compose.cellar.records("sheet") == []
