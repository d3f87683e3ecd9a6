"""Which units the makers of a cellar chose, once for every page and command."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mustwright.errors import InputError
from mustwright.unit_system import UnitSystem, system_called

if TYPE_CHECKING:
    from mustwright.services.batch.repository import Ledger

SETTING = "units"
AS_TYPED = "as typed"  # asked, and each must keeps its own


def chosen_for(ledger: Ledger) -> UnitSystem | None:
    """The system chosen for a cellar; None where each must's own units count."""
    return system_kept(ledger.setting(SETTING))


def system_kept(kept: str | None) -> UnitSystem | None:
    """The system of a choice as it was kept; None where each must's own units count.

    Examples
    --------
    >>> system_kept("US gal/lb/F").volume, system_kept("as typed"), system_kept(None)
    ('US gal', None, None)
    """
    if kept is None or kept == AS_TYPED:
        return None
    try:
        return system_called(kept)
    except InputError:  # of a version that knew more
        return None


def was_asked(ledger: Ledger) -> bool:
    """Whether anyone chose, be it that each must keeps its own."""
    return ledger.setting(SETTING) is not None


def keep_units(ledger: Ledger, system: UnitSystem | None) -> None:
    """Keep what was chosen; None lets each must keep its own."""
    ledger.keep_setting(SETTING, as_kept(system))


def as_kept(system: UnitSystem | None) -> str:
    """A choice as it is kept: of the cellar, or of one person."""
    return AS_TYPED if system is None else system.key
