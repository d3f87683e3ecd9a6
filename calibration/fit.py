"""Refit everything and write `data/kinetics/calibrated.toml`: ``python -m calibration.fit``.

About a minute on two cores. `calibration.evaluate` then judges it on what was left out. With the
word ``unknown`` only musts that were only measured are refitted, and the rest of the file stays:
the shared constants are fitted beginning at those in the file, so that a run of all of it moves
every medium a little (by up to 2 % of a spread).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from calibration import populations, shared
from calibration.measured import columns, red_sites
from mustwright import data
from mustwright.kinetics import parameters
from mustwright.kinetics.parameters import Population

OUT = Path(parameters.__file__).parents[1] / "data" / "kinetics" / "calibrated.toml"
ABOUT = """# Written by `python -m calibration.fit`; do not edit by hand.
#
# Fitted on: the synthetic must of Harle2020 (mean of eight runs), the fourteen red musts of
# Reiter2021 that started at pitch, the agave juice of Valle2024 (mean of three).
# Centres and spreads are of the logarithm, or of the value for effects of scale "plain".
#
# The honey population is the centre of those three media, moved by four honey courses: three known
# by the pace of their bubbles, one by refractometer (fermentations/honey_*.csv). Its spread counts
# the differences between media, strains, air and stirring.
#
# What it does not claim: feeds and nitrogen of the honey courses are partly guessed. Nitrogen
# additions to the red musts are guesses (to 250 mg/L at 24 h), their temperature and pitch are from
# memory. Nothing here was fitted above 27 Brix, below 20 or above 28 degrees.
"""


def table(name: str, values: dict[str, float]) -> str:
    """One TOML table."""
    return f"\n[{name}]\n" + "".join(f"{k} = {v:.6g}\n" for k, v in values.items())


def medium(population: Population) -> str:
    """One medium as TOML."""
    text = f"\n[medium.{population.name}]\n"
    if population.fermentable is not None:
        text += "fermentable = [{:.5f}, {:.5f}]\n".format(*population.fermentable)
    text += table(f"medium.{population.name}.centre", population.centre)
    return text + table(f"medium.{population.name}.spread", population.spread)


def centres_of(values: dict[str, float]) -> dict[str, float]:
    """The effects compared between media, as logarithms."""
    return {n: float(np.log(values[n])) for n in populations.BETWEEN}


def on_its_scale(name: str, value: float) -> float:
    """An effect as populations hold it: its logarithm, or as it is."""
    return float(np.log(value)) if parameters.scale(name) == "log" else value


def only_unknown() -> None:
    """Refit the musts that were only measured, which stand last in the file."""
    kept, mark, _ = OUT.read_text(encoding="utf-8").partition("\n[medium.unknown]\n")
    if not mark:
        raise ValueError(f"{OUT.name} has no medium.unknown: fit all of it first")
    found = medium(populations.measured_only(red_sites()))
    OUT.write_text(kept + found, encoding="utf-8")
    print(found)


def every() -> None:
    """Fit, step by step, and write."""
    constants, own, rms = shared.fit()
    OUT.write_text(ABOUT + table("shared", constants), encoding="utf-8")
    data.load.cache_clear()
    parameters.typical.cache_clear()
    sites = red_sites()
    red = populations.red(sites)
    known = [
        centres_of(own),
        {n: red.centre[n] for n in populations.BETWEEN},
        populations.agave_centres(),
    ]
    clear = populations.new_medium("clear_juice", known[:1] + known[2:], red)
    clear.centre.update({n: on_its_scale(n, value) for n, value in own.items()})
    pooled = populations.new_medium("pooled", known, red)
    honey = populations.honey(pooled)
    text = ABOUT + f"\n[about]\nsynthetic_rms_scaled_miss = {rms:.3f}\n"
    text += f"synthetic_points = {len(columns('synthetic_must_co2_mean')['t_h'])}\n"
    text += table("shared", constants)
    for place, name in enumerate(("synthetic", "red", "agave")):
        text += table(f"known.{name}", known[place])
    text += "".join(medium(p) for p in (red, clear, honey, populations.measured_only(sites)))
    OUT.write_text(text, encoding="utf-8")
    print(text)


def main(arguments: list[str] | None = None) -> None:
    """Fit all of it, or only the musts that were only measured."""
    asked = sys.argv[1:] if arguments is None else arguments
    if asked == ["unknown"]:
        only_unknown()
    elif asked:
        raise SystemExit(f"no such fit: {' '.join(asked)}")
    else:
        every()


if __name__ == "__main__":
    main()
