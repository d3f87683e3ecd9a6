"""The compiled kernel against the readable model, and what must hold for any input."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numba
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases as so_many
from mustwright.kinetics import members, model, simulate
from mustwright.kinetics.ensemble import KEPT, START
from mustwright.kinetics.inputs import (
    Conditions,
    MustAtPitch,
    NitrogenPulse,
    PulseTrigger,
    StrainTraits,
    VesselInRoom,
)
from mustwright.kinetics.parameters import TRAITS, population

HOURS = np.arange(0.0, 337.0, 12.0)
WHO = population("honey")


def model_start(built: members.Members, k: int) -> np.ndarray:
    s = dict(zip(START, built.start[:, k], strict=True))
    return np.array(
        [s["active"], s["total"] - s["active"], s["ammonium_n"], s["amino_n"], s["cell_n"],
         s["glucose"], s["fructose"], s["ethanol"], 0.0, 0.0, 0.0, s["capacity"], s["readiness"],
         s["temperature"], s["base"], s["potassium"]]
    )  # fmt: skip


def traits_of(built: members.Members, k: int) -> dict[str, float]:
    return {n: float(v) for n, v in zip(TRAITS, built.traits[:, k], strict=True)}


@pytest.mark.parametrize("medium", ["honey", "grape_with_skins", "clear_juice"])
@pytest.mark.parametrize("warm", [14.0, 20.0, 29.0])
def test_kernel_equals_model(medium: str, warm: float) -> None:
    must = MustAtPitch(10.0, 105.0, 115.0, 10.0, 60.0, 140.0, medium=medium)  # type: ignore[arg-type]
    conditions = Conditions(warm, horizon_h=336.0)
    built = members.build(must, conditions, members.draw(32, 5), population(medium))
    run = simulate.run(built, conditions, at_h=HOURS)
    for k in (0, 9, 31):
        y = model.solve(
            model_start(built, k), traits_of(built, k), lambda _: model.Surroundings(), HOURS
        )
        assert run.sugar_g_l[:, k] == pytest.approx(y[5] + y[6], abs=0.05)
        assert run.ethanol_g_l[:, k] == pytest.approx(y[7], abs=0.03)
        assert run.co2_g_l[:, k] == pytest.approx(y[8], abs=0.03)
        assert run.yan_mg_l[:, k] == pytest.approx(1000 * (y[2] + y[3]), abs=0.3)
        assert run.kept[KEPT.index("active"), :, k] == pytest.approx(y[0], abs=0.005)
        assert run.kept[KEPT.index("total"), :, k] == pytest.approx(y[0] + y[1], abs=0.005)
        traits = traits_of(built, k)
        h = model.hydrogen(y[14], traits["acid_total"], traits["acid_constant"], y[7])
        assert run.ph[:, k] == pytest.approx(3 - np.log10(h), abs=0.005)


def test_small_steps_close_on_the_model() -> None:
    must = MustAtPitch(10.0, 105.0, 115.0, 10.0, 60.0, 140.0)
    conditions = Conditions(22.0, horizon_h=336.0)
    built = members.build(must, conditions, members.draw(32, 5), WHO)
    # the line of the shape has corners, where order 4 is lost for a step
    run = simulate.run(built, conditions, at_h=HOURS, step_h=0.05)
    for k in (0, 17):
        y = model.solve(
            model_start(built, k), traits_of(built, k), lambda _: model.Surroundings(), HOURS
        )
        # single precision of the kept values: 6e-8 of 220 g/L
        assert run.sugar_g_l[:, k] == pytest.approx(y[5] + y[6], abs=1e-4)


def test_heat_balance_equals_model() -> None:
    must = MustAtPitch(100.0, 105.0, 115.0, 10.0, 60.0, 140.0)
    vessel = VesselInRoom(100.0, "steel", 18.0, 21.0, cool_above_c=24.0, cooling_w=30.0)
    conditions = Conditions(vessel=vessel, horizon_h=336.0)
    built = members.build(must, conditions, members.draw(32, 5), WHO)
    run = simulate.run(built, conditions, at_h=HOURS)
    around = model.Surroundings(
        room_c=18.0, loss_per_h=simulate.loss_per_h(vessel), heating=1.0, cool_above_c=24.0,
        cool_max_k_h=30.0 * 3.6 / (model.MUST_HEAT_CAPACITY_KJ_L_K * 100.0),
    )  # fmt: skip
    for k in (0, 9):
        y = model.solve(model_start(built, k), traits_of(built, k), lambda _: around, HOURS)
        assert run.temperature_c[:, k] == pytest.approx(y[13], abs=0.02)
        assert run.sugar_g_l[:, k] == pytest.approx(y[5] + y[6], abs=0.1)


def test_feed_equals_model_restarted_at_the_pulse() -> None:
    must = MustAtPitch(10.0, 105.0, 115.0, 10.0, 10.0, 20.0)
    conditions = Conditions(20.0, horizon_h=336.0)
    built = members.build(must, conditions, members.draw(32, 5), WHO)
    feed = NitrogenPulse(PulseTrigger(at_h=60.0), 50.0, 30.0)
    run = simulate.run(built, conditions, [feed], HOURS)
    y = model_start(built, 3)
    before = model.solve(y, traits_of(built, 3), lambda _: model.Surroundings(), HOURS[:6])
    y = before[:, -1].copy()
    y[2] += 0.050
    y[3] += 0.030
    y[14] += feed.base
    after = model.solve(y, traits_of(built, 3), lambda _: model.Surroundings(), HOURS[5:])
    told = np.concatenate([(before[5] + before[6])[:-1], after[5] + after[6]])
    assert run.sugar_g_l[:, 3] == pytest.approx(told, abs=0.05)
    assert np.all(run.fed_at_h == 60.0)


def test_temperature_profile_is_followed() -> None:
    must = MustAtPitch(10.0, 105.0, 115.0)
    conditions = Conditions(((0.0, 16.0), (48.0, 22.0), (96.0, 22.0)), horizon_h=200.0)
    z = np.zeros((members.draw(1, 1).shape[0], 32))
    run = simulate.run(members.build(must, conditions, z, WHO), conditions, at_h=HOURS[:13])
    assert run.temperature_c[:, 0] == pytest.approx(
        np.interp(HOURS[:13], [0, 48, 96], [16, 22, 22]), abs=1e-3
    )


@pytest.mark.parametrize(("until_h", "kept"), [(80.0, "fructose"), (40.0, "active")])
def test_order_of_convergence(until_h: float, kept: str) -> None:
    """With nitrogen to spare, so that nothing runs out and every term is smooth."""
    must = MustAtPitch(10.0, 105.0, 115.0, 10.0, 300.0, 540.0)
    conditions = Conditions(20.0, horizon_h=24.0)
    z = np.zeros((members.draw(1, 1).shape[0], 32))
    built = members.build(must, conditions, z, WHO)

    def last(step_h: float) -> float:
        run = simulate.run(built, conditions, at_h=np.array([0.0, until_h]), step_h=step_h)
        return float(run.kept[KEPT.index(kept), -1, 0])

    fine = last(1 / 16)
    miss = [abs(last(h) - fine) for h in (2.0, 1.0)]
    # Order 4: halving the step leaves a sixteenth; single precision hides finer steps.
    assert 12.0 < miss[0] / miss[1] < 20.0


def test_threads_do_not_matter(
    honey_must: MustAtPitch, thirds: tuple[NitrogenPulse, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One thread here against four of a process of their own, on any machine."""
    conditions = Conditions(20.0, horizon_h=200.0)
    built = members.build(honey_must, conditions, members.draw(500, 2), WHO)
    asked = (built, conditions, thirds, HOURS[:15])
    monkeypatch.setenv("NUMBA_NUM_THREADS", "4")
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        assert pool.submit(numba.get_num_threads).result() == 4
        many = pool.submit(simulate.run, *asked).result()
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        one = simulate.run(*asked)
    finally:
        numba.set_num_threads(threads)
    assert np.array_equal(many.kept, one.kept)
    assert np.array_equal(many.dry_at_h, one.dry_at_h)


