"""A batch as it stands, as plain data: its digest for lists, and the view for JSON."""

from __future__ import annotations

import json
from typing import Any

from mustwright.batch.assessment import BOTTLED, ENDED, Assessment
from mustwright.batch.outlook import NEVER_H, anchor
from mustwright.batch.quantiles import Quantiles
from mustwright.batch.replan import Proposal
from mustwright.batch.view import BatchView
from mustwright.kept_texts import texts_in, with_texts
from mustwright.plain_data import data_of, picked
from mustwright.unit_system import chosen

POINT = ("id", "hours", "gravity", "sd")
LOOK_ON_H = 24.0 * 14  # drawn this far if nothing says when the sugar will be gone


_CLOSED_MARKS = ('"is_closed": true', '"phase": "closed"')


def digest_of(view: BatchView) -> str:
    """How it stands in a few words, for the overview of many batches."""
    state, of = view.progress, view.assessed
    worst = view.findings[0] if view.findings else None
    finding = worst and {
        **picked(worst, "rule title severity sure evidence"),
        "confidence": round(worst.confidence, 3),
    }
    told = {
        "phase": of.phase,
        "is_closed": of.phase in (BOTTLED, ENDED),
        **picked(state, "temperature_c last_reading_at"),
        "gravity": None if of.gravity is None else round(of.gravity, 4),
        "sugar_used": round(state.sugar_used, 4),
        "alcohol_pct": round(of.alcohol_pct, 2),
        "pitched_at": data_of(state.pitched),
        "protocol": state.plan.protocol_name,
        "step": picked(view.step, "kind lead at earliest latest gravity is_due caution"),
        "beyond": [f.title for f in view.beyond],
        "finding": finding,
        **({"units": system.key} if (system := chosen()) else {}),
    }
    return json.dumps({**told, "texts": texts_in(told)}, ensure_ascii=False)


def digest_from(digest: str) -> dict[str, Any]:
    """A digest that was kept, its sentences as the texts they were."""
    told = json.loads(digest)
    found: dict[str, Any] = with_texts(told, told.pop("texts", None))
    return found


def is_in_units(digest: str) -> bool:
    """Whether a digest's sentences are in the units that are chosen now, if any are."""
    system = chosen()
    facts = _facts_in(digest)
    return f'"units": "{system.key}"' in facts if system else '"units": "' not in facts


def is_closed(digest: str) -> bool:
    """Whether a digest is of a batch that is bottled or ended, so that nothing is due any more.

    Digests of earlier versions say so by their phase.
    """
    facts = _facts_in(digest)
    return any(mark in facts for mark in _CLOSED_MARKS)


def _facts_in(digest: str) -> str:
    """A digest without how its texts were made."""
    return digest.partition('"texts": {')[0]


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
            "phase": view.assessed.phase,
            "at": data_of(state.now),
            "pitched_at": data_of(state.pitched),
            **picked(
                state,
                "hours gravity_sd original_gravity sugar_used temperature_c ph slope",
            ),
            **picked(view.assessed, "gravity alcohol_pct"),
            "sugar_left_g_l": view.assessed.sugar_left_g_l.p50,
            "points": [
                dict(zip(("id", "hours", "gravity", "sd"), one, strict=True)) for one in read
            ],
        },
        "assessment": assessment_data(view.assessed),
        "next": data_of(view.step),
        "beyond": data_of(view.beyond),
        "findings": data_of(view.findings),
        "feeds": [
            {
                **picked(s, "state given_at why"),
                **picked(s.feed, "key name doses expected_h dropped"),
                "trigger": s.feed.words,
            }
            for s in state.feeds
        ],
        "salt": data_of(state.plan.salt),
        "proposal": proposal_data(view.proposal),
        "diagnosis": data_of(view.diagnosis),
        "restart": data_of(view.restart),
        "forecast": forecast_data(view),
    }


def assessment_data(of: Assessment) -> dict[str, Any]:
    """How it stands, in figures: phase, sugar left, chances, and how old what is known is."""
    return {
        "phase": of.phase,
        "sugar_left_g_l": _three(of.sugar_left_g_l, 1),
        "fall_per_day": of.fall_per_day and _three(of.fall_per_day, 5),
        "chance_stopped_short": round(of.chance_stopped_short, 4),
        "chance_finished": round(of.chance_finished, 4),
        "stood_h": round(of.stood_h, 1),
        "end_gravity": {k: round(getattr(of.end, k), 4) for k in ("low", "middle", "high")},
        "gravity": of.gravity,
        "alcohol_pct": of.alcohol_pct,
        "volume_l": of.held.volume_l,
        "ph": of.held.ph,
        "total_so2_mg_l": of.held.total_so2_mg_l,
        "knowledge_age_h": None if of.knowledge_age_h is None else round(of.knowledge_age_h, 2),
        "ages_h": data_of(of.ages),
        "is_stale": of.is_stale,
        "last_done": data_of(of.last_done),
        "days_to_end": of.days_to_end and [round(d, 1) for d in of.days_to_end],
        "restart": data_of(of.restart),
    }


def _three(found: Quantiles, digits: int) -> dict[str, float | None]:
    return {
        name: None if (value := getattr(found, name)) is None else round(value, digits)
        for name in ("p05", "p50", "p95")
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
