"""Reiter2021: fifteen red musts, forecast from Brix, pH, nitrogen and temperature alone.

The population of measured musts was chosen on these sites (docs/kinetics.md), so this is no proof
on new data; it holds the way from sheet to forecast (units, medium, strain, pitch) to what was
found then. Temperature 27 C is from memory. Additions that some sites got are not told.
"""

import csv
from pathlib import Path

import numpy as np

from mustwright.planning.forecast import forecast

ROWS = Path(__file__).parent / "values" / "fermentations" / "red_must_sites_2017.csv"


def test_middle_error_and_cover_of_the_bands():
    with ROWS.open(encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    errors, covered = [], []
    for site in dict.fromkeys(row["site"] for row in rows):
        mine = [row for row in rows if row["site"] == site]
        first = mine[0]
        sheet = (
            f'[must]\ntemperature = "27 C"\n[measured]\nbrix = {first["brix_0"]}\n'
            f"yan_mg_l = {first['yan_0_mg_l']}\nph = {first['ph_0']}\n"
        )
        hours = [float(row["t_h"]) for row in mine]
        band = forecast(sheet, "none", at_h=hours, members=1000).forecast.brix
        seen = np.array([float(row["brix"]) for row in mine])
        errors += list(np.abs(band.p50 - seen))
        covered += list((seen >= band.p05) & (seen <= band.p95))
    assert len(errors) == 73
    assert np.median(errors) < 1.3  # 1.02 Brix when the population was chosen
    assert 0.84 < np.mean(covered) < 0.96  # 0.90 then; 73 readings allow about 0.035 either way
