"""How far the import of a large batch is; it can be stopped until it is written."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.services.batch.importing import ImportJob, import_job
from mustwright.services.repository import MissingRecordError
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
LOOK_AGAIN_S = "1"


@router.get("/imports/{id}")
def import_page(request: Request, id: str) -> Response:
    """How far it is; the batch once it is there, or why it is not."""
    job = _job(id)
    is_running = job.is_running  # asked once: it may end meanwhile
    if job.record is not None:
        return RedirectResponse(f"/batches/{job.record.slug}", 303)
    status = 200 if is_running else 422
    answer = show(request, "importing.html", status, job=job, is_running=is_running)
    if is_running:
        answer.headers["Refresh"] = LOOK_AGAIN_S
    return answer


@router.post("/imports/{id}/stop")
def stop(id: str) -> Response:
    """Stop it; nothing is written then, unless it just was."""
    _job(id).stopped.set()
    return RedirectResponse(f"/imports/{id}", 303)


def _job(id: str) -> ImportJob:
    job = import_job(id)
    if job is None:
        raise MissingRecordError("import", id)
    return job
