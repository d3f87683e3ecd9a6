"""A value that holds for a thread of work: a request of the pages, or a command."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from typing import TypeVar

T = TypeVar("T")


@contextmanager
def holding(variable: ContextVar[T], value: T) -> Iterator[None]:
    """Within it a variable has a value; after it the one from before."""
    token = variable.set(value)
    try:
        yield
    finally:
        with suppress(ValueError):  # given up in another context, which never had it
            variable.reset(token)
