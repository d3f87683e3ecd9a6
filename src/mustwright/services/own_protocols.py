"""A maker's own protocols: which can be read, the text of any of them, and keeping one."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from mustwright.data import text_of
from mustwright.errors import ConflictError, InputError, UnknownKindError
from mustwright.figure import Figure
from mustwright.kinetics.pace import usual_pace
from mustwright.nutrition.feeds import FeedSlot, place_feeds
from mustwright.nutrition.protocols import Protocol, built_in_protocols, read_protocol
from mustwright.nutrition.triggers import THIRD
from mustwright.services.repository import TAKEN_BY_PAGES, Cellar, Record
from mustwright.texts import say

NOMINAL_BRIX, NOMINAL_TEMPERATURE_C, NOMINAL_NITROGEN_MG_L = 24.0, 20.0, 150.0
KEPT_PROTOCOLS = 96

_read_own = lru_cache(maxsize=KEPT_PROTOCOLS)(read_protocol)


def protocol_texts(cellar: Cellar) -> dict[str, str]:
    """The files of the maker's own protocols, by id."""
    return {record.key: record.text for record in cellar.records("protocol")}


def own_protocols(cellar: Cellar) -> dict[str, Protocol]:
    """The maker's own protocols that can be read, by id."""
    return protocols_in(tuple(protocol_texts(cellar).values()))


def protocols_in(texts: tuple[str, ...]) -> dict[str, Protocol]:
    """Those of some files that can be read, by id."""
    found = {}
    for text in texts:
        try:
            protocol = _read_own(text)
        except InputError:
            continue
        found[protocol.id] = protocol
    return found


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
    raise UnknownKindError(
        "protocol", say("needs the id of a protocol ({known})", known=known), identity
    )


def save_protocol(
    cellar: Cellar, text: str, version: int | None, identity: str | None = None
) -> Record:
    """Keep a protocol of the maker's own.

    Raises
    ------
    InputError
        When it cannot be read, takes a built-in's id, or changes the id it is kept under.
    ConflictError
        When it changed since `version`.
    """
    protocol = read_protocol(text)
    if protocol.id in built_in_protocols() or protocol.id == TAKEN_BY_PAGES:
        raise InputError("id", say("needs to differ from every built-in protocol"), protocol.id)
    if identity is not None and protocol.id != identity:
        needs = say("needs to stay {name}; make a new one instead", name=identity)
        raise InputError("id", needs, protocol.id)
    try:
        return cellar.save("protocol", protocol.id, text, version)
    except ConflictError:
        if version is None:
            raise InputError(
                "id", say("needs to differ from every protocol that is kept"), protocol.id
            ) from None
        raise


def keep_protocol(cellar: Cellar, text: str) -> Record:
    """Keep a protocol file in the cellar; one of the same id there is replaced.

    Raises
    ------
    InputError
        When the file cannot be used, or its id is that of a built-in protocol.
    """
    kept = {record.key: record.version for record in cellar.records("protocol")}
    return save_protocol(cellar, text, kept.get(read_protocol(text).id))


def nominal_feeds(protocol: Protocol) -> tuple[tuple[FeedSlot, ...], Figure]:
    """A protocol's feeds and one-third break on a nominal must, for drawing it without one."""
    pace = usual_pace(NOMINAL_BRIX, NOMINAL_TEMPERATURE_C, NOMINAL_NITROGEN_MG_L)
    return place_feeds(protocol, pace), pace.hours_to_sugar_used(THIRD)
