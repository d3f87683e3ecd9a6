"""How is a sentence said so that it can be said in another language too: it knows its parts.

A `Text` is the English sentence, and can be used as any string. It also keeps how it was made: from
which wording of the catalogue and which values. Only where a page, print or line of a command is
written is it put into the language of whoever reads it (`languages`); nothing before that knows of
languages, and what is kept in memory serves all of them.

What a string loses on the way (by slicing, ``"".join``, an f-string around it) stays English, so
sentences are put together by `say`, `join` and `+`, and begun by `capital`.
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Protocol

_FORMATTER = string.Formatter()
_SHARE = re.compile(r"(?<=\d)%")


class Speaker(Protocol):
    """A language: finds wordings, and writes values its own way."""

    def wording(self, template: str, context: str) -> str:
        """The wording of this language for an English one."""
        ...

    def wording_of(self, one: str, many: str, count: float, context: str) -> str:
        """The same where a count decides between forms."""
        ...

    def formatted(self, value: object, spec: str) -> str:
        """A value as this language writes it, by a format specification."""
        ...


class Text(str):
    """An English text that can be said in another language.

    Made by `say`, `say_n`, `literal`, `join`, `capital`, and from another one by ``+`` and the
    methods of strings named here. Every other way gives a plain string, which stays English.
    """

    __slots__ = ("_how", "_parts")

    _how: Callable[..., str]
    _parts: tuple[Any, ...]

    def put(self, speaker: Speaker) -> str:
        """The same in a language."""
        return self._how(speaker, *self._parts)

    @property
    def made(self) -> tuple[str, tuple[Any, ...]]:
        """The name of the way it was made, empty for one that has none, and of what."""
        return next((name for name, how in WAYS.items() if how is self._how), ""), self._parts

    def __reduce__(self) -> tuple[Any, ...]:
        """Copied and pickled with how it was made."""
        return _text, (str(self), self._how, *self._parts)

    def __add__(self, other: str) -> Text:
        return join("", (self, other))

    def __radd__(self, other: str) -> Text:
        return join("", (other, self))

    def strip(self, chars: str | None = None, /) -> Text:
        """As of a string."""
        return _changed("strip", self, chars)

    def rstrip(self, chars: str | None = None, /) -> Text:
        """As of a string."""
        return _changed("rstrip", self, chars)

    def removesuffix(self, suffix: str, /) -> Text:
        """As of a string."""
        return _changed("removesuffix", self, suffix)

    def removeprefix(self, prefix: str, /) -> Text:
        """As of a string."""
        return _changed("removeprefix", self, prefix)

    def upper(self) -> Text:
        """As of a string."""
        return _changed("upper", self)

    def lower(self) -> Text:
        """As of a string in English; other languages keep their capitals."""
        return _text(str(self).lower(), _as_it_is, self)

    def format(self, *_places: object, **values: Any) -> Text:
        """The wording with values put in."""
        return say(str(self), **values)


def said(text: str, speaker: Speaker) -> str:
    """Any string in a language: a `Text` is put into it, every other string stays as it is."""
    return text.put(speaker) if isinstance(text, Text) else text


def say(template: str, *, context: str = "", **values: Any) -> Text:
    """A text from a wording of the catalogue.

    Parameters
    ----------
    template : str
        English, with the values' names in braces as in `str.format`; two braces for one.
    context : str
        Tells apart two meanings of the same English wording.
    **values
        Numbers, moments and other texts; each language writes them its own way.

    Examples
    --------
    >>> say("Add {grams:.1f} g of {name}.", grams=4.25, name="honey")
    'Add 4.2 g of honey.'
    """
    return _text(_english(template, values), _say, template, context, values)


def _english(template: str, values: Mapping[str, object]) -> str:
    """The English wording with its values; a share as "8 %", like any figure with its unit."""
    english = template.format(**values)
    return _SHARE.sub(" %", english) if "%}" in template else english


def _say(speaker: Speaker, template: str, context: str, values: Mapping[str, object]) -> str:
    return filled(speaker.wording(template, context), values, speaker)


def say_n(one: str, many: str, count: float, *, context: str = "", **values: Any) -> Text:
    """A text whose wording a count decides; it may be named ``{count}``.

    Examples
    --------
    >>> say_n("{count} feed", "{count} feeds", 1), say_n("{count} feed", "{count} feeds", 2)
    ('1 feed', '2 feeds')
    """
    values["count"] = count
    english = _english(one if count == 1 else many, values)
    return _text(english, _say_n, one, many, context, values)


def _say_n(
    speaker: Speaker, one: str, many: str, context: str, values: Mapping[str, Any]
) -> str:  # fmt: skip
    return filled(speaker.wording_of(one, many, values["count"], context), values, speaker)


def literal(wording: str, context: str = "") -> Text:
    """A whole wording of the catalogue, braces and all; what data files hold.

    Examples
    --------
    >>> literal("clover honey")
    'clover honey'
    """
    return _text(wording, _literal, wording, context)


def _literal(speaker: Speaker, wording: str, context: str) -> str:
    return speaker.wording(wording, context)


def kept(text: str) -> Text:
    """A text that was kept in English, such as a line of a log: found again by its wording.

    A language that has a wording it may have come from says that one, with the values found in it;
    the maker's own words stay as they are.

    Examples
    --------
    >>> kept("Add 4.2 g of honey.")
    'Add 4.2 g of honey.'
    """
    return text if isinstance(text, Text) else _text(text, _kept, text)


def _kept(speaker: Speaker, text: str) -> str:
    recalled: Callable[[str], str] | None = getattr(speaker, "recalled", None)
    return speaker.wording(text, "") if recalled is None else recalled(text)


def redone(function: Callable[..., str], *texts: str) -> Text:
    """What a function makes of texts; in another language, of what they are there.

    Parameters
    ----------
    function : callable
        Of a module, so that the text can be copied.

    Examples
    --------
    >>> redone(str.title, literal("clover honey"))
    'Clover Honey'
    """
    return _text(function(*texts), _redone, function, texts)


def _redone(speaker: Speaker, function: Callable[..., str], texts: tuple[str, ...]) -> str:
    return function(*(said(text, speaker) for text in texts))


def join(separator: str, parts: Iterable[str]) -> Text:
    """Texts in a row, with a separator that may be a text as well.

    Examples
    --------
    >>> join(", ", ["a", "b"])
    'a, b'
    """
    kept = tuple(parts)
    return _text(separator.join(kept), _join, separator, kept)


def _join(speaker: Speaker, separator: str, parts: tuple[str, ...]) -> str:
    return said(separator, speaker).join(said(part, speaker) for part in parts)


def listed(parts: Iterable[str]) -> Text:
    """Texts as a list within a sentence.

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])
    ('a', 'a and b', 'a, b and c')
    """
    *first, last = tuple(parts) or ("",)
    if not first:
        return join("", (last,))
    return say("{first} and {last}", first=join(", ", first), last=last)


def capital(text: str) -> Text:
    """The same with a capital at its beginning; the rest stays.

    Examples
    --------
    >>> capital("dry mead of JP"), capital("")
    ('Dry mead of JP', '')
    """
    return _text(_first_upper(text), _capital, text)


def _capital(speaker: Speaker, text: str) -> str:
    return _first_upper(said(text, speaker))


def _first_upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def before(text: str, mark: str) -> Text:
    """What stands before a mark, in each language's own words.

    Examples
    --------
    >>> before("wort, all malt", ","), before("wort", ",")
    ('wort', 'wort')
    """
    return _text(text.partition(mark)[0], _before, text, mark)


def _before(speaker: Speaker, text: str, mark: str) -> str:
    return said(text, speaker).partition(mark)[0]


def uncapital(text: str) -> Text:
    """An English sentence as a part of another; other languages keep its first letter.

    Examples
    --------
    >>> uncapital("Wait a day")
    'wait a day'
    """
    return _text(text[:1].lower() + text[1:], _as_it_is, text)


def _as_it_is(speaker: Speaker, text: str) -> str:
    return said(text, speaker)


def sentences_of(text: str) -> list[Text]:
    """The sentences of a text, each with its full stop; a language has as many of them.

    Examples
    --------
    >>> sentences_of("Wear goggles. Keep it dry.")
    ['Wear goggles.', 'Keep it dry.']
    """
    english = _cut(text)
    return [_text(part, _sentence, text, k, len(english)) for k, part in enumerate(english)]


def _sentence(speaker: Speaker, text: str, k: int, count: int) -> str:
    parts = _cut(said(text, speaker))
    return " ".join(parts[k:]) if k == count - 1 else "".join(parts[k : k + 1])


def _cut(text: str) -> list[str]:
    return [part.strip().rstrip(".") + "." for part in text.split(". ") if part.strip()]


def filled(wording: str, values: Mapping[str, object], speaker: Speaker) -> str:
    """A wording with its values, each as the language writes it."""
    parts = []
    for before, name, spec, conversion in _FORMATTER.parse(wording):
        parts.append(before)
        if name is None:
            continue
        value, _ = _FORMATTER.get_field(name, (), values)
        if conversion:
            value = _FORMATTER.convert_field(value, conversion)
        parts.append(speaker.formatted(value, filled(spec, values, speaker) if spec else ""))
    return "".join(parts)


def _changed(method: str, text: Text, *arguments: Any) -> Text:
    english = getattr(str, method)(str(text), *arguments)
    return _text(english, _change, method, text, arguments)


def _change(speaker: Speaker, method: str, text: Text, arguments: tuple[Any, ...]) -> str:
    changed: str = getattr(str, method)(text.put(speaker), *arguments)
    return changed


def _text(english: str, how: Callable[..., str], *parts: Any) -> Text:
    text = Text(english)
    text._how, text._parts = how, parts
    return text


def unchanged(english: str, text: str) -> Text:
    """What is said so in English, and as another text in every other language."""
    return _text(english, _as_it_is, text)


WAYS: Mapping[str, Callable[..., str]] = {
    "say": _say, "say_n": _say_n, "literal": _literal, "join": _join, "capital": _capital,
    "unchanged": _as_it_is, "change": _change, "kept": _kept,
}  # fmt: skip
