"""The units that every page and command uses, chosen once for the cellar or for one person."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.errors import InputError
from mustwright.languages import NAMED as NAMED_LANGUAGES
from mustwright.languages import language_called
from mustwright.must.gravity_text import apparent_words
from mustwright.services.batch.repository import Ledger
from mustwright.services.language import choose_language
from mustwright.services.units import AS_TYPED, chosen_for, keep_units, system_kept, was_asked
from mustwright.texts import join, say
from mustwright.unit_system import (
    GRAVITIES,
    MASSES,
    NAMED,
    TEMPERATURES,
    VOLUMES,
    UnitSystem,
    system_called,
)
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages.batch.shared import Form
from mustwright.web.pages.render_values import show
from mustwright.web.spoken import keep_own_language
from mustwright.web.units import forget_own, keep_own, own_units

router = APIRouter(include_in_schema=False)
READY_MADE = (
    ("metric", say("Litres, kilograms, °C")),
    ("us", say("US gallons, pounds, °F")),
    ("imperial", say("Imperial gallons, pounds, °C")),
)
WORDS = {
    "L": say("litres"), "US gal": say("US gallons, quarts, fluid ounces"),
    "imp gal": say("imperial gallons, pints, fluid ounces"),
    "kg": say("kilograms"), "lb": say("pounds and ounces"), "C": "°C", "F": "°F",
    "SG": say("specific gravity"), "Brix": say("Brix (°Bx)"), "Plato": say("Plato (°P)"),
}  # fmt: skip
PARTS = (("volume", say("Volumes"), VOLUMES), ("mass", say("Honey, fruit and water"), MASSES),
         ("temperature", say("Temperatures"), TEMPERATURES),
         ("gravity", say("Gravities"), GRAVITIES))  # fmt: skip
SCALES = tuple((one, WORDS[one]) for one in GRAVITIES)


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
        own=own_words(own_units(request.headers)),
        own_scale=getattr(system_kept(own_units(request.headers)), "gravity", GRAVITIES[0]),
        ready_made=READY_MADE,
        languages=NAMED_LANGUAGES,
        named={name: one.key for name, one in NAMED.items()},
        scales=SCALES,
        apparent_said=apparent_words(UnitSystem(gravity=GRAVITIES[1])),
        parts=[
            (name, label, [(one, WORDS[one]) for one in every], getattr(system, name, every[0]))
            for name, label, every in PARTS
        ],
    )


@router.post("/units")
def choose(request: Request, typed: Form) -> Response:
    """Keep what was chosen, for the cellar or in the browser, and go back to the first page."""
    answer = RedirectResponse("/", 303)
    if typed.get("whose") != "me":
        keep_units(request.app.state.compose.ledger, _wanted(typed))
    elif typed.get("units") == "cellar":
        forget_own(answer)
    else:
        keep_own(answer, _wanted(typed))
    return answer


@router.post("/language")
def choose_a_language(request: Request, typed: Form) -> Response:
    """Keep a language, for the cellar or in the browser, and go back to where it is chosen."""
    code = typed.get("language")
    language_called(code)
    answer = RedirectResponse("/units#language", 303)
    if typed.get("whose") == "cellar":
        choose_language(request.app.state.compose.ledger, code)
        keep_own_language(answer, "")
    else:
        keep_own_language(answer, code)
    return answer


def own_words(kept: str) -> str:
    """What the person chose, in words; empty where the cellar's choice counts."""
    if not kept or kept == AS_TYPED:
        return say("each must as it was typed") if kept else ""
    system = system_kept(kept)
    return join("; ", (WORDS[getattr(system, name)] for name, _, _ in PARTS))


def _wanted(typed: TypedForm) -> UnitSystem | None:
    name = typed.get("units")
    if name == "typed":
        return None
    if name == "own":
        return system_called("/".join(typed.get(part) or "SG" for part, _, _ in PARTS))
    if not name:
        raise InputError("units", say("needs one of {names}", names=", ".join(NAMED)), name)
    scale = typed.get("gravity")
    return system_called(f"{name}/{scale}" if scale else name)
