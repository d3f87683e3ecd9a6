"""Which language is spoken here, and what does it call things: catalogues and ways of writing.

English is what the code says. For every other language there is a folder of gettext catalogues
(``*.po``, one for each part of the package) beside the data. Which language is spoken holds for a
thread of work, as the units do: a request of the pages, or a command.
"""

from __future__ import annotations

import gettext
import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, time
from functools import cache, cached_property
from importlib.resources import files
from numbers import Number

from mustwright.errors import InputError
from mustwright.held import holding
from mustwright.recall import Recall
from mustwright.texts import Text, said

ENGLISH = "en"
NAMED = {ENGLISH: "English", "de": "Deutsch"}


Wordings = Sequence[tuple[str, str]]


class Language:
    """A language of the catalogues.

    Parameters
    ----------
    code : str
        As in ISO 639-1.
    translations : gettext.NullTranslations
        Finds wordings.
    wordings : sequence of (str, str)
        All of them, English first, to know kept sentences again.
    """

    def __init__(
        self,
        code: str,
        translations: gettext.NullTranslations,
        wordings: Wordings = (),
    ) -> None:
        from babel import Locale

        self.code = code
        self._known, self._wordings = translations, wordings
        self._locale = Locale.parse(code)
        symbols = self._locale.number_symbols["latn"]
        self.decimal = symbols["decimal"]
        self._percent = self._locale.percent_formats[None].suffix[0] or "%"
        self._digits = str.maketrans({".": self.decimal, ",": symbols["group"]})

    def wording(self, template: str, context: str) -> str:
        """The wording for an English one; the English where there is none."""
        if context:
            return self._known.pgettext(context, template)
        return self._known.gettext(template) if template else ""

    def wording_of(self, one: str, many: str, count: float, context: str) -> str:
        """The wording for so many; a count with a fraction is more than one."""
        n = 1 if count == 1 else int(count) if count == int(count) else 2
        if context:
            return self._known.npgettext(context, one, many, n)
        return self._known.ngettext(one, many, n)

    def formatted(self, value: object, spec: str) -> str:
        """A value by a format specification, with this language's decimal sign and names."""
        if isinstance(value, Text):
            return format(value.put(self), spec)
        if isinstance(value, Number) and not isinstance(value, bool):
            written = format(value, spec).translate(self._digits)
            return written.replace("%", self._percent)
        if isinstance(value, (date, time)):
            return format(value, self._spelled(value, spec))
        return format(value, spec)

    def _spelled(self, moment: date | time, spec: str) -> str:
        """A date's specification with the names of its day and month written out."""
        if not isinstance(moment, date):
            return spec
        for code, kind, width in (
            ("%A", "days", "wide"),
            ("%a", "days", "abbreviated"),
            ("%B", "months", "wide"),
            ("%b", "months", "abbreviated"),
        ):
            if code in spec:
                names = getattr(self._locale, kind)["format"][width]
                number = moment.weekday() if kind == "days" else moment.month
                spec = spec.replace(code, names[number])
        return spec

    def recalled(self, text: str) -> str:
        """A sentence that was kept in English, known again by its wording."""
        return self._recall.said(text)

    @cached_property
    def _recall(self) -> Recall:
        return Recall(self._wordings, lambda number: number.translate(self._digits), self._named)

    def _named(self, code: str, place: int) -> str:
        """What a day (from Monday) or a month is called, from 0."""
        a_day = date(2001, 1, 1 + place) if code in ("%A", "%a") else date(2001, 1 + place, 1)
        return self._spelled(a_day, code)


Choice = Callable[[], Language | None]
_spoken: ContextVar[Choice] = ContextVar("language spoken", default=lambda: None)


def language_called(code: str) -> Language | None:
    """A language by its code; None for English, which needs no catalogue.

    Raises
    ------
    InputError
        For any other code than those in `NAMED`.
    """
    if code not in NAMED:
        raise InputError("language", f"needs one of {', '.join(NAMED)}", code)
    return None if code == ENGLISH else _read(code)


@cache
def _read(code: str) -> Language:
    """A language with all of its catalogues."""
    from babel.messages.catalog import Catalog
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    whole = Catalog(locale=code)
    wordings: list[tuple[str, str]] = []
    for part in sorted(files("mustwright.data").joinpath("languages", code).iterdir(), key=str):
        if part.name.endswith(".po"):
            for message in read_po(io.BytesIO(part.read_bytes()), locale=code):
                if message.id:
                    whole[message.id] = message
                    wordings += _forms(message.id, message.string)
    compiled = io.BytesIO()
    write_mo(compiled, whole)
    compiled.seek(0)
    return Language(code, gettext.GNUTranslations(compiled), wordings)


def _forms(english: str | Sequence[str], says: str | Sequence[str] | None) -> Wordings:
    """The forms of one message of a catalogue, each with its English."""
    if says is None or isinstance(says, str):
        return [(str(english), says)] if says else []
    return list(zip(english, says, strict=False))


@contextmanager
def speaking(language: Choice | Language | None) -> Iterator[None]:
    """All within is said in a language, None for English; a callable is asked once needed."""
    given: Choice = language if callable(language) else lambda: language
    with holding(_spoken, given):
        yield


def spoken() -> Language | None:
    """The language spoken here; None for English."""
    return _spoken.get()()


def code_spoken() -> str:
    """Its code, as pages carry it and as what is kept in it is told apart."""
    language = spoken()
    return ENGLISH if language is None else language.code


def here(text: str) -> str:
    """A text in the language spoken here."""
    language = spoken()
    return text if language is None else said(text, language)
