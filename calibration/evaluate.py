"""Judge the calibration on what was left out: ``python -m calibration.evaluate``.

Leave one site out (refit without it, forecast it), leave one data set out (forecast a medium from
the others), the update judged on what comes after three readings, honey musts, courses of other
shapes, and musts that must go wrong. Writes `evaluation.json` beside this file; with matplotlib
present, the figures of docs/kinetics.md as well.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import baselines, behaviour, honey, populations, score_fit, shapes
from calibration.measured import OUTLIER, Site, agave, columns, red_sites, synthetic, typed
from calibration.scores import Judged, by_time, figures, judge, part, pool
from mustwright.kinetics import observe
from mustwright.kinetics.forecast import Drawn, carried, fermentations
from mustwright.kinetics.inputs import MustReading
from mustwright.kinetics.parameters import Population, calibrated, population
from mustwright.must.refraction import (
    brix_from_refractive_index,
    refractive_index_from_composition,
)

Floats = NDArray[np.float64]
OUT = Path(__file__).parent / "evaluation.json"
SEED, MEMBERS = 11, 4000
AT_64_H = (60.0, 68.0)
REFRACTOMETER_SD = 0.3  # Brix; read to half a degree
# A course that is the mean of repeats is known to their standard error, as a reading to that of its
# instrument: what is forecast is what would be measured. Repeats behind each mean course:
SYNTHETIC_RUNS, AGAVE_RUNS = 8, 3  # Harle2020, Valle2024


def brix_of(drawn: Drawn, at_h: Floats) -> Floats:
    """What would be read [Brix], times by members, error of reading included."""
    return np.asarray(observe.brix(shapes.read_gravity(drawn, at_h)))


def site_drawn(site: Site, who: Population, readings: list[MustReading] | None = None) -> Drawn:
    """The members of a forecast of a site at its own hours."""
    conditions = replace(site.conditions, horizon_h=400.0)
    return fermentations(site.must, site.feeds, conditions, MEMBERS, SEED, site.t_h, readings, who)


def site_judged(site: Site, who: Population) -> Judged:
    """A site forecast from what was known at pitch."""
    return judge(site.t_h, brix_of(site_drawn(site, who), site.t_h), site.brix)


def leave_one_site_out(
    sites: list[Site], fit: Callable[[list[Site]], Population]
) -> dict[str, Population]:
    """A population fitted without each site."""
    return {s.name: fit([x for x in sites if x.name != s.name]) for s in sites}


def red_tables(
    sites: list[Site], fitted: dict[str, Population], untold: dict[str, Population]
) -> dict[str, Any]:
    """Leave-one-site-out, in several ways of knowing less, and what has to be beaten."""
    known = {s.name: site_judged(s, fitted[s.name]) for s in sites}
    measured = {s.name: site_judged(typed(s), untold[s.name]) for s in sites}
    as_honey = [site_judged(s, population("honey")) for s in sites]
    tables: dict[str, Any] = {"forecast_as_honey": figures(pool(as_honey))}
    for name, judged in (("left_out_site", known), ("only_measured", measured)):
        usual = {k: v for k, v in judged.items() if k != OUTLIER}
        for which, some in (("", judged), ("_without_outlier", usual)):
            every = pool(list(some.values()))
            near = (every.t_h >= AT_64_H[0]) & (every.t_h <= AT_64_H[1])
            tables[f"{name}{which}"] = figures(every)
            tables[f"{name}{which}_by_time"] = by_time(every)
            tables[f"{name}{which}_at_64_h"] = figures(part(every, near))
    tables["baselines"] = red_baselines(sites)
    return tables


def red_baselines(sites: list[Site]) -> dict[str, float]:
    """Mean absolute error [Brix] of what has to be beaten."""
    curve, still = [], []
    for site in sites:
        others = [s for s in sites if s.name not in (site.name, OUTLIER)]
        curve.append(np.abs(baselines.mean_curve(site, others) - site.brix))
        before = np.concatenate([[baselines.start_brix(site)], site.brix[:-1]])
        still.append(np.abs(before - site.brix))
    return {
        "mean_curve_of_the_others": float(np.concatenate(curve).mean()),
        "stays_at_last_reading": float(np.concatenate(still).mean()),
    }


def after_readings(sites: list[Site], fitted: dict[str, Population]) -> dict[str, Any]:
    """Re-forecast from one to three readings: the next point, and all later ones after three."""
    ahead, later, logistic, still, curve = [], [], [], [], []
    for site in sites:
        for upto in (1, 2, 3):
            if upto >= site.t_h.size:
                continue
            read = [
                MustReading(float(t), brix=float(b), sd_gravity=0.001)
                for t, b in zip(site.t_h[:upto], site.brix[:upto], strict=True)
            ]
            told = brix_of(site_drawn(site, fitted[site.name], read), site.t_h)
            ahead.append(
                judge(site.t_h[upto : upto + 1], told[upto : upto + 1], site.brix[upto : upto + 1])
            )
            if upto < 3:
                continue
            t, b = site.t_h[3:], site.brix[3:]
            later.append(judge(t, told[3:], b))
            fall = baselines.logistic(
                baselines.start_brix(site), baselines.END_BRIX, site.t_h[:3], site.brix[:3], t
            )
            others = [s for s in sites if s.name not in (site.name, OUTLIER)]
            mean = baselines.mean_curve(site, others)[3:]
            logistic.append(np.abs(fall - b))
            still.append(np.abs(site.brix[2] - b))
            curve.append(np.abs(mean - b))
    return {
        "next_reading": figures(pool(ahead)),
        "later_after_three": figures(pool(later)),
        "baselines_later_after_three": {
            "logistic": float(np.concatenate(logistic).mean()),
            "last_reading": float(np.concatenate(still).mean()),
            "mean_curve_of_the_others": float(np.concatenate(curve).mean()),
        },
    }  # fmt: skip


def left_out_sets(sites: list[Site], within: Population) -> dict[str, Any]:
    """Each medium from the others."""
    known = calibrated()["known"]
    new = populations.new_medium
    red = new("red", [known["synthetic"], known["agave"]], within)
    red = replace(red, fermentable=(0.93, 0.02))
    synthetic_ = new("synthetic", [known["red"], known["agave"]], within)
    agave_ = new("agave", [known["red"], known["synthetic"]], within)
    return {
        "red_brix": figures(pool([site_judged(s, red) for s in sites])),
        "synthetic_co2": figures(synthetic_judged(synthetic_)),
        "synthetic_co2_by_time": by_time(synthetic_judged(synthetic_)),
        "synthetic_co2_without_error": figures(synthetic_judged(synthetic_, as_measured=False)),
        "agave_ethanol": figures(agave_judged(agave_)),
        "agave_ethanol_without_error": figures(agave_judged(agave_, as_measured=False)),
    }


def weighed(made: Floats) -> Floats:
    """What a scale shows as gone, times by members, as a forecast's band has it."""
    return np.asarray(observe.weight_lost(made, carried(SEED, made.shape[1])))