def test_members_do_not_depend_on_how_many() -> None:
    must = MustAtPitch(10.0, 105.0, 115.0)
    conditions = Conditions(20.0, horizon_h=100.0)
    few, many = (
        simulate.run(
            members.build(must, conditions, members.draw(n, 2), WHO), conditions, at_h=HOURS[:8]
        )
        for n in (50, 99)
    )
    assert np.array_equal(few.kept, many.kept[:, :, :50])


numbers = st.floats


@st.composite
def cases(draw: st.DrawFn) -> tuple[MustAtPitch, Conditions, list[NitrogenPulse], int]:
    sugar = draw(numbers(0, 450))
    share = draw(numbers(0, 1))
    must = MustAtPitch(
        10.0, sugar * share, sugar * (1 - share), draw(numbers(0, 150)), draw(numbers(0, 1500)),
        draw(numbers(0, 1500)), ph=draw(numbers(2.3, 6)),
        ethanol_g_l=draw(st.sampled_from([0.0, 0.0, 60.0, 160.0])),
        medium=draw(st.sampled_from(["honey", "grape_with_skins", "clear_juice"])),
    )  # fmt: skip
    warm = numbers(-5, 45)
    if draw(st.booleans()):
        heat = {"temperature_c": ((0.0, draw(warm)), (draw(numbers(1, 400)), draw(warm)))}
    else:
        heat = {"vessel": VesselInRoom(
            draw(st.sampled_from([0.05, 1.0, 19.0, 1e5])), room_c=draw(warm),
            start_c=draw(numbers(0, 40)), material=draw(st.sampled_from(["glass", "insulated"])),
            cool_above_c=draw(st.sampled_from([18.0, 1000.0])), cooling_w=draw(numbers(0, 1e6)),
        )}  # fmt: skip
    conditions = Conditions(
        pitch_g_l=draw(numbers(0.01, 10)), rehydrated=draw(st.booleans()), horizon_h=400.0,
        strain=StrainTraits(draw(numbers(4, 22)), draw(st.sampled_from(["low", "medium", "high"]))),
        **heat,
    )  # fmt: skip
    trigger = st.sampled_from(
        [PulseTrigger(at_h=30.0), PulseTrigger(sugar_left_fraction=0.6),
         PulseTrigger(end_of_lag=True),
         PulseTrigger(gravity_drop=0.02, at_h=90.0, skip_below_sugar_fraction=0.3)]
    )  # fmt: skip
    feeds = [
        NitrogenPulse(draw(trigger), draw(numbers(0, 1000)), draw(numbers(0, 1000)))
        for _ in range(draw(st.integers(0, 3)))
    ]
    return must, conditions, feeds, draw(st.integers(0, 10_000))


