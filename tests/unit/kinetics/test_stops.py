"""What stops a ferment: each cause shows, in the direction the documents give, and none hides."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from mustwright.errors import InputError
from mustwright.kinetics.conditions import Conditions, StrainTraits
from mustwright.kinetics.feeds import NitrogenPulse, PulseTrigger
from mustwright.kinetics.forecast import Forecast, forecast
from mustwright.kinetics.inputs import MustAtPitch, MustReading
from mustwright.kinetics.stops import UNMODELLED

COUNT = 1500
PCT = 7.8924


def fed(each: float = 33.0) -> tuple[NitrogenPulse, ...]:
    return tuple(NitrogenPulse(PulseTrigger(at_h=t), each, each) for t in (0.0, 48.0, 96.0))


def must(gravity: float = 1.100, **changes: object) -> MustAtPitch:
    given = {"amino_n_mg_l": 18.0, "ammonium_n_mg_l": 7.0} | changes
    return MustAtPitch.from_gravity(gravity, 19.0, **given)  # type: ignore[arg-type]


def told(asked: MustAtPitch, conditions: Conditions, feeds: tuple[NitrogenPulse, ...]) -> Forecast:
    return forecast(asked, feeds, conditions, COUNT, 3)


@pytest.fixture(scope="module")
def usual() -> Forecast:
    return told(must(), Conditions(20.0), fed())


def onset_h(found: Forecast) -> float:
    sugar = found.sugar_g_l.p50
    return float(found.times_h[np.argmax(sugar < 0.97 * sugar[0])])


def test_the_share_not_modelled_is_always_there(usual: Forecast) -> None:
    assert usual.chance_of_sticking >= usual.chance_not_modelled >= 0.045
    assert UNMODELLED["honey"] == pytest.approx(0.07)
    easy = told(must(1.05, medium="unknown", amino_n_mg_l=200.0), Conditions(20.0), fed())
    assert 0.03 < easy.chance_of_sticking < 0.12


def test_heat_kills(usual: Forecast) -> None:
    hot = told(must(), Conditions(38.0), fed())
    assert hot.ethanol_g_l.p50[-1] / PCT < 10
    assert hot.chance_of_dry < 0.05
    assert hot.chance_of_sticking > usual.chance_of_sticking + 0.5
    warm = told(must(), Conditions(30.0), fed())
    assert warm.ethanol_g_l.p50[-1] > 1.2 * hot.ethanol_g_l.p50[-1]


def test_a_pinch_of_yeast_starts_late_and_sticks_more() -> None:
    pinch = told(must(), Conditions(20.0, pitch_g_l=0.5 / 19), fed())
    packet = told(must(), Conditions(20.0, pitch_g_l=5.0 / 19), fed())
    assert onset_h(pinch) >= onset_h(packet) + 8
    assert pinch.chance_of_sticking > packet.chance_of_sticking + 0.1


def test_sour_musts_stick_and_the_figure_is_one(usual: Forecast) -> None:
    sour = told(must(ph=2.6), Conditions(20.0), fed())
    assert sour.chance_of_sticking > usual.chance_of_sticking + 0.15
    assert sour.lowest_ph.p50 < 2.6 < usual.lowest_ph.p50


def test_ammonium_sours_and_salt_holds() -> None:
    spare = told(must(), Conditions(20.0), fed(0.0))
    soured = told(must(), Conditions(20.0), fed())
    base = tuple(
        NitrogenPulse(f.trigger, 33.0, 33.0, base_meq_l=f.base + 2.5, potassium_mg_l=100.0)
        for f in fed()
    )
    held = told(must(), Conditions(20.0), base)
    assert spare.lowest_ph.p50 > soured.lowest_ph.p50 + 0.2
    assert held.lowest_ph.p50 > soured.lowest_ph.p50 + 0.15
    assert held.chance_of_sticking < soured.chance_of_sticking


def test_stopping_sweet_as_meant_is_not_sticking() -> None:
    strong = told(must(1.150), Conditions(20.0, strain=StrainTraits(14.0)), fed(50.0))
    assert strong.chance_of_stopping_sweet > 0.5
    assert strong.chance_of_sticking + strong.chance_of_stopping_sweet + strong.chance_of_dry <= 1
    dry = told(must(), Conditions(20.0), fed())
    assert dry.chance_of_stopping_sweet == 0.0


def test_sugar_stress_slows_and_lowers_the_end() -> None:
    strain = StrainTraits(14.0)
    ends, halves = [], []
    for gravity in (1.120, 1.160):
        found = told(must(gravity), Conditions(20.0, strain=strain), fed(60.0))
        ends.append(found.ethanol_g_l.p50[-1])
        gone = found.sugar_g_l.p50[0] - found.sugar_g_l.p50
        halves.append(float(found.times_h[np.argmax(gone > 60.0)]))
    assert ends[1] < ends[0]
    assert halves[1] > halves[0] * 1.1


def test_a_cool_kind_does_better_in_the_cold() -> None:
    cool, warm = (
        told(must(), Conditions(10.0, strain=StrainTraits(16.0, "medium", low, 26.0)), fed())
        for low in (7.0, 18.0)
    )
    assert cool.residual_sugar_g_l.p50 < warm.residual_sugar_g_l.p50
    assert cool.chance_of_dry > warm.chance_of_dry
    at = int(np.searchsorted(cool.times_h, 240.0))
    assert cool.sugar_g_l.p50[at] < warm.sugar_g_l.p50[at]


@pytest.mark.parametrize(
    ("name", "conditions"),
    [
        ("pitch", [Conditions(20.0, pitch_g_l=p) for p in (0.03, 0.1, 0.25, 0.6)]),
        (
            "tolerance",
            [Conditions(20.0, strain=StrainTraits(t)) for t in (9.0, 11.0, 13.0, 16.0, 19.0)],
        ),
        ("air", [Conditions(20.0, aeration=a) for a in ("none", "once", "repeated", "stirred")]),
    ],
)
def test_monotone(name: str, conditions: list[Conditions]) -> None:
    left = [float(told(must(), c, fed()).residual_by_member_g_l.mean()) for c in conditions]
    assert all(a > b for a, b in itertools.pairwise(left)), (name, left)


def test_rehydration_nutrient_helps() -> None:
    plain, with_it = (
        told(must(), Conditions(20.0, pitch_g_l=0.1, rehydration_nutrient=r), fed())
        for r in (False, True)
    )
    assert with_it.residual_by_member_g_l.mean() < plain.residual_by_member_g_l.mean()


def test_feeding_not_told_is_a_mixture() -> None:
    bare = must(amino_n_mg_l=40.0)
    known = told(bare, Conditions(20.0), ())
    unknown = told(must(amino_n_mg_l=40.0, feeding_known=False), Conditions(20.0), ())
    assert unknown.chance_of_dry > known.chance_of_dry + 0.3
    low, high = unknown.hours_to_dry.p05, unknown.hours_to_dry.p95
    assert not np.isfinite(high)
    assert low < 300
    rich = must(amino_n_mg_l=300.0)
    assert told(rich, Conditions(20.0), ()).chance_of_dry == pytest.approx(
        told(must(amino_n_mg_l=300.0, feeding_known=False), Conditions(20.0), ()).chance_of_dry,
        abs=0.02,
    )


def test_a_course_of_another_shape_is_no_fit(honey_must: MustAtPitch) -> None:
    at = np.linspace(15, 120, 8)
    gravity = 1.100 - 0.055 * (at / 120) ** 3.0
    read = [MustReading(float(t), gravity=float(g)) for t, g in zip(at, gravity, strict=True)]
    found = forecast(honey_must, fed(), Conditions(20.0), 600, readings=read)
    assert found.verdict is not None
    assert not found.verdict.explained
    assert "fit the model" not in found.verdict.message


@pytest.mark.parametrize("field", ["aeration", "unmixed_sd_gravity"])
def test_bad_conditions_are_refused(field: str) -> None:
    with pytest.raises(InputError):
        Conditions(**{field: "often" if field == "aeration" else 0.5})  # type: ignore[arg-type]
