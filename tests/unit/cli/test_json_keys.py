"""Every key of the JSON that the commands print: scripts of makers read them, so none may go.

`json_keys.json` holds the keys as places (``must.ranges.brix[]``), one list for each answer. A key
that is new is added there by hand; one that is gone breaks somebody's script.
"""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from batch_pages import Cellar
from mustwright.cli import main as cli
from mustwright.compose import Compose

HERE = Path(__file__).parent
EXAMPLES = HERE.parents[2] / "examples"
KEPT = json.loads((HERE / "json_keys.json").read_text(encoding="utf-8"))
HONEY, FRUIT = str(EXAMPLES / "traditional_1100.toml"), str(EXAMPLES / "raspberry_in_primary.toml")
FEW = ("--members", "80")
ANSWERS = {
    "plan": ("plan", HONEY, "--forecast", "--explain"),
    "plan without forecast": ("plan", FRUIT),
    "plan, tailored": ("plan", HONEY, "--tailor"),
    "compare": ("compare", HONEY, "--forecast", "--explain"),
    "acidity": ("acidity", FRUIT, *FEW, "--ph", "3.4", "--explain"),
    "acidity with aim and bench": (
        "acidity", HONEY, *FEW, "--ph", "3.8", "--ta", "3", "--salt", "tartaric", "--aim-ta", "4",
        "--bench", "0.25:4.1",
    ),
    "forecast": ("forecast", HONEY, *FEW),
    "batch show": ("batch", "show", "sour"),
    "batch show, stuck": ("batch", "show", "old-lime"),
    "batch list": ("batch", "list"),
    "batch next": ("batch", "next", "quick"),
    "batch replan": ("batch", "replan", "quick"),
}  # fmt: skip
DEAR = ("plan without forecast", "plan, tailored", "compare", "acidity with aim and bench")


def places(data: object, here: str = "") -> set[str]:
    """Every key by its place; members of a list share theirs."""
    if isinstance(data, dict):
        inner = [places(v, f"{here}.{k}") for k, v in data.items() if k != "working"]
        return set().union(*inner, worked(data.get("working", {}))) or {here}
    if isinstance(data, list) and data:
        return set().union(*(places(one, f"{here}[]") for one in data))
    return {here}


def worked(figures: dict[str, dict[str, object]]) -> set[str]:
    """Which figures have their working, and the keys of a figure, however deep it stands."""
    named = {f"working of {re.sub(r'[0-9]+', '', place)}" for place in figures}
    todo = list(figures.values())
    for figure in todo:
        named |= {f"figure.{key}" for key in figure}
        todo += [one for one in figure.get("inputs", {}).values() if isinstance(one, dict)]
    return named


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A cellar with a batch that has a forecast with pH, one that sticks and one that is quick."""
    folder = tmp_path_factory.mktemp("home")
    cellar = Cellar(Compose(folder))
    cellar.now = datetime.now(UTC)
    cellar.sour()
    cellar.stuck()
    cellar.ahead()
    cellar.compose.close()
    return folder


@pytest.mark.usefixtures("forecasts")
@pytest.mark.parametrize(
    "answer", [pytest.param(a, marks=pytest.mark.thorough if a in DEAR else ()) for a in ANSWERS]
)
def test_no_key_comes_or_goes(answer, home, monkeypatch, capsys):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(home))
    assert cli.run([*ANSWERS[answer], "--json"]) == 0
    found = places(json.loads(capsys.readouterr().out))
    assert found == set(KEPT[answer])
