"""A changed plan, before and after and why; put in force on consent."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.batch import log_text as words
from mustwright.batch.log import plans
from mustwright.batch.paper import without_gravity
from mustwright.batch.plan import PlannedFeed
from mustwright.batch.replan import no_proposal_words
from mustwright.errors import ConflictError, InputError
from mustwright.services.batch.replan import adopt, fingerprint
from mustwright.web.forms.typed import number_of
from mustwright.web.pages.batch.shared import Desk, Form, back_to
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)


@router.get("/batches/{slug}/replan")
def replan_page(request: Request, slug: str) -> Response:
    """What would change, or that nothing needs to."""
    return _shown(request, Desk(request), slug)


@router.post("/batches/{slug}/replan")
def put_in_force(request: Request, slug: str, typed: Form) -> Response:
    """Adopt exactly the proposal that was shown."""
    desk = Desk(request)
    try:
        entry = adopt(
            desk.ledger,
            slug,
            now=desk.now,
            zone=desk.zone,
            seen=number_of(typed, "seen"),
            agreed=typed.get("agreed"),
        )
    except ConflictError as error:
        return _shown(request, desk, slug, 409, error.text)
    except InputError as error:
        return _shown(request, desk, slug, 422, error.text)
    return back_to(slug, entry.id)


def _when_after(feed: PlannedFeed) -> str:
    return "" if feed.dropped or not feed.doses else without_gravity(feed.words)


def _shown(request: Request, desk: Desk, slug: str, status: int = 200, wrong: str = "") -> Response:
    view = desk.view(slug)
    proposal = view.proposal
    rows = [
        {
            "name": c.name,
            "what": c.words,
            "same": c.what == "kept",
            "why": c.why,
            "before": words.feed_words(c.before, view.progress.plan),
            "before_when": without_gravity(c.before.words),
            "after": words.feed_words(c.after, view.progress.plan),
            "after_when": ""
            if c.after.dropped or not c.after.doses
            else without_gravity(c.after.words),
        }
        for c in (proposal.changes if proposal else ())
    ]
    earlier = [
        {
            "plan": s.what.plan,
            "why": s.what.why,
            "when": words.moment(s.at, desk.zone, desk.now),
            "is_gone": s.removed,
        }
        for s in reversed(plans(view.stands))
    ]
    return show(
        request,
        "batch_replan.html",
        status,
        record=view.record,
        view=view,
        proposal=proposal,
        agreed=fingerprint(proposal) if proposal else "",
        rows=rows,
        nothing="" if proposal else no_proposal_words(view.progress, view.assessed),
        plans=earlier,
        wrong=wrong,
    )
