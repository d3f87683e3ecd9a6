"""Where the figures come from, what the marks mean, and safety and law in one place."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.figure import ARITHMETIC, ASSUMED, COMMON_PRACTICE, FROM_MEMORY, TYPED
from mustwright.nutrition.limits import legal_profiles
from mustwright.texts import say
from mustwright.web.pages.figures import bibliography
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
MARKS = (
    (COMMON_PRACTICE, say("a habit of the trade, without a document behind it")),
    (FROM_MEMORY, say("a value recalled and not yet checked against its document")),
    (ASSUMED, say("our own judgement, until something better is known")),
    (ARITHMETIC, say("follows from the figures named beside it")),
    (TYPED, say("what you typed, used as it is")),
)
SAFETY = (
    "alcohol",
    "carbon_dioxide_room",
    "pressure_glass",
    "powder_in_gassy_must",
    "hot_water",
    "yeast_heat",
    "caustic_carbonate",
    "sulfite_asthma",
    "pollen_allergen",
    "poisonous_plant_parts",
    "urea_never",
    "label_first",
    "local_law",
)


@router.get("/sources")
def sources_page(request: Request) -> Response:
    """Bibliography, marks, cautions, legal profiles."""
    documents = sorted(bibliography().items(), key=lambda pair: pair[0].lower())
    return show(
        request,
        "sources.html",
        documents=documents,
        marks=MARKS,
        safety=SAFETY,
        laws=list(legal_profiles().values()),
    )
