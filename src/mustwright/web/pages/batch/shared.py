"""What the pages of a batch share: the batch as it stands, its addresses, who writes."""

from __future__ import annotations

from datetime import datetime, tzinfo
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException
from starlette.responses import RedirectResponse, Response

from mustwright.batch.view import BatchView
from mustwright.compose import Compose
from mustwright.errors import InputError
from mustwright.planning.likeness import HouseFor
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.repository import Ledger
from mustwright.services.batch.worklist import DueList, due_today
from mustwright.services.repository import Cellar, MissingRecordError
from mustwright.texts import say
from mustwright.web.forms.typed import TypedForm, posted

Form = Annotated[TypedForm, Depends(posted)]


class Desk:
    """The ledger, the clock and the zone behind one request."""

    def __init__(self, request: Request) -> None:
        compose: Compose = request.app.state.compose
        self.cellar: Cellar = compose.cellar
        self.ledger: Ledger = compose.ledger
        self.now: datetime = compose.clock()
        self.zone: tzinfo = compose.local_zone
        self.house: HouseFor = compose.house_for()

    def view(self, slug: str) -> BatchView:
        """How a batch stands now."""
        return look(self.ledger, slug, self.now, self.zone)

    def must_kept(self, sheet: str) -> bool:
        """Whether the must a batch came from is still in the cellar."""
        try:
            return bool(sheet) and self.cellar.record("sheet", sheet).key == sheet
        except MissingRecordError:
            return False


async def sent_with_file(
    request: Request, name: str, fields: int = 10, largest_part: int = 1024 * 1024
) -> tuple[TypedForm, bytes] | None:
    """What a form sent, and the file in one of its fields; None where it cannot be taken in."""
    try:
        form = await request.form(max_files=1, max_fields=fields, max_part_size=largest_part)
    except MultiPartException:
        return None
    file = form.get(name)
    content = await file.read() if isinstance(file, UploadFile) else b""
    typed = {key: value for key, value in form.items() if isinstance(value, str)}
    await form.close()
    return TypedForm(typed), content


def text_of(content: bytes) -> str:
    """The text of a file.

    Raises
    ------
    InputError
    """
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("file", say("needs UTF-8 text"), say("another file")) from None


def due_now(compose: Compose) -> DueList:
    """What is due today across all batches."""
    return due_today(compose.ledger, compose.clock(), compose.local_zone)


def back_to(slug: str, wrote: str = "", place: str = "") -> Response:
    """The page of the batch, with a note about what was written."""
    query = f"?wrote={wrote}" if wrote else ""
    return RedirectResponse(f"/batches/{slug}{query}{place}", 303)
