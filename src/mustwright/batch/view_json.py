"""A batch as it stands, as plain data: its digest for lists, and the view for JSON."""

from __future__ import annotations

import json
from typing import Any

from mustwright.batch.outlook import NEVER_H, anchor
from mustwright.batch.replan import Proposal
from mustwright.batch.view import BatchView
from mustwright.plain_data import data_of, picked

POINT = ("id", "hours", "gravity", "sd")
LOOK_ON_H = 24.0 * 14  # drawn this far if nothing says when the sugar will be gone


def digest_of(view: BatchView) -> str:
    """How it stands in a few words, for the overview of many batches."""
    state = view.progress
    worst = view.findings[0] if view.findings else None
    finding = worst and {
        **picked(worst, "rule title severity sure evidence"),
        "confidence": round(worst.confidence, 3),
    }
    return json.dumps(
        {
            **picked(state, "phase temperature_c last_reading_at"),
            "gravity": None if state.gravity is None else round(state.gravity, 4),
            "sugar_used": round(state.sugar_used, 4),
            "alcohol_pct": round(state.alcohol_pct, 2),
            "pitched_at": data_of(state.pitched),
            "protocol": state.plan.protocol_name,
            "step": picked(view.step, "kind lead at earliest latest gravity is_due caution"),
            "beyond": [f.title for f in view.beyond],
            "finding": finding,
        },
        ensure_ascii=False,
    )


def view_data(view: BatchView) -> dict[str, Any]:
    """The view as one JSON object, for the command line and devices."""
    state, points = view.progress, view.progress.points
    read = zip(
        points.names(),
        points.hours.tolist(),
        points.gravity.tolist(),
        points.gravity_sd.tolist(),
        strict=True,
    )
    return {
        "batch": view.record.slug,
        **picked(view.record, "name version"),
        "state": {
            "phase": state.phase,
            "at": data_of(state.now),
            "pitched_at": data_of(state.pitched),
            **picked(
                state,
                "hours gravity gravity_sd original_gravity sugar_used sugar_left_g_l alcohol_pct "
                "temperature_c ph slope",
            ),
            "points": [
                dict(zip(("id", "hours", "gravity", "sd"), one, strict=True)) for one in read
            ],
        },
        "next": data_of(view.step),
        "beyond": data_of(view.beyond),
        "findings": data_of(view.findings),
        "feeds": [
            {
                **picked(s, "state given_at"),
                **picked(s.feed, "key name doses expected_h dropped"),
                "trigger": s.feed.words,
            }
            for s in state.feeds
        ],
        "proposal": proposal_data(view.proposal),
        "diagnosis": data_of(view.diagnosis),
        "restart": data_of(view.restart),
        "forecast": forecast_data(view),
    }


def forecast_data(view: BatchView) -> dict[str, Any]:
    """The forecast: its method, the band of gravity, and what the fermentation model adds."""
    model = view.foreseen and picked(
        view.foreseen,
        "chance_of_sticking chance_of_dry hours_to_dry residual_sugar_g_l residual_yan_mg_l "
        "stops_sweet chance_not_modelled peak_gas_l_h onset_h feeds readings members seed "
        "explained odd_entry message releases notes ph",
    )
    return {"by": view.outlook.name, "pending": view.pending, **band_data(view), "model": model}


def band_data(view: BatchView) -> dict[str, Any]:
    """Forecast of gravity from the last reading on, until nearly all sugar is gone."""
    state = view.progress
    start, _ = anchor(state.points)
    span = view.outlook.used(0.97)
    seen = [h for h in (span.high_h, span.expected_h, start + LOOK_ON_H) if h < NEVER_H]
    end = max(min(seen[0], start + 24 * 60), start + 24)
    hours = [start + (end - start) * k / 24 for k in range(25)]
    return dict(data_of(view.outlook.band(hours)))


def proposal_data(proposal: Proposal | None) -> dict[str, Any] | None:
    """A proposed plan as its changes, without the plan itself."""
    if proposal is None:
        return None
    return {
        **picked(proposal, "reasons short_mg_l cautions"),
        "changes": [
            {
                **picked(c, "key name what why"),
                "before": data_of(c.before.doses),
                "after": data_of(c.after.doses),
                "trigger_before": c.before.words,
                "trigger_after": c.after.words,
            }
            for c in proposal.changes
        ],
    }
