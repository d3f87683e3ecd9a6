"""Which language the makers of a cellar chose, once for every page and command."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mustwright.languages import NAMED, language_called

if TYPE_CHECKING:
    from mustwright.services.batch.repository import Ledger

SETTING = "language"


def chosen_language(ledger: Ledger) -> str:
    """The code of the language chosen for a cellar; empty where none is, or one not known here."""
    return language_kept(ledger.setting(SETTING))


def language_kept(kept: str | None) -> str:
    """A choice as it was kept; empty where it is none, or one of a version that knew more.

    Examples
    --------
    >>> language_kept("de"), language_kept("xx"), language_kept(None)
    ('de', '', '')
    """
    return kept if kept is not None and kept in NAMED else ""


def choose_language(ledger: Ledger, code: str) -> None:
    """Keep the language of a cellar.

    Raises
    ------
    InputError
        For a code that is not in `NAMED`.
    """
    language_called(code)
    ledger.keep_setting(SETTING, code)
