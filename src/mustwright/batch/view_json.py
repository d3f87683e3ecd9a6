"""A batch as it stands, as plain data: its digest for lists, and the view for JSON."""

from __future__ import annotations

import json
from typing import Any

from mustwright.batch.codec import data_of
from mustwright.batch.outlook import NEVER_H, anchor
from mustwright.batch.replan import Proposal
from mustwright.batch.view import BatchView

LOOK_ON_H = 24.0 * 14  # drawn this far if nothing says when the sugar will be gone


def digest_of(view: BatchView) -> str:
    """How it stands in a few words, for the overview of many batches."""
    state, step = view.progress, view.step
    worst = view.findings[0] if view.findings else None
    return json.dumps(
        {
            "phase": state.phase,
            "gravity": None if state.gravity is None else round(state.gravity, 4),
            "sugar_used": round(state.sugar_used, 4),
            "alcohol_pct": round(state.alcohol_pct, 2),
            "temperature_c": state.temperature_c,
            "pitched_at": data_of(state.pitched),
            "last_reading_at": data_of(state.last_reading_at),
            "protocol": state.plan.protocol_name,
            "step": {
                "kind": step.kind,
                "lead": step.lead,
                "at": data_of(step.at),
                "earliest": data_of(step.earliest),
                "latest": data_of(step.latest),
                "gravity": step.gravity,
                "is_due": step.is_due,
                "caution": step.caution,
            },
            "finding": None
            if worst is None
            else {
                "rule": worst.rule,
                "title": worst.title,
                "severity": worst.severity,
                "confidence": round(worst.confidence, 3),
                "sure": worst.sure,
                "evidence": worst.evidence,
            },
        },
        ensure_ascii=False,
    )


def view_data(view: BatchView) -> dict[str, Any]:
    """The view as one JSON object, for the command line and devices."""
    state = view.progress
    return {
        "batch": view.record.slug,
        "name": view.record.name,
        "version": view.record.version,
        "state": {
            "phase": state.phase,
            "at": data_of(state.now),
            "pitched_at": data_of(state.pitched),
            "hours": state.hours,
            "gravity": state.gravity,
            "gravity_sd": state.gravity_sd,
            "original_gravity": state.original_gravity,
            "sugar_used": state.sugar_used,
            "sugar_left_g_l": state.sugar_left_g_l,
            "alcohol_pct": state.alcohol_pct,
            "temperature_c": state.temperature_c,
            "ph": state.ph,
            "slope": data_of(state.slope),
            "points": [
                {"id": id, "hours": hours, "gravity": gravity, "sd": sd}
                for id, hours, gravity, sd in zip(
                    state.points.names(),
                    state.points.hours.tolist(),
                    state.points.gravity.tolist(),
                    state.points.gravity_sd.tolist(),
                    strict=True,
                )
            ],
        },
        "next": data_of(view.step),
        "findings": data_of(view.findings),
        "feeds": [
            {
                "key": s.feed.key,
                "name": s.feed.name,
                "state": s.state,
                "trigger": s.feed.words,
                "given_at": data_of(s.given_at),
                "doses": data_of(s.feed.doses),
                "expected_h": s.feed.expected_h,
                "dropped": s.feed.dropped,
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
    found = view.foreseen
    data: dict[str, Any] = {
        "by": view.outlook.name,
        "pending": view.pending,
        **band_data(view),
        "model": None,
    }
    if found is not None:
        named = (
            "chance_of_sticking", "chance_of_dry", "hours_to_dry", "residual_sugar_g_l",
            "residual_yan_mg_l", "onset_h", "feeds", "readings", "members", "seed", "explained",
            "odd_entry", "message", "releases", "notes", "ph",
        )  # fmt: skip
        data["model"] = {name: data_of(getattr(found, name)) for name in named}
    return data


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
        "reasons": list(proposal.reasons),
        "changes": [
            {
                "key": c.key,
                "name": c.name,
                "what": c.what,
                "why": c.why,
                "before": data_of(c.before.doses),
                "after": data_of(c.after.doses),
                "trigger_before": c.before.words,
                "trigger_after": c.after.words,
            }
            for c in proposal.changes
        ],
        "short_mg_l": proposal.short_mg_l,
        "cautions": list(proposal.cautions),
    }
