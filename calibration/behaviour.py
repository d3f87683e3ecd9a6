"""What the forecast says of musts that must go wrong, and of those that must not."""

from __future__ import annotations

from typing import Any

from mustwright.kinetics.forecast import Forecast, forecast
from mustwright.kinetics.inputs import (
    Conditions,
    MustAtPitch,
    NitrogenPulse,
    PulseTrigger,
    StrainTraits,
)

MEMBERS, SEED = 4000, 3


def feeds(each: float = 33.0) -> tuple[NitrogenPulse, ...]:
    """Thirds on days 0, 2 and 4."""
    return tuple(NitrogenPulse(PulseTrigger(at_h=t), each, each) for t in (0.0, 48.0, 96.0))


def must(gravity: float = 1.100, **changes: Any) -> MustAtPitch:
    """A honey must with what honey brings."""
    given = {"ammonium_n_mg_l": 7.0, "amino_n_mg_l": 18.0} | changes
    return MustAtPitch.from_gravity(gravity, 19.0, **given)


def told(asked: MustAtPitch, conditions: Conditions, fed: bool = True) -> dict[str, Any]:
    """The figures of the table."""
    found: Forecast = forecast(asked, feeds() if fed else (), conditions, MEMBERS, SEED)
    onset = [k for k, s in enumerate(found.sugar_g_l.p50) if s < 0.97 * found.sugar_g_l.p50[0]]
    return {
        "alcohol_pct_vol": float(found.ethanol_g_l.p50[-1]) / 7.8924,
        "alcohol_p05_p95": [float(q[-1]) / 7.8924 for q in
                            (found.ethanol_g_l.p05, found.ethanol_g_l.p95)],
        "dry": found.chance_of_dry,
        "sticks": found.chance_of_sticking,
        "stops_sweet": getattr(found, "chance_of_stopping_sweet", None),
        "days_to_dry": [found.hours_to_dry.p05 / 24, found.hours_to_dry.p50 / 24,
                        found.hours_to_dry.p95 / 24],
        "onset_h": float(found.times_h[onset[0]]) if onset else None,
        "end_sd_pct_vol": float(found.residual_by_member_g_l.std() * 0.48 / 7.8924),
    }  # fmt: skip


def table() -> dict[str, dict[str, Any]]:
    """One row for each question of the table."""
    usual = Conditions(20.0)
    return {
        "38 C, fed": told(must(), Conditions(38.0)),
        "35 C, fed": told(must(), Conditions(35.0)),
        "11 C, fed": told(must(), Conditions(11.0)),
        "0.5 g of yeast in 19 L": told(must(), Conditions(20.0, pitch_g_l=0.5 / 19)),
        "5 g of yeast in 19 L": told(must(), Conditions(20.0, pitch_g_l=5.0 / 19)),
        "pH 2.6 at pitch": told(must(ph=2.6), usual),
        "pH 3.0 at pitch": told(must(ph=3.0), usual),
        "fed, 1.100": told(must(), usual),
        "not fed, 1.100": told(must(), usual, fed=False),
        "unknown kind, 1.100": told(must(medium="unknown", amino_n_mg_l=120.0), usual),
        "1.150, tolerance 16": told(must(1.150), usual),
        "1.150, tolerance 18": told(must(1.150), Conditions(20.0, strain=StrainTraits(18.0))),
    }
