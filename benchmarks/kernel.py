"""Is the ensemble kernel fast and right? ``python -m benchmarks.kernel --json``.

10,000 fermentations of 21 days with three feeds, on the cores of this machine. Every solver works
at the loosest setting that keeps sugar within 0.1 g/L of a reference at a relative tolerance of
1e-10, found on 32 members. Libraries that are not installed are left out (null).
"""

from __future__ import annotations

import argparse
import ast
import inspect
import json
import os
import resource
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

# Run as a file, Python looks beside this file only.
sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.rivals import (
    Task,
    clock,
    cvode,
    diffrax_ensemble,
    scipy_lsoda,
    scipy_solve_ivp,
)
from mustwright.kinetics import ensemble, members, simulate
from mustwright.kinetics.inputs import Conditions, MustAtPitch, NitrogenPulse, PulseTrigger
from mustwright.kinetics.parameters import population

Floats = NDArray[np.float64]
COUNT = 10_000
ALLOWED_G_L = 0.1
SAMPLE = 32
HOURS = np.arange(0.0, 505.0, 12.0)
PULSES = ((24.0, 0.03, 0.03), (48.0, 0.03, 0.03), (96.0, 0.03, 0.03))
FEEDS = tuple(NitrogenPulse(PulseTrigger(at_h=h), 1000 * a, 1000 * b) for h, a, b in PULSES)
CONDITIONS = Conditions(20.0, horizon_h=504.0)
MUST = MustAtPitch.from_gravity(1.100, 19.0, ammonium_n_mg_l=20.0, amino_n_mg_l=40.0)
FLOPS = (ast.Add, ast.Sub, ast.Mult, ast.Div)


def task(count: int) -> Task:
    """The work, for so many members."""
    built = members.build(MUST, CONDITIONS, members.draw(count, 1), population("honey"))
    return Task(built, PULSES, HOURS)


def kernel(work: Task, step_h: float) -> simulate.Run:
    """Our run."""
    return simulate.run(work.members, CONDITIONS, FEEDS, HOURS, MUST.gravity, step_h)


def loosest(settings: list[float], solve: Callable[[float], Floats], truth: Floats) -> Any:
    """The first setting within the allowed error, and that error."""
    for setting in settings:
        miss = float(np.max(np.abs(solve(setting) - truth)))
        if miss <= ALLOWED_G_L:
            return setting, miss
    raise RuntimeError("no setting is accurate enough")


def operations() -> int:
    """Additions, multiplications and divisions of one step of one member, from the source.

    Comparisons, maxima and the arithmetic of addresses are not counted.
    """
    tree = ast.parse(inspect.getsource(ensemble))
    functions = {n.name: n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}

    def count(node: ast.AST) -> int:
        if isinstance(node, ast.Subscript):
            return 0
        own = isinstance(node, ast.BinOp) and isinstance(node.op, FLOPS)
        if own and isinstance(node.left, ast.Constant) and isinstance(node.right, ast.Constant):
            own = False  # folded by the compiler
        total = int(own) + sum(count(child) for child in ast.iter_child_nodes(node))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            callee = functions.get(node.func.id)
            total += sum(count(line) for line in callee.body) if callee else 0
        return total

    loops = [n for n in ast.walk(functions["run_blocks"]) if isinstance(n, ast.For)]
    step = next(
        n
        for n in loops
        if "_rates" in ast.unparse(n) and not any(isinstance(c, ast.For) for c in n.body)
    )
    return sum(count(line) for line in step.body)


@njit(parallel=True, fastmath=True)
def _multiply_add(rounds: int, lanes: Floats) -> float:  # type: ignore[no-untyped-def]
    total = np.zeros(lanes.shape[0])
    for worker in prange(lanes.shape[0]):
        a = np.empty(128)
        for i in range(128):
            a[i] = lanes[worker] + i * 1e-9
        for _ in range(rounds):
            for i in range(128):
                a[i] = a[i] * 0.999999 + 1e-7
        total[worker] = a.sum()
    return total.sum()


def peak_flops() -> float:
    """Multiply-adds this machine really does, both counted [1/s]."""
    threads = numba.get_num_threads()
    lanes, rounds = np.ones(threads), 2_000_000
    _multiply_add(10, lanes)
    return 2.0 * 128 * rounds * threads / clock(lambda: _multiply_add(rounds, lanes))