def measured(values: Floats, error: Floats) -> Floats:
    """What would be measured, times by members, of means known to a standard error."""
    noise = np.random.default_rng(6).normal(0.0, 1.0, values.shape)
    return np.asarray(values + error[:, None] * noise)


def synthetic_judged(who: Population, as_measured: bool = True) -> Judged:
    """CO2 of the synthetic must."""
    must, conditions = synthetic()
    seen = columns("synthetic_must_co2_mean")
    run = fermentations(must, (), conditions, MEMBERS, SEED, seen["t_h"], prior=who).run
    rows = np.searchsorted(run.times_h, seen["t_h"] - 1e-6)
    gas = weighed(run.co2_g_l[rows].astype(float))
    error = as_measured * seen["co2_sd_g_l"] / np.sqrt(SYNTHETIC_RUNS)
    return judge(seen["t_h"], measured(gas, error), seen["co2_g_l"])


def agave_judged(who: Population, as_measured: bool = True) -> Judged:
    """Ethanol of the agave juice."""
    must, conditions = agave()
    seen = columns("agave_juice_mean")
    run = fermentations(must, (), conditions, MEMBERS, SEED, seen["t_h"], prior=who).run
    rows = np.searchsorted(run.times_h, seen["t_h"] - 1e-6)
    ethanol = run.ethanol_g_l[rows].astype(float)
    error = as_measured * seen["ethanol_sd_g_l"] / np.sqrt(AGAVE_RUNS)
    return judge(seen["t_h"], measured(ethanol, error), seen["ethanol_g_l"])


def stirred_table() -> dict[str, Any]:
    """The stirred must at 24 °C, not in any fit: as measured, and two other ways to count it."""
    must, conditions, seen = honey.stirred()
    run = fermentations(must, (), conditions, MEMBERS, SEED, seen.t_h).run
    rows = np.searchsorted(run.times_h, seen.t_h - 1e-6)
    made = run.co2_g_l[rows].astype(float)
    told = judge(seen.t_h, measured(weighed(made), seen.error_g_l), seen.co2_g_l)
    exact = judge(seen.t_h, weighed(made), seen.co2_g_l)
    gas = np.asarray(observe.released(made))
    alone = judge(seen.t_h, measured(gas, seen.error_g_l), seen.co2_g_l)
    return figures(told) | {
        "inside_of_5": int(told.inside.sum()),
        "inside_of_5_without_error": int(exact.inside.sum()),
        "inside_of_5_if_no_vapour_left": int(alone.inside.sum()),
        "by_day": [
            {"t_h": float(t), "seen": float(s), "repeat_sd": float(sd), "low": float(a),
             "middle": float(e + s), "high": float(b), "high_without_error": float(h)}
            for t, s, sd, a, e, b, h in zip(
                told.t_h, told.seen, seen.repeat_sd_g_l, told.low, told.error, told.high,
                exact.high, strict=True,
            )
        ],
    }  # fmt: skip


