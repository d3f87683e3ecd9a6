"""How fast is the acid: 100,000 solves on one core, and a path with and without interpolation.

Run with the package on the path: ``python benchmarks/acidity.py``; exit code 1 when the limit of
0.25 s for 100,000 solves is passed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from mustwright.must.acidity.balance import Solution, sid_for_ph, solution, solve_ph
from mustwright.must.acidity.course import draw_traits, nutrient_addition, usual_course
from mustwright.must.acidity.members import draw_must
from mustwright.must.acidity.path import ph_along
from mustwright.must.blend import Blend, Portion
from mustwright.must.ingredient import all_ingredients

ROWS, LIMIT_S = 100_000, 0.25
FORECAST_RATIO = 1.5
HONEY_MUST = """
[must]
volume = "19 L"
gravity = "1.095"
temperature = "20 C"
[measured]
ph = 3.8
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
[shelf]
dap = "200 g"
autolysed_yeast = "500 g"
"""


def musts(rows: int) -> Solution:
    """Musts as unlike one another as the forms allow, each with its own temperature and alcohol."""
    rng = np.random.default_rng(1)
    largest = {
        "gluconic": 0.02, "malic": 0.05, "citric": 0.05, "tartaric": 0.03, "lactic": 0.02,
        "succinic": 0.01, "acetic": 0.01, "phosphoric": 0.02, "ammonium": 0.02, "amino": 0.02,
    }  # fmt: skip
    return solution(
        {name: rng.uniform(0, most, rows) for name, most in largest.items()},
        rng.uniform(-0.005, 0.05, rows),
        temperature_c=rng.uniform(5, 35, rows),
        ethanol_pct_vol=rng.uniform(0, 15, rows),
        sugar_mass_pct=rng.uniform(0, 30, rows),
        co2=0.03,
    )


def best_of(work: Callable[[], object], times: int = 5) -> float:
    """Shortest of some runs, the compiling one left out [s]."""
    work()
    took = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)


def main() -> int:
    """Print the times; 1 when the limit is passed."""
    rows = musts(ROWS)
    ph = solve_ph(rows)
    solving = best_of(lambda: solve_ph(rows))
    print(f"{ROWS} solves: {solving:.3f} s (limit {LIMIT_S} s)")
    print(f"{ROWS} closed forms (base to a pH): {best_of(lambda: sid_for_ph(rows, ph)):.3f} s")
    print(
        f"{ROWS} solves in plain NumPy: {best_of(lambda: solve_ph(rows, compiled=False), 1):.3f} s"
    )
    known = all_ingredients()
    blend = Blend([Portion(known["honey_generic"], 5.5), Portion(known["tap_water"], 14.0)])
    must = draw_must(blend.portions, blend.volume_l, blend.sugar_g_l, 20.0, 2000, 1)
    traits = draw_traits(2000, 1)
    feed = nutrient_addition("DAP", [1.0], ammonium_mg_l=150, ammonium_phosphate_g_l=0.707)
    course = usual_course(
        traits, sugar_g_l=blend.sugar_g_l, fermentable_g_l=blend.fermentable_g_l,
        temperature_c=20.0, ammonium_mg_l=1.0, amino_mg_l=12.0, additions=[(0.1, feed)],
        points=np.linspace(0, 1, 121),
    )  # fmt: skip
    for every in (1, 4, 8):
        took = best_of(lambda every=every: ph_along(must, course, traits, every=every), 3)
        error = ph_along(must, course, traits, every=every).interpolation_error
        print(
            f"2000 members x {course.points} points, every {every}: {took:.3f} s, error {error:.4f}"
        )
    forecasts()
    return 0 if solving <= LIMIT_S else 1


def forecasts() -> None:
    """A forecast with its pH against the same without; pairs in turn, so that load hits both."""
    from mustwright.planning.forecast import forecast

    for members in (600, 2000):
        without, with_ph = [], []
        for k in range(16):
            for switch, took in ((False, without), (True, with_ph)):
                began = time.perf_counter()
                forecast(HONEY_MUST, "halves_at_onset_and_third", members=members, with_ph=switch)
                if k:  # the first pair compiles
                    took.append(time.perf_counter() - began)
        best, middle = min(with_ph) / min(without), np.median(with_ph) / np.median(without)
        print(
            f"forecast of {members}: {min(without):.3f} s without pH, {min(with_ph):.3f} s with; "
            f"ratio {best:.2f} (best), {middle:.2f} (middle); wanted at most {FORECAST_RATIO:g}"
        )


if __name__ == "__main__":
    sys.exit(main())
