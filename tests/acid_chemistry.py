"""A small thermodynamic database of the must's acids, written for an independent solver.

PHREEQC reads it; only the constants are shared with the package, not the way of solving.
"""

from __future__ import annotations

from mustwright import data
from mustwright.must.acidity.species import Acid, known_acids

NAMES = {
    "gluconic": "Glu", "malic": "Mal", "citric": "Cit", "tartaric": "Tar", "lactic": "Lac",
    "succinic": "Suc", "acetic": "Ace", "phosphoric": "Pho", "ammonium": "Amm", "amino": "Ami",
}  # fmt: skip


def database() -> str:
    """The text of the database."""
    masters = [
        "SOLUTION_MASTER_SPECIES",
        "H H+ -1 H 1.008",
        "H(0) H2 0 H",
        "H(1) H+ -1 0.0",
        "E e- 0 0.0 0.0",
        "O H2O 0 O 16.0",
        "O(0) O2 0 O",
        "O(-2) H2O 0 0.0",
        "K K+ 0 K 39.098",
        "Na Na+ 0 Na 22.99",
        "Cl Cl- 0 Cl 35.453",
        "Carb Carb-2 2 Carb 60.0",
    ]
    species = [
        "SOLUTION_SPECIES",
        "H+ = H+\n log_k 0",
        "e- = e-\n log_k 0",
        "H2O = H2O\n log_k 0",
        f"H2O = OH- + H+\n log_k {-data.load('acids')['water']['pk']}",
        "2H2O = O2 + 4H+ + 4e-\n log_k -86.08",
        "2H+ + 2e- = H2\n log_k -3.15",
        "K+ = K+\n log_k 0",
        "Na+ = Na+\n log_k 0",
        "Cl- = Cl-\n log_k 0",
        "Carb-2 = Carb-2\n log_k 0",
    ]
    first, second = data.load("acids")["carbonic"]["pk"]
    species.append(f"Carb-2 + H+ = HCarb-\n log_k {second}")
    species.append(f"Carb-2 + 2H+ = H2Carb\n log_k {first + second}\n -gamma 0 0")
    for acid in known_acids():
        master, lines = _acid(acid)
        masters.append(master)
        species += lines
    return "\n".join([*masters, *species, "END", ""])


def _acid(acid: Acid) -> tuple[str, list[str]]:
    name, steps = NAMES[acid.id], len(acid.pk)
    charge = acid.top - steps

    def written(protons: int) -> str:
        z = charge + protons
        sign = "" if z == 0 else f"{'+' if z > 0 else '-'}{abs(z) if abs(z) > 1 else ''}"
        return f"{'H' if protons else ''}{protons if protons > 1 else ''}{name}{sign}"

    base = written(0)
    lines = [f"{base} = {base}\n log_k 0"]
    if charge == 0:
        lines[0] += "\n -gamma 0 0"
    total = 0.0
    for n, pk in enumerate(reversed(acid.pk), 1):
        total += pk
        line = f"{base} + {n if n > 1 else ''}H+ = {written(n)}\n log_k {total}"
        if charge + n == 0:
            line += "\n -gamma 0 0"
        lines.append(line)
    return f"{name} {base} 0 {name} 100.0", lines
