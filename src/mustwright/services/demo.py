"""What is there to look at before the first sheet: an invented cellar, Fernlea Lane, put in once.

The sheets and the shelf are package data under ``data/demo``. Everything in them is invented.
"""

from __future__ import annotations

import tomllib
from contextlib import suppress
from importlib.resources import files
from importlib.resources.abc import Traversable

from mustwright.errors import ConflictError
from mustwright.services.repository import Cellar

SEEDED = "demo seeded"


def seed_demo(cellar: Cellar) -> bool:
    """Put the demo into a cellar that never had it; whether anything was done.

    The flag is set last, and a record that is already there is left alone, so the next seeding
    completes one that was broken off. Demo records that the maker deletes stay deleted.
    """
    if cellar.has_flag(SEEDED):
        return False
    for slug, name, text in demo_sheets():
        with suppress(ConflictError):
            cellar.save("sheet", slug, text, None, name)
    for id, text in demo_nutrients():
        with suppress(ConflictError):
            cellar.save("nutrient", id, text, None)
    cellar.set_flag(SEEDED)
    return True


def demo_sheets() -> list[tuple[str, str, str]]:
    """Slug, name and text of each demo sheet; the name is the title in its first comment."""
    return [(slug, _title(text), text) for slug, text in _texts("sheets")]


def demo_nutrients() -> list[tuple[str, str]]:
    """Id and label facts of each nutrient on the demo shelf."""
    return _texts("shelf")


def _texts(folder: str) -> list[tuple[str, str]]:
    place = files("mustwright.data") / "demo" / folder
    found = [p for p in place.iterdir() if p.name.endswith(".toml")]
    return sorted((p.name.removesuffix(".toml"), _checked(p)) for p in found)


def _checked(place: Traversable) -> str:
    text = place.read_text(encoding="utf-8")
    tomllib.loads(text)
    return text


def _title(text: str) -> str:
    return text.split("\n", 1)[0].removeprefix("#").strip()
