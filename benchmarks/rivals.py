"""The same fermentation in other solvers: SciPy, SUNDIALS through CasADi, diffrax on the CPU."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from mustwright.constants import NITROGEN_G_MOL
from mustwright.kinetics import ensemble, model
from mustwright.kinetics.feeds import PHOSPHATE_BASE
from mustwright.kinetics.members import Members
from mustwright.kinetics.parameters import TRAITS

Floats = NDArray[np.float64]
T = {name: place for place, name in enumerate(TRAITS)}
STATES = 9  # active, total, ammonium, amino, glucose, fructose, capacity, lag left, temperature


@dataclass(frozen=True)
class Task:
    """Members, pulses and the times of the answer.

    Parameters
    ----------
    members : Members
    pulses : tuple of (hour, g ammonium N per L, g amino N per L)
    times_h : ndarray
        Multiples of the gaps between pulses are not needed; pulses must be among them.
    """

    members: Members
    pulses: tuple[tuple[float, float, float], ...]
    times_h: Floats

    def start(self, k: int) -> Floats:
        """State of a member in the rivals' order."""
        s = self.members.start[:, k]
        return np.array([s[0], s[1], s[2], s[3], s[4], s[5], s[6], 1 / s[7] - 1, s[8]])

    def constants(self, k: int) -> Floats:
        """Traits and the five totals of a member; totals change with each pulse."""
        s = self.members.start[:, k]
        traits = self.members.traits[:, k]
        n_total = s[9] + s[2] + s[3]
        sugar = s[4] + s[5] + model.SUGAR_PER_CELLS * s[1]
        base = s[12] - model.AMMONIUM_MEQ_G * s[2] + traits[T["acid_per_cells"]] * s[1]
        return np.concatenate([traits, [n_total, sugar, s[10], base, s[13]]])

    def legs(self) -> list[tuple[Floats, tuple[float, float, float] | None]]:
        """Times between pulses, and the pulse that starts each leg."""
        hours = [p[0] for p in self.pulses]
        ends = [*hours, float(self.times_h[-1])]
        out: list[tuple[Floats, tuple[float, float, float] | None]] = []
        begin, pulse = 0.0, None
        for end, following in zip(ends, [*self.pulses, None], strict=True):
            inside = self.times_h[(self.times_h >= begin) & (self.times_h <= end)]
            out.append((inside, pulse))
            begin, pulse = end, following
        return out


def pulse_on_constants(pulse: tuple[float, float, float], size: int) -> Floats:
    """What a pulse adds to the totals: nitrogen, and the base that its ammonium takes away."""
    change = np.zeros(size)
    change[38] = pulse[1] + pulse[2]
    change[41] = pulse[1] * (1000 * PHOSPHATE_BASE / NITROGEN_G_MOL - model.AMMONIUM_MEQ_G)
    return change


@njit(fastmath={"contract", "arcp", "nsz", "reassoc", "afn"}, error_model="numpy")
def compiled(y, _t, c):  # type: ignore[no-untyped-def]
    """Right-hand side for SciPy, from the kernel's own expressions."""
    z = c[4]
    ready = 1.0 / (1.0 + y[7])
    x, n, a, b, g, f, p, warm = ensemble._rates(
        y[0], y[1], y[2], y[3], y[4], y[5], y[6], ready, y[8],
        c[0], c[1], 1 / c[2], 1 / c[3], z, 1 / (20 - z), c[5], c[6], c[7],
        c[8] * model.STORE_HALF, c[9], 1 / c[10], 1 / c[11], 1 / c[12], 1 / c[13], 1 / c[14],
        1 / c[15], 1 / c[16], c[17], c[18], c[19], 1 / c[20], c[21], c[22],
        c[38], c[39], c[40],
        c[41], c[42], c[26], c[27], c[28], c[29], c[30], c[31], c[32], 1 / c[25],
        c[33], c[34], c[35], c[36], c[37],
        0.0, 20.0, 0.0, 0.0, 1e9, 0.0,
    )  # fmt: skip
    theta, _ = ensemble._uptake_warmth(y[8], z, 1 / (20 - z))
    out = np.empty(9)
    out[0] = x
    out[1] = n
    out[2] = -a * y[2]
    out[3] = -b * y[3]
    out[4] = -g * y[4]
    out[5] = -f * y[5]
    out[6] = p
    out[7] = -c[24] * theta * y[7]
    out[8] = warm
    return out


