"""A newcomer's first plan: nothing is on the shelf that nobody put there."""

import re

import pytest

from mustwright.cli.main import run

NEW = {
    "name": "First", "volume": "5 L", "target": "1.090", "temperature": "20 C",
    "portion.0.kind": "honey", "portion.0.amount": "solve",
    "portion.1.kind": "water", "portion.1.amount": "fill",
}  # fmt: skip
SEE = "This plan uses generic nutrients"
JAR = {"name": "Salt", "kind": "dap"}


def new_must(client, **more):
    return client.post("/musts/new", data=NEW | more, follow_redirects=False)


def test_the_form_asks_what_is_there_and_chooses_nothing_unasked(client):
    page = client.get("/musts/new").text
    assert "What is on your shelf?" in page
    assert re.search(r'name="shelf" value="generic"(?! checked)', page)
    assert 'value="cellar"' not in page
    answer = new_must(client)
    assert answer.status_code == 422
    assert "Needs to know what you have" in re.search(r'id="shelf-wrong">([^<]*)<', answer.text)[1]
    assert not client.app.state.compose.cellar.records("sheet")


@pytest.mark.thorough
def test_generic_kinds_are_an_open_choice_and_said_wherever_they_count(client):
    answer = new_must(client, shelf="generic")
    assert answer.status_code == 303
    must = answer.headers["location"]
    for page in ("", "/compare"):
        assert SEE in client.get(must + page).text
    assert 'value="generic" checked' in client.get(f"{must}/edit").text
    client.post("/shelf/new", data=JAR)  # and what the maker has takes their place
    for page in ("", "/compare"):
        assert SEE not in client.get(must + page).text
    assert 'value="cellar" checked' in client.get(f"{must}/edit").text


@pytest.mark.parametrize("way", ["ticked", "shelf"])
def test_what_the_maker_has_is_what_the_first_plan_takes(client, way):
    if way == "shelf":
        client.post("/shelf/new", data=JAR)
        answer = new_must(client)
    else:
        answer = new_must(client, shelf="own", jar=["dap"])
    assert answer.status_code == 303
    text = client.get(answer.headers["location"]).text
    assert SEE not in text
    assert "Autolysed-yeast nutrient</div>" not in text


@pytest.mark.parametrize("command", ["plan", "compare"])
def test_a_sheet_without_nutrients_still_works_by_command_and_says_so(command, tmp_path, capsys):
    sheet = tmp_path / "bare.toml"
    must = '[must]\nvolume = "5 L"\n[measured]\ngravity = "1.090"\n'
    sheet.write_text(must)
    assert run([command, str(sheet), "--no-forecast"]) == 0
    assert SEE in capsys.readouterr().out
    sheet.write_text(must + "[shelf]\ndap = true\n")
    assert run([command, str(sheet), "--no-forecast"]) == 0
    assert SEE not in capsys.readouterr().out
