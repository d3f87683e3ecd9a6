"""What makes the pages work without a network: manifest, service worker, what waits on a device."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from mustwright import __version__
from mustwright.web.access import KEPT
from mustwright.web.pages.render_values import show
from mustwright.web.render import FORM_TOKEN

router = APIRouter(include_in_schema=False)
WORKER = "service_worker.js"
MANIFEST = {
    "name": "Mustwright",
    "short_name": "Mustwright",
    "description": "Plans honey musts and their feeding, and follows the ferments.",
    "id": "/",
    "start_url": "/",
    "scope": "/",
    "display": "standalone",
    "background_color": "#faf8f4",
    "theme_color": "#1f2529",
    "icons": [
        {"src": "/static/icon.svg", "sizes": "any", "type": "image/svg+xml"},
        {"src": "/static/icon-192.png", "sizes": "192x192", "type": "image/png"},
        {"src": "/static/icon-512.png", "sizes": "512x512", "type": "image/png"},
        {
            "src": "/static/icon-512.png",
            "sizes": "512x512",
            "type": "image/png",
            "purpose": "maskable",
        },
    ],
}
REVALIDATED = {"Cache-Control": "no-cache"}


@router.get("/manifest.webmanifest")
def manifest() -> Response:
    """What a phone needs to put the pages among its programs."""
    text = json.dumps(MANIFEST)
    return Response(text, media_type="application/manifest+json", headers=REVALIDATED)


@router.get("/service-worker.js")
def service_worker() -> Response:
    """The worker; from the root, so that it stands before every page."""
    return Response(worker_text(), media_type="text/javascript", headers=REVALIDATED)


@cache
def worker_text() -> str:
    """The worker with a version that changes whenever one of the static files does."""
    digest = hashlib.sha256(__version__.encode())
    for file in _static_files():
        digest.update(file.name.encode() + file.read_bytes())
    version, static = digest.hexdigest()[:16], files("mustwright.web") / "static"
    head = f"const VERSION = {json.dumps(version)}, SHELL = {json.dumps(shell())};\n"
    return head + (static / WORKER).read_text(encoding="utf-8")


def shell() -> list[str]:
    """What kept pages need besides themselves, fetched when the worker is installed."""
    needed = [f.name for f in _static_files() if f.name.endswith((".css", ".js", ".svg"))]
    return [KEPT, "/manifest.webmanifest", *(f"/static/{n}" for n in needed if n != WORKER)]


def _static_files() -> list[Traversable]:
    static = files("mustwright.web") / "static"
    return sorted((one for one in static.iterdir() if one.is_file()), key=lambda one: one.name)


@router.get(KEPT)
def kept_page(request: Request) -> Response:
    """What is kept on the device that asks; the server knows nothing of it."""
    return show(request, "kept.html")


@router.get("/api/pulse")
def pulse(request: Request) -> JSONResponse:
    """Whether the cellar answers this session, and the token its forms carry just now."""
    return JSONResponse({FORM_TOKEN: getattr(request.state, FORM_TOKEN, "")})
