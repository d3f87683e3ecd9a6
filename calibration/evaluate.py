"""Judge the calibration on what was left out: ``python -m calibration.evaluate``.

Leave one site out (refit without it, forecast it), leave one data set out (forecast a medium from
the other two), and the update judged one reading at a time. Writes `evaluation.json` beside this
file; with matplotlib present, the figures of docs/kinetics.md as well.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import em, populations
from calibration.measured import OUTLIER, Site, agave, columns, red_sites, synthetic
from calibration.shared import DISSOLVED_CO2_G_L
from mustwright.kinetics.forecast import Band, Forecast, forecast
from mustwright.kinetics.inputs import MustReading
from mustwright.kinetics.parameters import Population, calibrated, population

Floats = NDArray[np.float64]
HERE = Path(__file__).parent
SEED, MEMBERS = 11, 4000


def brix_forecast(
    site: Site, who: Population, readings: list[MustReading] | None = None
) -> Forecast:
    """Forecast of a site at its own hours, from what was known at pitch (and some readings)."""
    return forecast(
        site.must,
        site.feeds,
        replace(site.conditions, horizon_h=400.0),
        MEMBERS,
        SEED,
        site.t_h,
        readings,
        who,
    )


def compare(band: Band, seen: Floats) -> dict[str, list[float]]:
    """Errors of the median, hits of the bands, and the width of the 90 % band."""
    return {
        "error": (band.p50 - seen).tolist(),
        "in90": ((seen >= band.p05) & (seen <= band.p95)).astype(float).tolist(),
        "in50": ((seen >= band.p25) & (seen <= band.p75)).astype(float).tolist(),
        "width90": (band.p95 - band.p05).tolist(),
    }


def summary(parts: dict[str, dict[str, list[float]]]) -> dict[str, float]:
    """Pooled figures over several fermentations."""
    pool = {k: np.concatenate([np.array(p[k]) for p in parts.values()]) for k in _KEYS}
    error = pool["error"]
    return {
        "points": int(error.size),
        "median_absolute_error": float(np.median(np.abs(error))),
        "mean_absolute_error": float(np.mean(np.abs(error))),
        "root_mean_square_error": float(np.sqrt(np.mean(error**2))),
        "mean_error": float(error.mean()),
        "coverage_90": float(pool["in90"].mean()),
        "coverage_50": float(pool["in50"].mean()),
        "median_width_90": float(np.median(pool["width90"])),
    }


_KEYS = ("error", "in90", "in50", "width90")


def leave_one_site_out(sites: list[Site]) -> dict[str, Population]:
    """A population fitted without each site."""
    return {
        s.name: populations.red([x for x in sites if x.name != s.name], iterations=25, count=4096)
        for s in sites
    }


def red_tables(sites: list[Site], fitted: dict[str, Population]) -> dict[str, Any]:
    """Leave-one-site-out, in several ways of knowing less."""
    unfed = {s.name: s for s in red_sites(feeds_known=False)}
    known, blind, as_honey = {}, {}, {}
    for site in sites:
        known[site.name] = compare(brix_forecast(site, fitted[site.name]).brix, site.brix)
        blind[site.name] = compare(
            brix_forecast(unfed[site.name], fitted[site.name]).brix, site.brix
        )
        as_honey[site.name] = compare(brix_forecast(site, population("honey")).brix, site.brix)
    usual = {k: v for k, v in known.items() if k != OUTLIER}
    return {
        "left_out_site": summary(known),
        "left_out_site_without_outlier": summary(usual),
        "left_out_site_additions_unknown": summary(blind),
        "forecast_as_honey": summary(as_honey),
        "by_site": known,
    }


def one_reading_ahead(sites: list[Site], fitted: dict[str, Population]) -> dict[str, float]:
    """Re-forecast from the first readings, judged on the next one."""
    parts = {}
    for site in sites:
        for upto in (1, 2, 3):
            if upto >= site.t_h.size:
                continue
            read = [
                MustReading(float(t), brix=float(b), sd_gravity=0.001)
                for t, b in zip(site.t_h[:upto], site.brix[:upto], strict=True)
            ]
            told = brix_forecast(site, fitted[site.name], read).brix
            ahead = Band(*(getattr(told, n)[upto : upto + 1] for n in _NAMES))
            parts[f"{site.name} {upto}"] = compare(ahead, site.brix[upto : upto + 1])
    return summary(parts)


_NAMES = ("p05", "p25", "p50", "p75", "p95")


def left_out_sets(sites: list[Site], within: Population) -> dict[str, Any]:
    """Each medium from the other two."""
    known = calibrated()["known"]
    new = populations.new_medium
    red = new("red", [known["synthetic"], known["agave"]], within)
    red = replace(red, fermentable=(0.93, 0.02))
    tables: dict[str, Any] = {
        "red_brix": summary({s.name: compare(brix_forecast(s, red).brix, s.brix) for s in sites})
    }
    told = synthetic_forecast(new("synthetic", [known["red"], known["agave"]], within))
    gas = columns("synthetic_must_co2_mean")
    tables["synthetic_co2"] = summary({"all": compare(released(told.co2_g_l), gas["co2_g_l"])})
    juice = agave_forecast(new("agave", [known["red"], known["synthetic"]], within))
    seen = columns("agave_juice_mean")
    tables["agave_ethanol"] = summary({"all": compare(juice.ethanol_g_l, seen["ethanol_g_l"])})
    return tables


def released(band: Band) -> Band:
    """CO2 that has left, quantile by quantile (the rule is monotonic)."""
    held = DISSOLVED_CO2_G_L
    return Band(*(q - held * (1 - np.exp(-q / held)) for q in _quantiles(band)))


def _quantiles(band: Band) -> list[Any]:
    return [getattr(band, name) for name in _NAMES]


def synthetic_forecast(who: Population) -> Forecast:
    """The synthetic must at the hours of its CO2 points."""
    must, conditions = synthetic()
    hours = columns("synthetic_must_co2_mean")["t_h"]
    return forecast(must, (), conditions, MEMBERS, SEED, hours, prior=who)


def agave_forecast(who: Population) -> Forecast:
    """The agave juice at its hours."""
    must, conditions = agave()
    hours = columns("agave_juice_mean")["t_h"]
    return forecast(must, (), conditions, MEMBERS, SEED, hours, prior=who)


def main() -> None:
    """Judge, write, draw."""
    sites = red_sites()
    fitted = leave_one_site_out(sites)
    within = populations.red(sites)
    report = {
        "red": red_tables(sites, fitted),
        "one_reading_ahead": one_reading_ahead(sites, fitted),
        "left_out_set": left_out_sets(sites, within),
        "settings": {"members": MEMBERS, "seed": SEED, "sd_brix_fit": em.SD_BRIX},
    }
    (HERE / "evaluation.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    brief = {k: v for k, v in report["red"].items() if k != "by_site"}
    print(
        json.dumps(brief | {k: report[k] for k in ("one_reading_ahead", "left_out_set")}, indent=1)
    )
    try:
        from calibration import figures
    except ImportError:
        print("matplotlib is not installed: no figures")
        return
    figures.draw(sites, fitted, within)


if __name__ == "__main__":
    main()
