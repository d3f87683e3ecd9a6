"""A must sheet as text: the same sheet the form writes, for makers who would rather type."""

from __future__ import annotations

from fastapi import APIRouter

from mustwright.errors import InputError
from mustwright.services import records as use
from mustwright.services.repository import Cellar, Record
from mustwright.texts import say
from mustwright.units import sheet_plainly_typed
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages.record_form import RecordForm, add_routes

router = APIRouter(include_in_schema=False)
START = """[must]
volume = "19 L"
gravity = "1.095"        # or brix = 24, or alcohol = "12 %" with finish = "dry"
temperature = "20 C"

[[must.ingredient]]
kind = "honey"
amount = "solve"         # as much as reaches the target

[[must.ingredient]]
kind = "water"
amount = "fill"          # tops up to the volume

[yeast]
kind = "low-demand neutral"

[legal]
profile = "home"
"""


def _keep(cellar: Cellar, key: str | None, typed: TypedForm, version: int | None) -> Record:
    text = sheet_plainly_typed(typed.get("text"))
    return use.save_sheet(cellar, key, typed.get("name"), text, version)


def _field(error: InputError, typed: TypedForm) -> str:
    return "name" if error.field == "must.name" and not typed.get("name").strip() else "text"


add_routes(
    router,
    RecordForm(
        "sheet",
        "text_form.html",
        "/musts/new/text",
        "/musts/{key}/text",
        "/musts/{key}",
        (say("A new must as text"), say("The sheet as text")),
        lambda _: (TypedForm({"text": START, "name": ""}), ""),
        lambda record: TypedForm({"text": record.text, "name": record.name}),
        _keep,
        _field,
    ),
)