def scipy_lsoda(task: Task, k: int, rtol: float) -> Floats:
    """Sugar of one member at the times, by ODEPACK's LSODA (`scipy.integrate.odeint`)."""
    from scipy.integrate import odeint

    y, c = task.start(k), task.constants(k)
    sugar = []
    for times, pulse in task.legs():
        if pulse is not None:
            y[2] += pulse[1]
            y[3] += pulse[2]
            c += pulse_on_constants(pulse, c.size)
        states = odeint(compiled, y, times, args=(c,), rtol=rtol, atol=rtol * 1e-2, mxstep=5000)
        sugar.append(states[:, 4] + states[:, 5])
        y = states[-1].copy()
    return join(sugar)


def scipy_solve_ivp(task: Task, k: int, rtol: float) -> Floats:
    """The same by `scipy.integrate.solve_ivp`, the newer interface to LSODA."""
    from scipy.integrate import solve_ivp

    y, c = task.start(k), task.constants(k)
    sugar = []
    for times, pulse in task.legs():
        if pulse is not None:
            y[2] += pulse[1]
            y[3] += pulse[2]
            c += pulse_on_constants(pulse, c.size)
        states = solve_ivp(
            lambda t, y, c=c: compiled(y, t, c), (times[0], times[-1]), y, "LSODA", times,
            rtol=rtol, atol=rtol * 1e-2,
        ).y  # fmt: skip
        sugar.append(states[4] + states[5])
        y = states[:, -1].copy()
    return join(sugar)


def join(legs: list[Any]) -> Floats:
    """Legs end where the next begins."""
    return np.concatenate([*(leg[:-1] for leg in legs[:-1]), legs[-1]])


def generic(y: Any, c: Any, high: Callable[..., Any], low: Callable[..., Any]) -> list[Any]:
    """The right-hand side for symbolic and array libraries, from `model.rates`."""
    x, total, am, aa, gl, fr, cap, lag, warm = (y[k] for k in range(STATES))
    t = {name: c[k] for name, k in T.items()}
    n_total, sugar_0, ethanol_0, base, potassium = c[38], c[39], c[40], c[41], c[42]
    cell_n = n_total - am - aa
    spent = sugar_0 - gl - fr - model.SUGAR_PER_CELLS * total
    ethanol = ethanol_0 + t["ethanol_yield"] * spent
    g, f = gl / t["glucose_half"], fr / t["fructose_half"]
    stress = 1 / (1 + ethanol / t["ethanol_half"])
    strong = base + model.AMMONIUM_MEQ_G * am - t["acid_per_cells"] * total
    k = t["acid_constant"] * high(1 - model.ACID_BY_ETHANOL * ethanol, model.LEAST_ACID)
    b = k + strong
    h = high(0.5 * ((b * b + 4 * k * (t["acid_total"] - strong)) ** 0.5 - b), 1e-4)
    sour = (h / t["acid_half"]) ** 2
    lack = low(high((model.POTASSIUM_RATIO * h - potassium) / model.POTASSIUM_SCALE, 0.0), 1.0)
    osmotic = ((gl + fr) / t["sugar_osmotic"]) ** 2
    left = (gl + fr) / t["sugar_start"]
    bend = t["shape_0"] + t["shape_1"] * left
    for place, knot in enumerate(model.SHAPE_KNOTS):
        bend = bend + t[f"shape_{place + 2}"] * high(left - knot, 0.0)
    chill = low(high(1 - model.CHILL * (t["cold_from"] - warm), model.LEAST_CHILL), 1.0)
    hot = 1 + t["heat_tolerance_loss"] * high(warm - model.HOT_C, 0.0)
    hot = hot * (1 + model.ACID_CEILING * sour + t["potassium_loss"] * lack)
    ceiling = high(1 - (ethanol / t["ethanol_end"] * hot) ** 12, 0.0)
    ready = 1 / (1 + lag)
    vigour = cap * ready * bend * chill * stress * ceiling / (1 + g + f)
    vigour = vigour / ((1 + sour) * (1 + model.OSMOTIC_UPTAKE * osmotic))
    zero = t["uptake_temperature_zero"]
    fall = low(high((model.UPTAKE_END_C - warm) / model.UPTAKE_FALL_K, 0.0), 1.0)
    theta = (high(warm - zero, 0.0) / (20 - zero)) ** 2 * fall
    flow = t["uptake_max"] * theta * vigour * x
    tc = low(high(warm, model.T_MIN), model.T_MAX)
    span = model.T_OPT - model.T_MIN
    bottom = span * (
        span * (tc - model.T_OPT)
        - (model.T_OPT - model.T_MAX) * (model.T_OPT + model.T_MIN - 2 * tc)
    )
    phi = (tc - model.T_MAX) * (tc - model.T_MIN) ** 2 / bottom * fall / ensemble._CARD_20
    checked = (1 + (ethanol / t["ethanol_growth_half"]) ** 4) * (1 + osmotic)
    fed = high(1 - t["cell_n_min"] * total / cell_n, 0.0)
    room = high(1 - total / t["cells_end"], 0.0)
    growth = t["growth_max"] * phi * vigour * (g + f) * fed * room / checked * x
    death = t["death_rate"] * (0.7 + 0.3 * (high(warm, 0.0) / 20) ** 6) * (ethanol / 100) ** 2 * x
    over = high(warm - t["heat_from"], 0.0)
    death = death + t["heat_death"] * over * over * (0.15 + 0.02 * ethanol) * x
    hunger = high(1 - cell_n / (total * t["cell_n_max"]), 0.0)
    opening = high(1 - ethanol / t["ethanol_nitrogen_end"], 0.0)
    seen = t["nitrogen_half"] + am + t["amino_preference"] * aa
    carried = t["nitrogen_uptake_max"] * theta * ready * stress * opening * hunger * x / seen
    store = high(cell_n / total - t["cell_n_min"], 0.0)
    full = (1 + model.STORE_HALF) * store / (store + model.STORE_HALF * t["cell_n_span"])
    aim = t["capacity_min"] + (1 - t["capacity_min"]) * low(full, 1.0)
    return [
        growth - death, growth, -carried * am, -carried * t["amino_preference"] * aa,
        -flow * g, -flow * f, t["capacity_rate"] * theta * (aim - cap),
        -t["readiness_rate"] * theta * lag, 0.0 * warm,
    ]  # fmt: skip


