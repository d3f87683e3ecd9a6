"""What does a field of a form say of its units: examples, bare numbers, kept sentences."""

from __future__ import annotations

import re
from functools import partial

from mustwright.recall import BOTH_WAYS, WAYS
from mustwright.texts import Text, redone
from mustwright.unit_system import Spoken, UnitSystem, system_of, unit_for
from mustwright.units import in_unit

_BARE = re.compile(r"\s*\d+(?:[.,]\d+)?\s*")
_EXAMPLE = re.compile(r"(\d+(?:[.,]\d+)?) (L|kg|C)\b(?: (?:or|oder) [\d.,]+ (?:US gal|lb|F)\b)?")


def example(text: str, system: Spoken = None) -> Text:
    """A hint whose example amounts are in a system, roughly as much.

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, US
    >>> example("19 L or 5 US gal", US), example("0.3 L", US), example("2 kg", METRIC)
    ('5 US gal', '10 US fl oz', '2 kg')
    """
    return redone(partial(_example, system=system_of(system)), text)


def _example(text: str, system: UnitSystem) -> str:
    def amount(found: re.Match[str]) -> str:
        value, unit = float(found[1].replace(",", ".")), found[2]
        shown = unit_for(value, unit, system)
        if shown == unit:
            return f"{found[1]} {unit}"
        figures = 2 if unit == "C" else 1
        about = f"{float(f'{in_unit(value, shown):.{figures}g}'):g}"
        return f"{about.replace('.', ',') if ',' in found[1] else about} {shown}"

    return _EXAMPLE.sub(amount, text)


def one_way(text: str, system: Spoken = None) -> Text:
    """A kept sentence that gives temperatures both ways, in one of them.

    Examples
    --------
    >>> from mustwright.unit_system import US
    >>> one_way("Cool it by 2 to 3 °C (4 to 5 °F) at most.", US)
    'Cool it by 4 to 5 °F at most.'
    """
    if isinstance(text, Text) and not BOTH_WAYS.search(text):
        return text  # as it was made, so that it can be kept
    return redone(partial(_one_way, unit=system_of(system).temperature), text)


def _one_way(text: str, unit: str) -> str:
    return BOTH_WAYS.sub(WAYS[unit == "F"], text)


def with_unit(text: str, dimension: str, system: Spoken = None) -> str:
    """What was typed into a field, a bare number with the unit it is read in.

    Parameters
    ----------
    text : str
    dimension : str
        ``volume`` or ``temperature``.

    Examples
    --------
    >>> from mustwright.unit_system import US
    >>> with_unit("5", "volume", US), with_unit("19 L", "volume", US)
    ('5 US gal', '19 L')
    """
    if not _BARE.fullmatch(text):
        return text
    system = system_of(system)
    return f"{text.strip()} {system.volume if dimension == 'volume' else system.temperature}"


def shown_temperature(celsius: float | None, unit: str) -> str:
    """A temperature as a field in that unit shows it."""
    if celsius is None:
        return ""
    return f"{in_unit(celsius, unit):.4g}"
