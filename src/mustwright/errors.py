"""What is wrong with what a maker typed, in one helpful sentence."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from mustwright.texts import Text, join, say


class MustwrightError(Exception):
    """Base of every error a shell may show to the maker."""

    @property
    def text(self) -> str:
        """What it says; a `Text` where it was made as one."""
        return self.args[0] if self.args and isinstance(self.args[0], str) else str(self)


class InputError(MustwrightError):
    """A field holds something that cannot be used.

    Parameters
    ----------
    field : str
        Where it stands, dotted as in the sheet (``must.volume``).
    requirement : str
        What the field needs.
    got : object
        What came.
    """

    def __init__(self, field: str, requirement: str, got: object) -> None:
        self.field = field
        self.requirement = requirement
        self.got = got
        super().__init__(
            say(
                "{field}: {requirement}, got {got}",
                field=" ".join(field.split())[:200],
                requirement=requirement,
                got=_shown(got),
            )
        )


class ImpossibleError(InputError):
    """Every field is readable on its own, but together they cannot be met."""


class UnlikelyError(InputError):
    """What was typed is likely a slip: it is asked about once, and taken where it is confirmed."""


class UnknownKindError(InputError):
    """A kind (ingredient, strain, nutrient, protocol, profile) that no record describes."""


class ConflictError(MustwrightError):
    """Someone else changed the record since it was read; nothing was written."""


class ValidityWarning(UserWarning):
    """A published formula was used outside the range it was published for."""


_LISTENER: ContextVar[list[str] | None] = ContextVar("validity_listener", default=None)


def warn_validity(message: str) -> None:
    """Report that a formula left its range: to a listener here, else as a `ValidityWarning`."""
    listener = _LISTENER.get()
    if listener is None:
        warnings.warn(message, ValidityWarning, stacklevel=4)
    elif message not in listener:
        listener.append(message)


@contextmanager
def validity_notes() -> Iterator[list[str]]:
    """Collect what `warn_validity` says inside the block, in this thread or task alone."""
    notes: list[str] = []
    token = _LISTENER.set(notes)
    try:
        yield notes
    finally:
        _LISTENER.reset(token)


def not_plain(text: str) -> str:
    """What in a text cannot be kept or shown everywhere; empty where nothing does.

    Examples
    --------
    >>> not_plain("mead")
    ''
    >>> not_plain("a\\x00b")
    'a null character'
    """
    if "\x00" in text:
        return say("a null character")
    if text.isascii():
        return ""
    try:
        text.encode()
    except UnicodeEncodeError:
        return say("half of a character")
    return ""


def words_of(error: BaseException) -> str:
    """What any error says; a `Text` where it was made as one."""
    return error.text if isinstance(error, MustwrightError) else str(error)


def _shown(got: object) -> str:
    """The received value on one line, cut so that an error stays one line."""
    if got is None:
        return say("nothing")
    if isinstance(got, Text) and len(got) < 118 and not {"'", "\n"} & set(got):
        return join("", ("'", got, "'"))
    text = " ".join(repr(got).split()) if isinstance(got, str) else " ".join(str(got).split())
    return text if len(text) <= 120 else text[:117] + "..."
