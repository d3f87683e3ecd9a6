"""From which wording did a kept English sentence come, and what does a language say for it?

Logs, plans and lists keep sentences in English, without how they were made. They are read back by
the wordings of the catalogue: what stands between the words of a wording are its values, which may
be sentences themselves. What no wording fits is the maker's own, and stays.
"""

from __future__ import annotations

import calendar
import re
import string
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

_FORMATTER = string.Formatter()
_NUMBER = r"[-+]?\d[\d,]*(?:\.\d+)?(?:e[-+]?\d+)?(?: ?%)?"
_DECIMALS = re.compile(r"(?<![\w.,])[-+]?\d+\.\d+(?![\w.]*\.\d)")
_SENTENCES = re.compile(r"(?<=[.?])\s+(?=[A-Z'])")
_DIRECTIVE = re.compile("%[A-Za-z]")
_NAMES: Mapping[str, tuple[str, ...]] = {
    "%A": tuple(calendar.day_name), "%a": tuple(calendar.day_abbr),
    "%B": tuple(calendar.month_name)[1:], "%b": tuple(calendar.month_abbr)[1:],
}  # fmt: skip
# Temperatures that a wording of the data gives both ways, of which one is said.
BOTH_WAYS = re.compile(
    r"([\d.,]+(?: (?:to|bis) [\d.,]+)?) °C \(([\d.,]+(?: (?:to|bis) [\d.,]+)?) °F\)"
)
WAYS = (r"\1 °C", r"\2 °F")
# A wording is known again by so many letters of its own; by fewer where its values are numbers.
LETTERS, LETTERS_BESIDE_NUMBERS, LETTERS_OF_A_DATE = 8, 4, 6
LONGEST = 4000
MOST_KEPT = 5000


@dataclass(frozen=True)
class _Wording:
    """A wording with values, as it is known again."""

    pattern: re.Pattern[str]
    names: tuple[tuple[str, str], ...]
    letters: int
    says: str


