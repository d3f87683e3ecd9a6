"""Which words of a page lead to the glossary: each term where it first stands in running text."""

from __future__ import annotations

import re
from functools import cache, lru_cache

from mustwright.data.glossary import GlossaryEntry, glossary
from mustwright.languages import code_spoken

# Words in these are left alone, whatever is within them: what leads elsewhere, is typed, drawn,
# copied, or stands as a heading; and how a figure was worked out. What unfolds by name is read.
LEFT_ALONE = (
    "a", "h1", "h2", "h3", "h4", "h5", "h6", "th", "form", "svg", "code", "pre", "summary",
    "label", "button", "select", "textarea", "cite", "script", "style",
)  # fmt: skip
FIGURE = 'class="fig"'
# Passed over in one step: such an element whole, as none holds one of its own kind; every other
# tag but those of <details>; and figures and room between tags. Then a tag of <details>, and text.
_PIECE = re.compile(
    rf"(?:<({'|'.join(LEFT_ALONE)})\b[^>]*>[^<]*(?:<(?!/\1>)[^<]*)*</\1>"
    r"|<(?!/?details\b)[^>]*>|[\s\d.,:;%()+–−-]+(?=<))+"
    r"|<(/?)details\b[^>]*>|([^<]+)",
    re.S,
)
_MAIN = re.compile(r"<main\b")
_END = "</main>"
LONGEST_KEPT = 400  # letters of a text whose words are remembered


def with_glossary(html: str) -> str:
    """A whole page whose terms are linked where each stands first; a part of a page as it is.

    Only letters between tags of its main part are looked at, and they stay as they are: taking the
    links away gives back the page.
    """
    begins = _MAIN.search(html)
    end = -1 if begins is None else html.find(_END, begins.end())
    if begins is None or end < 0:
        return html
    return html[: begins.start()] + _linked(html[begins.start() : end]) + html[end:]


def _linked(html: str) -> str:
    seen: set[str] = set()
    language = code_spoken()
    figures: list[bool] = []  # of the <details> that are open, which hold a figure's working

    def piece(found: re.Match[str]) -> str:
        _, closes, text = found.groups()
        if closes == "":
            figures.append(FIGURE in found[0])
        elif closes and figures:
            figures.pop()
        if text is None or any(figures):
            return found[0]
        terms = _found(language, text) if len(text) > LONGEST_KEPT else _known(language, text)
        return _with_links(text, terms, seen) if terms else text

    return _PIECE.sub(piece, html)


Terms = tuple[tuple[int, int, str], ...]  # where each begins and ends, and the entry it leads to


def _with_links(text: str, terms: Terms, seen: set[str]) -> str:
    """A text with each term linked that was not seen before."""
    parts, done = [], 0
    for start, end, id in terms:
        if id in seen:
            continue
        seen.add(id)
        link = f'<a class="term" href="/glossary#{id}">{text[start:end]}</a>'
        parts += [text[done:start], link]
        done = end
    return "".join([*parts, text[done:]])


def _found(language: str, text: str) -> Terms:
    """The terms of a text."""
    pattern, entries = _terms(language)
    return tuple(
        (found.start(), found.end(), entry.id)
        for found in pattern.finditer(text)
        if _meant(entry := entries[found[0].lower()], found)
    )


_known = lru_cache(maxsize=4096)(_found)  # most texts stand on many pages


def _meant(entry: GlossaryEntry, found: re.Match[str]) -> bool:
    """Whether the word before it allows that the term is meant ("this must", not "must be")."""
    if not entry.after:
        return True
    before = found.string[: found.start()].split()
    return bool(before) and before[-1].lower() in entry.after


@cache
def _terms(_language: str) -> tuple[re.Pattern[str], dict[str, GlossaryEntry]]:
    """One pattern for all spellings, the longest first, and what each leads to."""
    entries = {
        spelling.lower(): entry
        for entry in glossary().values()
        if entry.linked
        for spelling in entry.spellings
    }
    # By the first letter, so that most words are passed over after one look.
    firsts: dict[str, list[str]] = {}
    for spelling in sorted(entries, key=len, reverse=True):
        firsts.setdefault(spelling[0], []).append(re.escape(spelling[1:]))
    either = "|".join(
        f"[{re.escape(first)}{re.escape(first.upper())}](?:{'|'.join(rests)})"
        for first, rests in firsts.items()
    )
    # No part of a word, of a hyphened one, of an entity (&amp;) or of an address.
    return re.compile(rf"(?<![\w&/.-])(?:{either})(?![\w/-])", re.I), entries