def gas_table(fitted: dict[str, Population] | None = None) -> dict[str, Any]:
    """Half-times of the honey musts known by their gas, from a population for each."""
    out = {}
    for one in honey.gas_musts():
        who = (fitted or {}).get(one.name, population("honey"))
        end = float(one.t_h[-1])
        hours = np.arange(0.0, end + 1.0, 3.0)
        run = fermentations(
            one.must, one.feeds, one.conditions, MEMBERS, SEED, hours, prior=who
        ).run
        gas = np.asarray(observe.released(run.co2_g_l[: hours.size].astype(float)))
        halves = np.array([honey.half_time(hours, gas[:, k]) for k in range(gas.shape[1])])
        out[one.name] = {
            "seen_h": one.half_h,
            "forecast_h": [float(q) for q in np.quantile(halves, (0.05, 0.25, 0.5, 0.75, 0.95))],
            "place": float(np.mean(halves < one.half_h)),
            "faster_than_middle": float(np.median(halves) / one.half_h),
        }
    return out


def berry_judged(who: Population) -> Judged:
    """The honey and berry must as a refractometer shows it, and its hydrometer as Brix."""
    must, conditions, seen = honey.berry()
    hours = seen["t_h"]
    run = fermentations(must, (), conditions, MEMBERS, SEED, hours, prior=who).run
    rows = np.searchsorted(run.times_h, hours - 1e-6)
    index = refractive_index_from_composition(
        run.extract_g_l[rows].astype(float), run.ethanol_g_l[rows].astype(float)
    )
    brix = np.asarray(brix_from_refractive_index(index))
    brix += np.random.default_rng(2).normal(0, REFRACTOMETER_SD, brix.shape)
    ok = np.isfinite(seen["brix_refractometer_raw"])
    return judge(hours[ok], brix[ok], seen["brix_refractometer_raw"][ok])


def shape_table() -> dict[str, Any]:
    """Courses of other shapes after eight readings."""
    found, met = shapes.after_readings()
    out = {k: figures(v) | {"called_a_fit": met[k]} for k, v in found.items()}
    worst = min(found, key=lambda k: float(found[k].inside.mean()))
    return out | {"worst": {"shape": worst, "inside": float(found[worst].inside.mean())}}


def without_each_honey_course() -> dict[str, Population]:
    """A honey population fitted without each of its courses."""
    known = calibrated()["known"]
    pooled = populations.new_medium("pooled", list(known.values()), population("grape_with_skins"))
    names = [*(one.name for one in honey.gas_musts()), "berry"]
    return {name: populations.honey(pooled, leave_out=name) for name in names}


def honey_tables() -> dict[str, Any]:
    """Honey musts, each from a fit without it, and from the fit that has it."""
    fitted = without_each_honey_course()
    return {
        "gas_left_out": gas_table(fitted),
        "gas_in_the_fit": gas_table(),
        "berry_left_out": figures(berry_judged(fitted["berry"])),
        "berry_in_the_fit": figures(berry_judged(population("honey"))),
    }


def tables(sites: list[Site], quick: bool) -> dict[str, Callable[[], Any]]:
    """What is judged, by name."""
    within = population("grape_with_skins")

    @cache
    def fitted() -> dict[str, Population]:
        return (
            {s.name: within for s in sites} if quick else leave_one_site_out(sites, populations.red)
        )

    @cache
    def untold() -> dict[str, Population]:
        known = population("unknown")
        return (
            {s.name: known for s in sites}
            if quick
            else leave_one_site_out(sites, populations.measured_only)
        )

    return {
        "red": lambda: red_tables(sites, fitted(), untold()),
        "after_readings": lambda: after_readings(sites, fitted()),
        "left_out_set": lambda: left_out_sets(sites, within),
        "stirred_24_c": stirred_table,
        "honey": honey_tables,
        "other_shapes": shape_table,
        "behaviour": behaviour.table,
        "figures": lambda: draw(sites, fitted(), within),
    }


def draw(sites: list[Site], fitted: dict[str, Population], within: Population) -> str:
    """The figures of docs/kinetics.md, where matplotlib is installed."""
    try:
        from calibration import figures as drawing
    except ImportError:
        return "matplotlib is not installed: no figures"
    drawing.draw(sites, fitted, within)
    return "drawn"


def main(arguments: list[str] | None = None) -> None:
    """Judge, write, draw: all of it, or only the tables named; ``--quick`` refits nothing."""
    asked = sys.argv[1:] if arguments is None else arguments
    quick = "--quick" in asked
    every = tables(red_sites(), quick)
    names = [name for name in every if name in asked] or list(every)
    kept = json.loads(OUT.read_text(encoding="utf-8")) if len(names) < len(every) else {}
    found = {name: every[name]() for name in names if not (quick and name == "figures")}
    found.pop("figures", None)
    print(json.dumps(found, indent=1))
    if quick:
        return
    settings = {"members": MEMBERS, "seed": SEED, "members_of_fit": score_fit.COUNT}
    report = kept | found | {"settings": settings}
    OUT.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
