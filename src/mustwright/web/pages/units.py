"""The units that every page and command uses, chosen once for the cellar."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.errors import InputError
from mustwright.services.batch.repository import Ledger
from mustwright.services.units import chosen_for, keep_units, was_asked
from mustwright.unit_system import MASSES, NAMED, TEMPERATURES, VOLUMES, UnitSystem, system_called
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages.batch.shared import Form
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
READY_MADE = (
    ("metric", "Litres, kilograms, °C"),
    ("us", "US gallons, pounds, °F"),
    ("imperial", "Imperial gallons, pounds, °C"),
)
WORDS = {
    "L": "litres", "US gal": "US gallons, quarts, fluid ounces",
    "imp gal": "imperial gallons, pints, fluid ounces",
    "kg": "kilograms", "lb": "pounds and ounces", "C": "°C", "F": "°F",
}  # fmt: skip
PARTS = (("volume", "Volumes", VOLUMES), ("mass", "Honey, fruit and water", MASSES),
         ("temperature", "Temperatures", TEMPERATURES))  # fmt: skip


@router.get("/units")
def units_page(request: Request) -> Response:
    """What is chosen, and what may be."""
    ledger: Ledger = request.app.state.compose.ledger
    system = chosen_for(ledger)
    return show(
        request,
        "units.html",
        system=system,
        asked=was_asked(ledger),
        ready_made=READY_MADE,
        named={name: one.key for name, one in NAMED.items()},
        parts=[
            (name, label, [(one, WORDS[one]) for one in every], getattr(system, name, every[0]))
            for name, label, every in PARTS
        ],
    )


@router.post("/units")
def choose(request: Request, typed: Form) -> Response:
    """Keep what was chosen, and go back to the first page."""
    keep_units(request.app.state.compose.ledger, _wanted(typed))
    return RedirectResponse("/", 303)


def _wanted(typed: TypedForm) -> UnitSystem | None:
    name = typed.get("units")
    if name == "typed":
        return None
    if name == "own":
        return system_called("/".join(typed.get(part) for part, _, _ in PARTS))
    if not name:
        raise InputError("units", f"needs one of {', '.join(NAMED)}", name)
    return system_called(name)