def cvode(task: Task, rtol: float) -> Callable[[int], Floats]:
    """A function giving the sugar of one member by CVODES through CasADi, set up once."""
    import casadi as ca

    y, c = ca.SX.sym("y", STATES), ca.SX.sym("c", 43)
    rates = ca.vertcat(*generic(y, c, ca.fmax, ca.fmin))
    options = {"reltol": rtol, "abstol": rtol * 1e-2, "max_num_steps": 100000}
    solvers = [
        ca.integrator(
            "leg", "cvodes", {"x": y, "p": c, "ode": rates}, float(times[0]), times[1:].tolist(),
            options,
        )
        for times, _ in task.legs()
    ]  # fmt: skip

    def solve(k: int) -> Floats:
        state, constants = task.start(k), task.constants(k)
        sugar = []
        for solver, (_, pulse) in zip(solvers, task.legs(), strict=True):
            if pulse is not None:
                state[2] += pulse[1]
                state[3] += pulse[2]
                constants += pulse_on_constants(pulse, constants.size)
            states = np.array(solver(x0=state, p=constants)["xf"])
            leg = np.concatenate([[state[4] + state[5]], states[4] + states[5]])
            sugar.append(leg)
            state = states[:, -1].copy()
        return join(sugar)

    return solve


def diffrax_ensemble(task: Task, rtol: float, solver: str) -> Callable[[Floats, Floats], Any]:
    """A compiled function giving the sugar of many members at once, times by members."""
    import diffrax
    import jax
    import jax.numpy as jnp

    jax.config.update("jax_enable_x64", True)

    def field(_t: Any, y: Any, c: Any) -> Any:
        return jnp.stack(generic(y, c, jnp.maximum, jnp.minimum))

    control = diffrax.PIDController(rtol=rtol, atol=rtol * 1e-2)
    method = getattr(diffrax, solver)()

    def one(y: Any, c: Any) -> Any:
        sugar = []
        for times, pulse in task.legs():
            if pulse is not None:
                y = y.at[2].add(pulse[1]).at[3].add(pulse[2])
                c = c + pulse_on_constants(pulse, c.size)
            answer = diffrax.diffeqsolve(
                diffrax.ODETerm(field), method, times[0], times[-1], 0.1, y, c,
                saveat=diffrax.SaveAt(ts=jnp.asarray(times)), stepsize_controller=control,
                max_steps=100000,
            )  # fmt: skip
            sugar.append(answer.ys[:, 4] + answer.ys[:, 5])
            y = answer.ys[-1]
        return jnp.concatenate([*(leg[:-1] for leg in sugar[:-1]), sugar[-1]])

    return jax.jit(jax.vmap(one))


def clock(action: Callable[[], Any], least: int = 3) -> float:
    """Shortest of a few runs [s]."""
    best = np.inf
    for _ in range(least):
        begin = time.perf_counter()
        action()
        best = min(best, time.perf_counter() - begin)
    return best
