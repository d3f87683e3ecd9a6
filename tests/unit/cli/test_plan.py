"""The plan as the command prints it."""

from __future__ import annotations

import re

import pytest

from mustwright.cli.main import run

SHEET = """
[must]
volume = "19 L"
gravity = "1.095"
[measured]
gravity = "1.095"
[shelf]
dap = { grams_per_teaspoon = 4.0 }
autolysed_yeast = true
"""


def test_teaspoons_stand_beside_the_grams_and_only_where_a_label_tells_them(
    tmp_path, monkeypatch, capsys
):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    sheet = tmp_path / "lane.toml"
    sheet.write_text(SHEET)
    words = ["plan", str(sheet), "--no-forecast", "--protocol", "halves_at_onset_and_third"]
    assert run(words) == 0
    printed = capsys.readouterr().out
    feeds = "\n".join(re.findall(r"\[ \] (?:Onset|One-third break): .*", printed))
    dose = r"([\d.]+) g Ammonium phosphate \(diammonium, DAP\)(?: \(about ([\d.]+) tsp\))?"
    spooned = re.findall(dose, feeds)
    assert spooned
    for grams, spoons in spooned:
        assert float(spoons) == pytest.approx(float(grams) / 4.0, rel=0.05)
    assert "Autolysed-yeast nutrient" in feeds
    assert "Autolysed-yeast nutrient (about" not in feeds