class Recall:
    """Knows the wordings of a language again.

    Parameters
    ----------
    wordings : iterable of (str, str)
        English, and what the language says for it.
    number : callable
        A number in English as the language writes it.
    named : callable
        What the language calls a day or a month: by ``%A``, ``%a``, ``%B`` or ``%b``, and its place
        from 0.
    """

    def __init__(
        self,
        wordings: Iterable[tuple[str, str]],
        number: Callable[[str], str],
        named: Callable[[str, int], str],
    ) -> None:
        self._number, self._named = number, named
        self._whole: dict[str, str] = {}
        self._lower: dict[str, str] = {}
        self._by_word: dict[str, list[_Wording]] = {}
        self._found: dict[str, str] = {}
        for english, says in _each_way(wordings):
            if not english or not says:
                continue
            self._whole.setdefault(english, says)
            self._lower.setdefault(english.lower(), says)
            if "{" in english:
                self._add(english, says)
        for some in self._by_word.values():
            some.sort(key=lambda one: -one.letters)

    def _add(self, english: str, says: str) -> None:
        try:
            parts = list(_FORMATTER.parse(english))
        except ValueError:
            return
        pattern, names, letters, numbers = "", [], 0, True
        for before, name, spec, _ in parts:
            pattern += re.escape(before)
            letters += len(re.findall(r"[^\W\d_]", before))
            if name is None:
                continue
            if not name.isidentifier() or "{" in (spec or ""):
                return
            dated = _DIRECTIVE.search(spec or "")
            numbers &= bool(spec)
            letters += LETTERS_OF_A_DATE if dated else 0
            pattern += f"({_date_pattern(spec or '') if dated else _NUMBER if spec else '.+?'})"
            names.append((name, spec or ""))
        if letters < (LETTERS_BESIDE_NUMBERS if numbers else LETTERS):
            return
        made = _Wording(re.compile(pattern, re.S), tuple(names), letters, says)
        self._by_word.setdefault(_first_word(parts[0][0]), []).append(made)

    def said(self, text: str) -> str:
        """A kept text in the language.

        Examples
        --------
        >>> german = Recall(
        ...     [("read {gravity} today", "heute {gravity} gemessen"), ("honey", "Honig")],
        ...     lambda number: number.replace(".", ","),
        ...     lambda _code, _place: "",
        ... )
        >>> german.said("read 1.050 today"), german.said("Honey"), german.said("my own words")
        ('heute 1,050 gemessen', 'Honig', 'my own words')
        """
        if text not in self._found:
            if len(self._found) >= MOST_KEPT:
                self._found.clear()
            self._found[text] = self._put(text)
        return self._found[text]

    def _put(self, text: str) -> str:
        known = self._known(text)
        if known is not None:
            return known
        for between in ("\n", " ", "; ", " + "):
            parts = _SENTENCES.split(text) if between == " " else text.split(between)
            if len(parts) > 1:
                said = between.join(map(self.said, parts))
                if said != text:
                    return said
        return _DECIMALS.sub(lambda found: self._number(found[0]), text)

    def _known(self, text: str) -> str | None:
        """A text that is one wording; None where none fits."""
        if not text.strip() or len(text) > LONGEST:
            return text
        ends = "." if text.endswith(".") else ""
        bare = text.removesuffix(".")
        lower, upper = text[:1].lower() + text[1:], text[:1].upper() + text[1:]
        for tried, end, raised in (
            (text, "", False),
            (bare, ends, False),
            (lower, "", True),
            (lower.removesuffix("."), ends, True),
            (upper, "", False),
            (upper.removesuffix("."), ends, False),
        ):
            says = self._whole.get(tried)
            says = self._filled(tried) if says is None or "{" in says else says
            if says is not None:
                says += end
                return says[:1].upper() + says[1:] if raised and text != lower else says
        says = self._lower.get(text.lower())
        return None if says is None or "{" in says else says

    def _filled(self, text: str) -> str | None:
        for one in (*self._by_word.get(_first_word(text), ()), *self._by_word.get("", ())):
            found = one.pattern.fullmatch(text)
            if found is None:
                continue
            values: dict[str, dict[str, str]] = {}
            for (name, spec), value in zip(one.names, found.groups(), strict=True):
                values.setdefault(name, {}).update(_read(spec, value))
            said = self._put_in(one.says, values)
            if said is not None:
                return said
        return None

    def _put_in(self, says: str, values: Mapping[str, Mapping[str, str]]) -> str | None:
        """What the language says, with the values that were found; None where one is missing."""
        made = ""
        for before, name, spec, _ in _FORMATTER.parse(says):
            made += before
            if name is None:
                continue
            read = values.get(name, {})
            directives = _DIRECTIVE.findall(spec or "")
            if any(code not in read for code in directives) or not (directives or "" in read):
                return None
            if not directives:
                made += self.said(read[""])
                continue
            written = spec or ""
            for code in directives:
                written = written.replace(code, self._dated(code, read[code]))
            made += written
        return made

    def _dated(self, code: str, value: str) -> str:
        return self._named(code, _NAMES[code].index(value)) if code in _NAMES else value


def _first_word(text: str) -> str:
    """The first word, where it is whole."""
    found = re.match(r"([A-Za-z']+)[ ,:;.]", text)
    return found[1] if found else ""


def _date_pattern(spec: str) -> str:
    """How a date by such a specification looks."""
    pattern, last = "", 0
    for found in _DIRECTIVE.finditer(spec):
        pattern += re.escape(spec[last : found.start()])
        code, last = found[0], found.end()
        if code in _NAMES:
            pattern += f"(?:{'|'.join(_NAMES[code])})"
        else:
            pattern += r"\d{4}" if code == "%Y" else r"\d\d"
    return pattern + re.escape(spec[last:])


def _read(spec: str, value: str) -> dict[str, str]:
    """A value, by the directives of its specification where it is a date."""
    codes = _DIRECTIVE.findall(spec)
    if not codes:
        return {"": value}
    pattern, last = "", 0
    for found in _DIRECTIVE.finditer(spec):
        pattern += re.escape(spec[last : found.start()]) + f"({_date_pattern(found[0])})"
        last = found.end()
    read = re.fullmatch(pattern + re.escape(spec[last:]), value)
    return dict(zip(codes, read.groups(), strict=True)) if read else {}


def _each_way(wordings: Iterable[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """Every wording, and with its temperatures one way and the other."""
    for english, says in wordings:
        yield english, says
        if BOTH_WAYS.search(english):
            for way in WAYS:
                yield BOTH_WAYS.sub(way, english), BOTH_WAYS.sub(way, says)
