"""Protocols as files: the text of any of them, and keeping one of the maker's own."""

from __future__ import annotations

from collections.abc import Mapping

from mustwright.data import text_of
from mustwright.errors import InputError, UnknownKindError
from mustwright.nutrition.protocols import Protocol, built_in_protocols, read_protocol
from mustwright.services.repository import Cellar


def protocol_text(identity: str, own: Mapping[str, str]) -> str:
    """The file of a protocol, the maker's own first.

    Raises
    ------
    UnknownKindError
    """
    if identity in own:
        return own[identity]
    if identity in built_in_protocols():
        return text_of(f"protocols/{identity}")
    known = ", ".join(sorted({*built_in_protocols(), *own}))
    raise UnknownKindError("protocol", f"needs the id of a protocol ({known})", identity)


def keep_protocol(cellar: Cellar, text: str, version: int | None = None) -> Protocol:
    """Check a protocol file and keep it in the cellar; one of the same id there is replaced.

    Parameters
    ----------
    version : int or None
        Version that was read, for editing; None takes whatever is there.

    Raises
    ------
    InputError
        When the file cannot be used, or its id is that of a built-in protocol.
    ConflictError
        When it changed since `version`.
    """
    protocol = read_protocol(text)
    if protocol.id in built_in_protocols():
        raise InputError("id", "needs to differ from the built-in protocols", protocol.id)
    if version is None:
        version = next((r.version for r in cellar.protocols() if r.id == protocol.id), None)
    cellar.save_protocol(protocol.id, text, version)
    return protocol
