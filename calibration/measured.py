"""The measured fermentations this repository carries, as inputs of the model and points to meet."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.inputs import Conditions, MustAtPitch, NitrogenPulse, PulseTrigger
from mustwright.planning.kinetic_inputs import conditions_of, must_at_pitch
from mustwright.planning.must_setup import ground_of

Floats = NDArray[np.float64]
FOLDER = Path(__file__).parents[1] / "tests" / "reference" / "values" / "fermentations"

RED_TEMPERATURE_C = 27.0  # Reiter2021, from memory
RED_PITCH_G_L = 0.25  # not stated; usual dose of dry yeast (from memory)
CORRECTED_YAN_MG_L = 250.0  # what additions of unstated size usually aim at (assumed)
CORRECTED_AT_H = 24.0  # "before the second sample", 38 to 46 h
AMMONIUM_SHARE = 0.4  # of the YAN of grape must (from memory)
CELLS_G = 25e-12  # dry mass of a cell (from memory, 20 to 30 pg)
OUTLIER = "SRH1"  # 6 Brix gone at 16 h: was fermenting before it was pitched


@dataclass(frozen=True)
class Site:
    """One fermentation known by its Brix; the sheet is what a maker types who only measured."""

    name: str
    must: MustAtPitch
    conditions: Conditions
    feeds: tuple[NitrogenPulse, ...]
    t_h: Floats
    brix: Floats
    sheet: str


def columns(name: str) -> dict[str, Floats]:
    """Numeric columns of a CSV file; empty cells become nan."""
    rows = records(name)
    return {key: np.array([float(r[key] or "nan") for r in rows]) for key in rows[0]}


def records(name: str) -> list[dict[str, str]]:
    """Rows of a CSV file; lines that begin with # are remarks."""
    text = (FOLDER / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in text if not line.startswith("#")))


def red_sites(feeds_known: bool = True) -> list[Site]:
    """The fifteen red musts of Reiter2021; without `feeds_known` additions are ignored."""
    rows = records("red_must_sites_2017")
    names = list(dict.fromkeys(row["site"] for row in rows))
    return [_site(n, [r for r in rows if r["site"] == n], feeds_known) for n in names]


def _site(name: str, rows: list[dict[str, str]], feeds_known: bool) -> Site:
    first = rows[0]
    yan = float(first["yan_0_mg_l"])
    must = MustAtPitch.from_brix(
        float(first["brix_0"]),
        200.0,
        ammonium_n_mg_l=AMMONIUM_SHARE * yan,
        amino_n_mg_l=(1 - AMMONIUM_SHARE) * yan,
        ph=float(first["ph_0"]),
        medium="grape_with_skins",
    )
    t_h = np.array([float(r["t_h"]) for r in rows])
    conditions = Conditions(
        RED_TEMPERATURE_C, pitch_g_l=RED_PITCH_G_L, horizon_h=float(t_h.max()) + 1
    )
    lacking = CORRECTED_YAN_MG_L - yan
    fed = first["nitrogen_added"].startswith("N") and feeds_known and lacking > 0
    feeds = (
        (NitrogenPulse(PulseTrigger(at_h=CORRECTED_AT_H), lacking / 2, lacking / 2),) if fed else ()
    )
    sheet = (
        f'[must]\ntemperature = "{RED_TEMPERATURE_C:g} C"\n[measured]\n'
        f"brix = {first['brix_0']}\nyan_mg_l = {first['yan_0_mg_l']}\nph = {first['ph_0']}\n"
    )
    brix = np.array([float(r["brix"]) for r in rows])
    return Site(name, must, conditions, feeds, t_h, brix, sheet)


def typed(site: Site) -> Site:
    """The site as a maker types it who knows only what was measured: feeding is not told."""
    ground = ground_of(site.sheet, site.name)
    conditions = replace(conditions_of(ground), horizon_h=site.conditions.horizon_h)
    must = replace(must_at_pitch(ground), feeding_known=False)
    return replace(site, must=must, conditions=conditions, feeds=())


def synthetic() -> tuple[MustAtPitch, Conditions]:
    """The synthetic must of Harle2020: 100 + 100 g/L, YAN 398 mg/L, 1e6 cells per mL, 20 °C."""
    must = MustAtPitch(0.3, 100.0, 100.0, 8.0, 148.0, 250.0, ph=3.3, medium="clear_juice")
    return must, Conditions(20.0, pitch_g_l=1e9 * CELLS_G / 0.6, horizon_h=340.0)


def agave() -> tuple[MustAtPitch, Conditions]:
    """The agave juice of Valle2024: fructose, 28 °C, 1e8 cells per mL, about 0.7 g N/L."""
    must = MustAtPitch(
        0.05, 14.28, 104.58, 10.0, 300.0, 400.0, ph=4.5, medium="clear_juice", ethanol_g_l=3.83
    )
    return must, Conditions(28.0, pitch_g_l=1e11 * CELLS_G / 0.6, horizon_h=80.0)


def at_once(must: MustAtPitch, **changes: float) -> MustAtPitch:
    """A must with some fields changed."""
    return replace(must, **changes)  # type: ignore[arg-type]
