"""What is this reading in another unit, with its working."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.planning.convert import Conversion
from mustwright.web.forms.convert_form import FIELDS, readings
from mustwright.web.forms.typed import said
from mustwright.web.pages.figures import FigureList
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
EXAMPLES = (
    "1.098",
    "24 Bx",
    "5 US gal",
    "15 lb 4 oz",
    "68 F",
    "8 lb/1000 US gal",
    "1.4915 nD",
)


@router.get("/convert")
def convert_page(request: Request) -> Response:
    """The form, and the answer when something was typed."""
    typed = {name: request.query_params.get(name, "").strip()[:80] for name in FIELDS}
    errors: dict[str, str] = {}
    found: list[Conversion] = []
    if typed["value"]:
        found, error = readings(typed)
        if error is not None:
            errors[error.field if error.field in FIELDS else "value"] = said(error)
    units = {one.unit for one in found}
    others = {
        name: figure
        for one in found
        for name, figure in one.alternatives.items()
        if not (name == "alcohol" and "% vol" in units) and name != "gravity"
    }
    notes = list(dict.fromkeys(note for one in found for note in one.warnings))
    ledger = FigureList.over((one.unit, one.value) for one in found)
    for name, figure in others.items():
        ledger.number(figure, name)
    return show(
        request,
        "convert.html",
        422 if errors else 200,
        typed=typed,
        errors=errors,
        found=found,
        others=others,
        notes=notes,
        ledger=ledger,
        examples=EXAMPLES,
    )
