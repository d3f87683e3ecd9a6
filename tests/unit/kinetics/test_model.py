"""The right-hand side: balances, published temperature laws, and what it must never do."""

from __future__ import annotations

import numpy as np
import pytest

from mustwright.kinetics import model
from mustwright.kinetics.parameters import EFFECTS, TRAITS, population, typical

STILL = model.Surroundings()


def start(**changes: float) -> np.ndarray:
    values = {
        "active": 0.15, "dead": 0.0, "ammonium_n": 0.08, "amino_n": 0.12, "cell_n": 0.0105,
        "glucose": 100.0, "fructose": 120.0, "ethanol": 0.0, "co2": 0.0, "glycerol": 0.0,
        "byproducts": 0.0, "capacity": 0.8, "readiness": 0.002, "temperature": 20.0,
        "base": 6.0, "potassium": 6.0,
    }  # fmt: skip
    return np.array([(values | changes)[name] for name in model.STATES])


@pytest.fixture(scope="module")
def traits() -> dict[str, float]:
    from mustwright.kinetics import members
    from mustwright.kinetics.inputs import Conditions, MustAtPitch

    must = MustAtPitch(10.0, 100.0, 120.0)
    built = members.build(must, Conditions(), np.zeros((len(EFFECTS), 1)), population("honey"))
    return {name: float(v) for name, v in zip(TRAITS, built.traits[:, 0], strict=True)}


def test_every_trait_has_a_value(traits: dict[str, float]) -> None:
    assert set(traits) == set(TRAITS)
    assert all(np.isfinite(v) for v in traits.values())
    own = {
        "ethanol_end", "cells_end", "acid_half", "acid_total", "cell_n_span", "sugar_start",
        "heat_from", "cold_from", *(f"shape_{k}" for k in range(5)),
    }  # fmt: skip
    assert set(typical()) >= set(TRAITS) - own


def test_carbon_and_nitrogen_close(traits: dict[str, float]) -> None:
    times = np.linspace(0, 504, 64)
    y = model.solve(start(), traits, lambda _: STILL, times)
    carbon, nitrogen = model.carbon_g_l(y), model.nitrogen_g_l(y)
    assert y[model.INDEX["ethanol"], -1] > 80  # it did ferment
    assert np.ptp(carbon) / carbon[0] < 1e-6
    assert np.ptp(nitrogen) / nitrogen[0] < 1e-6


def test_mass_of_products_is_mass_of_sugar(traits: dict[str, float]) -> None:
    y = model.solve(start(), traits, lambda _: STILL, np.array([0.0, 504.0]))
    change = y[:, -1] - y[:, 0]
    at = model.INDEX
    sugar = -(change[at["glucose"]] + change[at["fructose"]])
    products = sum(change[at[n]] for n in ("ethanol", "co2", "glycerol", "byproducts"))
    cells = change[at["active"]] + change[at["dead"]]
    # Carbon closes exactly; hydrogen and oxygen of by-products only as far as they are
    # carbohydrate, and cells also hold nitrogen: one per cent.
    assert products + cells == pytest.approx(sugar, rel=0.012)


def test_yields_agree_with_the_synthetic_must(traits: dict[str, float]) -> None:
    y = model.solve(start(), traits, lambda _: STILL, np.array([0.0, 504.0]))[:, -1]
    sugar = 220.0 - y[5] - y[6]
    assert y[7] / sugar == pytest.approx(0.470, abs=0.010)  # Harle2020: 0.463 to 0.49
    assert y[8] / sugar == pytest.approx(0.450, abs=0.010)  # 0.442 and 1.5 g/L dissolved
    assert y[9] / sugar == pytest.approx(0.0275, abs=0.002)
    assert y[7] / sugar < 0.511  # stoichiometry


# Salvado2011 (second-hand): growth at 10, 15, 20, 25, 30 °C, printed to 0.01 or 0.001.
@pytest.mark.parametrize(
    ("temperature_c", "growth"), [(10, 0.05), (15, 0.127), (25, 0.306), (30, 0.361)]
)
def test_growth_follows_the_cardinal_curve(temperature_c: float, growth: float) -> None:
    half_digit = 0.005 / 0.22  # 0.22 at 20 °C is printed to two digits
    ratio = float(model.growth_warmth(temperature_c))
    assert ratio == pytest.approx(growth / 0.22, rel=half_digit + 0.005 / growth)


def test_uptake_rises_sixfold_from_11_to_35(traits: dict[str, float]) -> None:
    zero = traits["uptake_temperature_zero"]
    rise = model.uptake_warmth(35.0, zero) / model.uptake_warmth(11.0, zero)
    assert rise == pytest.approx(6.0, abs=0.5)  # Coleman2007 abstract: "about 6x"


def test_death_rises_about_thirteenfold_from_11_to_35() -> None:
    rise = model.death_warmth(35.0) / model.death_warmth(11.0)
    assert rise == pytest.approx(13.0, rel=0.15)  # Coleman2007 abstract


def test_growth_never_outruns_sugar() -> None:
    """The ratio of the temperature laws that `members._fastest_growth` relies on."""
    warm = np.linspace(-5, 45, 1001)
    for zero in (-20.0, -6.0, 1.0):
        uptake = model.uptake_warmth(warm, zero)
        growth = model.growth_warmth(warm)
        assert np.all(growth <= 1.25 * uptake + 1e-12)


def test_nothing_happens_without_cells_or_sugar(traits: dict[str, float]) -> None:
    dry = model.rates(start(glucose=0.0, fructose=0.0), traits, STILL)
    assert dry[model.INDEX["ethanol"]] == 0
    assert dry[model.INDEX["active"]] == 0


@pytest.mark.parametrize("name", ["ammonium_n", "amino_n", "glucose", "fructose", "readiness"])
def test_empty_states_do_not_fall(name: str, traits: dict[str, float]) -> None:
    change = model.rates(start(**{name: 0.0}), traits, STILL)
    assert change[model.INDEX[name]] >= 0


def test_glucose_goes_first(traits: dict[str, float]) -> None:
    change = model.rates(start(glucose=110.0, fructose=110.0, readiness=1.0), traits, STILL)
    ratio = change[model.INDEX["glucose"]] / change[model.INDEX["fructose"]]
    # Harle2020: ln of glucose left over ln of fructose left, 2.15 at 46 h to 2.47 at 100 h
    assert 2.1 < ratio < 2.6
