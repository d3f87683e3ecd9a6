"""Figures of docs/kinetics.md: measured points over the bands forecast without them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from numpy.typing import NDArray

matplotlib.use("svg")
import matplotlib.pyplot as plt

from calibration import populations
from calibration.evaluate import MEMBERS, SEED
from calibration.measured import Site, agave, columns, synthetic
from mustwright.kinetics.bands import Band
from mustwright.kinetics.forecast import forecast
from mustwright.kinetics.parameters import Population, calibrated, population

Floats = NDArray[np.float64]
OUT = Path(__file__).parents[1] / "docs" / "figures"
matplotlib.rcParams.update({"svg.hashsalt": "mustwright", "font.size": 8})


def shade(axes: Any, hours: Floats, band: Band, colour: str, label: str | None = None) -> None:
    """90 % and 50 % bands with the median."""
    axes.fill_between(hours, band.p05, band.p95, color=colour, alpha=0.18, lw=0)
    axes.fill_between(hours, band.p25, band.p75, color=colour, alpha=0.30, lw=0)
    axes.plot(hours, band.p50, color=colour, lw=1, label=label)


def save(figure: Any, name: str) -> None:
    """Write one SVG without a date, so that reruns do not differ."""
    figure.tight_layout()
    figure.savefig(OUT / f"{name}.svg", metadata={"Date": None})
    plt.close(figure)


def red(sites: list[Site], fitted: dict[str, Population]) -> None:
    """Every site over the band made without it."""
    figure, grid = plt.subplots(3, 5, figsize=(11, 6.5), sharex=True, sharey=True)
    hours = np.arange(0.0, 145.0, 3.0)
    for axes, site in zip(grid.flat, sites, strict=True):
        told = forecast(
            site.must, site.feeds, replace(site.conditions, horizon_h=400.0), 2000, SEED,
            hours, prior=fitted[site.name],
        )  # fmt: skip
        shade(axes, hours, told.brix, "tab:purple")
        axes.plot(site.t_h, site.brix, "ko", ms=3)
        axes.set_title(f"{site.name}, YAN {site.must.ammonium_n_mg_l / 0.4:.0f} mg/L")
    figure.supxlabel("hours after pitch")
    figure.supylabel("Brix, as read")
    save(figure, "kinetics_red_left_out")


def synthetic_must(within: Population) -> None:
    """CO2 and sugars: forecast from the other media, and the fitted medium."""
    known = calibrated()["known"]
    other = populations.new_medium("other", [known["red"], known["agave"]], within)
    must, conditions = synthetic()
    hours = np.arange(0.0, 300.0, 3.0)
    gas, cells = columns("synthetic_must_co2_mean"), columns("synthetic_must_metabolites_mean")
    figure, grid = plt.subplots(2, 2, figsize=(10, 6), sharex=True)
    for row, (who, name) in enumerate(((other, "left out"), (population("clear_juice"), "fitted"))):
        told = forecast(must, (), conditions, MEMBERS, SEED, hours, prior=who)
        shade(grid[row, 0], hours, told.co2_g_l, "tab:blue")
        grid[row, 0].plot(gas["t_h"], gas["co2_g_l"], "k.", ms=2)
        grid[row, 0].set_ylabel(f"CO2 by weight, g/L ({name})")
        shade(grid[row, 1], hours, told.sugar_g_l, "tab:green")
        both = cells["glucose_g_l"] + cells["fructose_g_l"]
        grid[row, 1].plot(cells["t_h"], both, "ko", ms=3)
        grid[row, 1].set_ylabel(f"sugars, g/L ({name})")
    figure.supxlabel("hours after pitch")
    save(figure, "kinetics_synthetic")


def agave_juice(within: Population) -> None:
    """Ethanol and sugars of the agave juice, forecast from the other media."""
    known = calibrated()["known"]
    other = populations.new_medium("other", [known["red"], known["synthetic"]], within)
    must, conditions = agave()
    hours = np.arange(0.0, 75.0, 1.0)
    told = forecast(must, (), conditions, MEMBERS, SEED, hours, prior=other)
    seen = columns("agave_juice_mean")
    figure, (left, right) = plt.subplots(1, 2, figsize=(9, 3.4))
    shade(left, hours, told.ethanol_g_l, "tab:orange")
    left.errorbar(seen["t_h"], seen["ethanol_g_l"], seen["ethanol_sd_g_l"], fmt="ko", ms=3)
    left.set_ylabel("ethanol, g/L (left out)")
    shade(right, hours, told.sugar_g_l, "tab:green")
    right.plot(seen["t_h"], seen["glucose_g_l"] + seen["fructose_g_l"], "ko", ms=3)
    right.set_ylabel("sugars, g/L (left out)")
    figure.supxlabel("hours after pitch")
    save(figure, "kinetics_agave")


def reliability(sites: list[Site], fitted: dict[str, Population]) -> None:
    """Share of points below each forecast quantile, sites left out."""
    ranks = []
    for site in sites:
        told = forecast(
            site.must, site.feeds, replace(site.conditions, horizon_h=400.0), 2000, SEED,
            site.t_h, prior=fitted[site.name],
        ).brix  # fmt: skip
        levels = (0.05, 0.25, 0.5, 0.75, 0.95)
        ends = np.stack([told.p05, told.p25, told.p50, told.p75, told.p95])
        ranks.append([(site.brix <= end).astype(float) for end in ends])
    share = [float(np.mean(np.concatenate([r[k] for r in ranks]))) for k in range(5)]
    figure, axes = plt.subplots(figsize=(3.6, 3.4))
    axes.plot([0, 1], [0, 1], color="0.7")
    axes.plot(levels, share, "ko-")
    axes.set_xlabel("forecast probability")
    axes.set_ylabel("share of readings below")
    save(figure, "kinetics_reliability")


def draw(sites: list[Site], fitted: dict[str, Population], within: Population) -> None:
    """All figures."""
    OUT.mkdir(parents=True, exist_ok=True)
    red(sites, fitted)
    synthetic_must(within)
    agave_juice(within)
    reliability(sites, fitted)
