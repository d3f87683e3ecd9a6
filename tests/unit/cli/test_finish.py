"""The finish commands: what they print, and their errors."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from finish_cases import CASES, words_of
from mustwright.bench.step_table import STEPS
from mustwright.cli.main import run

SULFITE = ["finish", "sulfite", "--volume", "19 L", "--ph", "3.5", "--alcohol", "12 %",
           "--temperature", "20 C", "--molecular", "0.8"]  # fmt: skip


def answered(capsys, *words):
    assert run([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def refused(capsys, *words):
    assert run([*words, "--json"]) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    return json.loads(captured.out)["error"]


def test_contract_examples(capsys):
    sulfite = answered(capsys, *SULFITE)
    assert {"free_so2_mg_l", "metabisulfite_g"} <= set(sulfite)
    gas = answered(capsys, "finish", "carbonate", "--volume", "19 L", "--temperature", "20 C",
                   "--co2-volumes", "2.5", "--sugar", "sucrose")  # fmt: skip
    assert {"residual_co2_volumes", "sugar_g", "pressure_bar_30c"} <= set(gas)
    sweet = answered(capsys, "finish", "sweeten", "--volume", "19 L", "--gravity", "0.998",
                     "--alcohol", "13 %", "--to", "1.015", "--with", "honey")  # fmt: skip
    assert {"kg", "new_volume_l", "new_alcohol_pct"} <= set(sweet)


def test_json_with_working_names_sources(capsys):
    working = answered(capsys, *SULFITE, "--explain")["working"]
    assert working["free_so2_mg_l"]["source"] == "OIVAS323"
    deep = json.dumps(working)
    assert "Usseglio1984" in deep


def test_text_has_figures_steps_and_caution(capsys):
    assert run(SULFITE) == 0
    text = capsys.readouterr().out
    for words in ("Metabisulfite: 1.15", "[ ] Weigh 1.15 g", "Caution", "asthma"):
        assert words in text
    assert run([*SULFITE, "--explain"]) == 0
    assert "source: OIVAS323" in capsys.readouterr().out


@pytest.mark.parametrize("name", list(STEPS))
def test_every_command_says_what_it_needs(name, capsys):
    assert run(["finish", name, "--help"]) == 0
    assert STEPS[name].heading in capsys.readouterr().out
    error = refused(capsys, "finish", name)
    assert error["field"]
    assert error["message"].startswith(error["field"])


@pytest.mark.parametrize(
    ("words", "field"),
    [
        ([*SULFITE, "--ph", "9"], "ph"),
        ([*SULFITE, "--profile", "mars"], "profile"),
        ([*SULFITE, "--volume", "19 C"], "volume"),
        (["finish", "sorbate", "--volume", "9 L", "--alcohol", "9", "--malolactic"], "malolactic"),
        (["finish", "sweeten", "--volume", "19 L", "--gravity", "0.998", "--alcohol", "13 %",
          "--to", "1.015", "--stabilised", "no"], "stabilised"),
        (["finish", "carbonate", "--volume", "19 L", "--temperature", "20 C", "--co2-volumes",
          "2.5", "--fermentable", "8 g/L"], "fermentable"),
        (["finish", "carbonate", "--volume", "19 L", "--temperature", "20 C", "--co2-volumes",
          "2.5", "--bottle", "wine"], "bottle"),
        (["finish", "blend", "--lot", "name=a", "--target", "alcohol=12 %"], "lot 1"),
    ],
)  # fmt: skip
def test_errors(words, field, capsys):
    error = refused(capsys, *words)
    assert error["field"] == field
    assert set(error) == {"field", "requirement", "got", "message"}


def test_labels_are_written(tmp_path: Path, capsys):
    file = tmp_path / "labels.pdf"
    words = ["finish", "bottle", "--volume", "5 L", "--name", "Lane", "--alcohol", "12 %"]
    answered(capsys, *words, "--labels", str(file), "--link", "https://example.org/7")
    assert file.read_bytes().startswith(b"%PDF")
    error = refused(capsys, *words, "--labels", str(tmp_path / "none" / "labels.pdf"))
    assert error["field"] == "labels"


@pytest.mark.parametrize(
    "words",
    [
        ["stable", "--reading", "0 d: 1.000", "--reading", "20 d: 1.000"],
        ["rack", "--volume", "20 L"],
        ["sorbate", "--volume", "19 L", "--alcohol", "12 %"],
        ["acid", "--volume", "19 L", "--acidity", "4 g/L", "--to-acidity", "5 g/L"],
        ["tannin", "--volume", "19 L"],
        ["spice", "--volume", "19 L", "--dose", "1 g/L"],
        ["bottle", "--volume", "19 L"],
        ["blend", "--lot", "volume=9 L, alcohol=14 %, gravity=1.01", "--lot",
         "volume=9 L, alcohol=8 %, gravity=0.998", "--target", "gravity=1.00 to 1.01"],
    ],
    ids=lambda words: words[0],
)  # fmt: skip
def test_text_of_every_step(words, capsys):
    assert run(["finish", *words]) == 0
    text = capsys.readouterr().out
    assert "Do\n" in text
    assert "Figure(" not in text


METRIC = re.compile(r"\d\s?(?:kg|L|°C|C)(?![\w/])|°C|\blitres?\b(?! of carbon dioxide)|kilograms?")


@pytest.mark.parametrize("case", CASES)
def test_a_step_in_us_units_says_nothing_in_litres_kilograms_or_celsius(capsys, case):
    assert run([*words_of(case), "--units", "us"]) == 0
    text = capsys.readouterr().out
    law = re.compile(r"^.*(?:Law:|for sale is filled only in listed sizes).*$", re.MULTILINE)
    said = law.sub("", text)
    found = [said[max(m.start() - 50, 0) : m.end() + 20] for m in METRIC.finditer(said)]
    stays = ("per litre", "of gas", "bar at 20 C")  # the last is how law sorts its classes
    assert [one for one in found if not any(words in one for words in stays)] == []
