"""Mixed solutions against PHREEQC (package phreeqpython): another solver, same constants.

Ion pairs are left out on both sides; neutral species have an activity coefficient of one on both.
Tolerance 0.03 pH is the project's; the worst is asserted tighter, so that a change shows.
"""

from __future__ import annotations

import numpy as np
import pytest

from acid_chemistry import NAMES, database
from mustwright.must.acidity.balance import solution, solve_ph

phreeqpython = pytest.importorskip(
    "phreeqpython", reason="phreeqpython (dev extra) is not installed here"
)

# mmol/kg of each acid, and of potassium beyond chloride (negative: chloride beyond potassium)
MIXED = {
    "light honey must": ({"gluconic": 6, "malic": 0.5, "citric": 0.2, "phosphoric": 0.4}, 3),
    "dark honey must": ({"gluconic": 15, "malic": 1, "phosphoric": 2, "amino": 3}, 14),
    "honey must, all DAP": ({"gluconic": 8, "phosphoric": 7.5, "ammonium": 14.3}, 3.5),
    "eaten DAP": ({"gluconic": 8, "phosphoric": 6.5, "succinic": 4.6, "acetic": 6.6}, 2.5),
    "grape must": ({"tartaric": 33, "malic": 22, "phosphoric": 3, "amino": 12}, 38),
    "grape wine": ({"tartaric": 20, "malic": 15, "lactic": 5, "succinic": 6, "acetic": 7}, 22),
    "apple juice": ({"malic": 45, "citric": 1, "phosphoric": 2}, 28),
    "raspberry juice": ({"citric": 90, "malic": 8, "phosphoric": 4}, 45),
    "wort": ({"phosphoric": 9, "citric": 1, "lactic": 1, "amino": 15, "succinic": 2}, 14),
    "after malolactic": ({"tartaric": 18, "lactic": 22, "succinic": 6, "acetic": 8}, 25),
    "strong acid": ({"gluconic": 8, "phosphoric": 2}, -5),
    "too much carbonate": ({"gluconic": 8, "citric": 1, "phosphoric": 1}, 25),
    "lemon": ({"citric": 300, "malic": 20}, 40),
    "citrate in honey must": ({"gluconic": 8, "citric": 3.1}, 12.5),
}  # fmt: skip


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("phreeqc")
    (folder / "must.dat").write_text(database())
    return phreeqpython.PhreeqPython("must.dat", database_directory=folder)


def _theirs(other, acids: dict[str, float], potassium: float) -> float:
    made = {"units": "mol/kgw", "temp": 25, "pH": "4 charge"}
    made |= {NAMES[name]: amount / 1000 for name, amount in acids.items()}
    made |= {"K": max(potassium, 0) / 1000, "Cl": max(-potassium, 0) / 1000}
    return float(other.add_solution({k: v for k, v in made.items() if v}).pH)


@pytest.mark.parametrize("name", MIXED)
def test_a_mixed_solution(name, other):
    acids, potassium = MIXED[name]
    ours = solve_ph(solution({k: v / 1000 for k, v in acids.items()}, potassium / 1000))[0]
    assert ours == pytest.approx(_theirs(other, acids, potassium), abs=0.03)


def test_the_worst_of_them(other):
    off = []
    for acids, potassium in MIXED.values():
        ours = solve_ph(solution({k: v / 1000 for k, v in acids.items()}, potassium / 1000))[0]
        off.append(ours - _theirs(other, acids, potassium))
    print(
        f"worst of {len(off)}: {np.abs(off).max():.4f}, rms {np.sqrt(np.mean(np.square(off))):.4f}"
    )
    assert np.abs(off).max() < 0.002