def measure_libraries(work: Task, truth: Floats) -> dict[str, Any]:
    """Milliseconds for one member, and the setting, by library."""
    out: dict[str, Any] = {}

    def scipy_all(rtol: float) -> Floats:
        return np.stack([scipy_lsoda(work, k, rtol) for k in range(SAMPLE)], axis=1)

    tolerances = [10.0**-p for p in (2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7)]
    rtol, miss = loosest(tolerances, scipy_all, truth)
    ms = 1e3 * clock(lambda: scipy_all(rtol)) / SAMPLE
    out["scipy_odeint"] = {"rtol": rtol, "miss": miss, "ms": ms}

    def scipy_new(rtol: float) -> Floats:
        return np.stack([scipy_solve_ivp(work, k, rtol) for k in range(SAMPLE)], axis=1)

    rtol, miss = loosest(tolerances, scipy_new, truth)
    ms = 1e3 * clock(lambda: scipy_new(rtol)) / SAMPLE
    out["scipy"] = {"rtol": rtol, "miss": miss, "ms": ms}
    for name, function in (("cvode", _cvode), ("diffrax", _diffrax)):
        try:
            out[name] = function(work, truth, tolerances)
        except ImportError:
            out[name] = None
    return out


def _cvode(work: Task, truth: Floats, tolerances: list[float]) -> dict[str, float]:
    def every(rtol: float) -> Floats:
        solve = cvode(work, rtol)
        return np.stack([solve(k) for k in range(SAMPLE)], axis=1)

    rtol, miss = loosest(tolerances, every, truth)
    solve = cvode(work, rtol)
    return {
        "rtol": rtol,
        "miss": miss,
        "ms": 1e3 * clock(lambda: [solve(k) for k in range(SAMPLE)]) / SAMPLE,
    }


def _diffrax(_work: Task, truth: Floats, tolerances: list[float]) -> dict[str, Any]:
    count = 1000
    many = task(count)
    starts = np.stack([many.start(k) for k in range(count)])
    constants = np.stack([many.constants(k) for k in range(count)])
    best: dict[str, Any] = {"ms": np.inf}
    for solver in ("Tsit5", "Kvaerno5"):

        def few(rtol: float, solver: str = solver) -> Floats:
            run = diffrax_ensemble(many, rtol, solver)
            return np.asarray(run(starts[:SAMPLE], constants[:SAMPLE])).T

        rtol, miss = loosest(tolerances, few, truth)
        run = diffrax_ensemble(many, rtol, solver)
        run(starts, constants).block_until_ready()
        ms = 1e3 * clock(lambda run=run: run(starts, constants).block_until_ready()) / count
        if ms < best["ms"]:
            best = {"solver": solver, "rtol": rtol, "miss": miss, "ms": ms, "members": count}
    return best


def main(arguments: list[str] | None = None) -> dict[str, Any]:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--kernel-only", action="store_true", help="leave the libraries out")
    chosen = parser.parse_args(arguments)
    few, work = task(SAMPLE), task(COUNT)
    truth = np.stack([scipy_lsoda(few, k, 1e-10) for k in range(SAMPLE)], axis=1)
    step, _ = loosest(
        [2.0, 1.0, 0.5, 0.25], lambda h: kernel(few, h).sugar_g_l.astype(float), truth
    )
    miss = {
        str(h): float(np.max(np.abs(kernel(few, h).sugar_g_l - truth))) for h in (2.0, 1.0, 0.5)
    }
    kernel(work, step)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    seconds = clock(lambda: kernel(work, simulate.STEP_H), 7)
    equal = clock(lambda: kernel(work, step), 7)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    steps = HOURS[-1] / simulate.STEP_H
    rate = operations() * steps * COUNT / seconds
    peak = peak_flops()
    report: dict[str, Any] = {
        "seconds_10000": seconds,
        "step_h": simulate.STEP_H,
        "max_error_g_l": miss[str(simulate.STEP_H)],
        "max_error_by_step_g_l": miss,
        "seconds_10000_at_equal_accuracy": equal,
        "step_h_at_equal_accuracy": step,
        "operations_per_step": operations(),
        "gigaflops": rate / 1e9,
        "peak_gigaflops": peak / 1e9,
        "peak_fraction": rate / peak,
        "memory_whole_process_mb": grown / 1024,
        "memory_growth_mb": (grown - before) / 1024,
        "threads": numba.get_num_threads(),
        "load_before": os.getloadavg()[0],
        "versions": {"python": sys.version.split()[0], "numpy": np.__version__,
                     "numba": numba.__version__},
    }  # fmt: skip
    if not chosen.kernel_only:
        libraries = measure_libraries(few, truth)
        report["libraries"] = libraries
        for name, found in libraries.items():
            ours_ms, strict_ms = 1e3 * equal / COUNT, 1e3 * seconds / COUNT
            report[f"ratio_{name}"] = None if found is None else found["ms"] / ours_ms
            report[f"ratio_{name}_half_hour_steps"] = (
                None if found is None else found["ms"] / strict_ms
            )
    if chosen.json:
        print(json.dumps(report, indent=1))
    else:
        for key, value in report.items():
            print(f"{key}: {value}")
    return report


if __name__ == "__main__":
    main()