@so_many(120)
@given(cases())
def test_nothing_turns_negative(
    case: tuple[MustAtPitch, Conditions, list[NitrogenPulse], int],
) -> None:
    """120 forms of 32 random members each: 3840 fermentations."""
    must, conditions, feeds, seed = case
    built = members.build(must, conditions, members.draw(32, seed), population(must.medium))
    run = simulate.run(built, conditions, feeds, np.arange(0.0, 401.0, 4.0), must.gravity)
    assert np.all(np.isfinite(run.kept))
    chemistry = run.kept[:7]
    # ethanol follows from a difference of about 500 g/L in double precision
    assert chemistry.min() >= -1e-6
    assert np.all(np.diff(run.sugar_g_l, axis=0) <= 1e-4)
    start_ethanol = must.ethanol_g_l
    assert np.all(run.ethanol_g_l - start_ethanol <= 0.511 * run.sugar_g_l[0] + 1e-3)


def test_the_last_time_is_kept_whatever_its_decimals() -> None:
    """A horizon that rounds up once fell behind the last step, and its row held what was there."""
    must = MustAtPitch.from_gravity(1.1, 19.0, amino_n_mg_l=100.0)
    end = 168.1234567  # before members stop for good
    conditions = Conditions(20.0, horizon_h=end)
    built = members.build(must, conditions, members.draw(32, 1), WHO)
    for _ in range(3):
        run = simulate.run(built, conditions, (), np.array([0.0, end - 24, end]))
        assert (run.sugar_g_l[2] < run.sugar_g_l[1]).all()
        assert (run.temperature_c[2] > 10).all()
