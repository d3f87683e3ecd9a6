"""A language that shows what is in the catalogue: every wording of it stands in ⟦brackets⟧.

What stands outside of them on a page or in an answer, and is no number, name or word of the maker,
cannot be said in another language.
"""

from __future__ import annotations

import html
import re
from functools import cache

from catalogue import is_wording, known
from mustwright import languages
from mustwright.texts import Text

REAL = languages._read  # which a test puts this one in the place of


class Pseudo:
    """Every wording in brackets, everything else as in English."""

    code = "de"
    decimal = "."

    def wording(self, template: str, context: str) -> str:
        """The same in brackets, if the catalogue has it or it needs none."""
        if not template.strip() or (is_wording(template) and (template, context) not in _known()):
            return template
        return f"⟦{template}⟧"

    def wording_of(self, one: str, many: str, count: float, context: str) -> str:  # noqa: ARG002
        """The same in brackets."""
        return f"⟦{one if count == 1 else many}⟧"

    def recalled(self, text: str) -> str:
        """In brackets, if the catalogue knows it again."""
        return f"⟦{text}⟧" if REAL(self.code).recalled(text) != text else text

    def formatted(self, value: object, spec: str) -> str:
        """As in English."""
        return format(value.put(self) if isinstance(value, Text) else value, spec)


@cache
def _known() -> frozenset[tuple[str, str]]:
    return frozenset((one.one, one.context) for one in known("de"))


PSEUDO = Pseudo()
_HIDDEN = re.compile(r"<(script|style|code|pre|textarea)\b.*?</\1>", re.S)
_SHOWN = re.compile(r'\b(?:aria-label|title|placeholder|alt|data-is)="([^"]*)"')


def outside(text: str) -> str:
    """What of a text stands outside of all brackets."""
    depth, kept = 0, []
    for letter in text:
        depth += letter == "⟦"
        if not depth:
            kept.append(letter)
        depth -= letter == "⟧"
    return "".join(kept)


def english_in(page: str) -> list[str]:
    """Pieces of a page (or of plain text) with words of two letters or more outside of brackets."""
    shown = _HIDDEN.sub(" ", page)
    labels = [html.unescape(found) for found in _SHOWN.findall(shown)]
    # A bracket may hold tags: what is between its ends counts as inside.
    pieces = re.split(r"<[^>]+>|\n", outside(html.unescape(shown)))
    pieces += [outside(label) for label in labels]
    found = (" ".join(piece.split()) for piece in pieces)
    return [piece for piece in found if re.search(r"[A-Za-z]{2,}", piece)]
