"""How is a gravity said: as a specific gravity, in Brix or in Plato, as chosen.

This is the one home of how a gravity becomes text, and of how a bare number in a field of gravities
is read. Inside the package a gravity is apparent, 20/20 °C. In Brix or Plato it stays apparent:
what a hydrometer with that scale shows, alcohol and all.
"""

from __future__ import annotations

import re
from functools import partial

from mustwright.errors import InputError
from mustwright.must.gravity import brix_from_gravity, gravity_from_brix
from mustwright.texts import capital, join, redone, say
from mustwright.unit_system import Spoken, UnitSystem, system_of

SIGNS = {"SG": "", "Brix": "°Bx", "Plato": "°P"}
TYPED = {"SG": "SG", "Brix": "Bx", "Plato": "P"}
NAMES = {"SG": say("specific gravity"), "Brix": "°Bx", "Plato": "°P"}
SPAN = say(" to ", context="between two numbers")
STEPS_BRIX = (1.0, 2.0, 5.0, 10.0)
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_IN_TEXT = re.compile(r"(?<![\d.,])(?:0[.,]9\d\d|1[.,][0-3]\d\d)(?![\d]|[.,]\d)")
_EITHER = re.compile(r"(?:0[.,]9\d|1[.,][0-3]\d)\d*")  # 1.08: a gravity, or hardly any sugar


def scale(spoken: Spoken = None) -> str:
    """SG, Brix or Plato, as chosen."""
    return system_of(spoken).gravity


def gravity_sign(spoken: Spoken = None) -> str:
    """What stands behind a gravity: °Bx, °P, or nothing behind a specific gravity."""
    return SIGNS[scale(spoken)]


def gravity_number(gravity: float, digits: int = 3, spoken: Spoken = None) -> str:
    """A gravity without its sign.

    Parameters
    ----------
    gravity : float
        Apparent, 20/20 °C, 0.95 to 1.35 [-].
    digits : int
        Of a specific gravity, after the point; two fewer in Brix and Plato.
    spoken : UnitSystem or str or None
        A system, or the sheet of a must; None for what is spoken of here.

    Returns
    -------
    str

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, UnitSystem
    >>> gravity_number(1.1, spoken=METRIC), gravity_number(1.1, spoken=UnitSystem(gravity="Brix"))
    ('1.100', '23.8')
    """
    if scale(spoken) == "SG":
        return say("{gravity:.{digits}f}", gravity=gravity, digits=digits)
    return _signed(float(brix_from_gravity(gravity)), digits)


def gravity_text(gravity: float, digits: int = 3, spoken: Spoken = None) -> str:
    """A gravity in words.

    Parameters
    ----------
    gravity : float
        Apparent, 20/20 °C [-].
    digits : int
        Of a specific gravity, after the point; two fewer in Brix and Plato.
    spoken : UnitSystem or str or None
        A system, or the sheet of a must; None for what is spoken of here.

    Returns
    -------
    str

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, UnitSystem
    >>> gravity_text(0.996, spoken=UnitSystem(gravity="Plato")), gravity_text(0.996, spoken=METRIC)
    ('-1.0 °P', '0.996')
    """
    return _with_sign(gravity_number(gravity, digits, spoken), gravity_sign(spoken))


def _with_sign(number: str, sign: str) -> str:
    return join(" ", (number, sign)) if sign else number


def gravity_span(
    low: float, high: float, spoken: Spoken = None, digits: int = 3, between: str = SPAN
) -> str:
    """From one gravity to another, the sign said once.

    Parameters
    ----------
    low, high : float
        Apparent, 20/20 °C [-].
    spoken : UnitSystem or str or None
        A system, or the sheet of a must; None for what is spoken of here.
    digits : int
        Of a specific gravity, after the point; two fewer in Brix and Plato.
    between : str
        What stands between the two.

    Returns
    -------
    str

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, UnitSystem
    >>> gravity_span(0.996, 1.004, METRIC), gravity_span(0.996, 1.004, UnitSystem(gravity="Brix"))
    ('0.996 to 1.004', '-1.0 to 1.0 °Bx')
    """
    ends = (gravity_number(end, digits, spoken) for end in (low, high))
    return _with_sign(join(between, ends), gravity_sign(spoken))


def gravity_step(step: float, near: float, digits: int = 3, spoken: Spoken = None) -> str:
    """A difference between two gravities in words.

    Parameters
    ----------
    step : float
        [-].
    near : float
        The gravity about which it lies, since a Brix is not the same step everywhere [-].
    digits : int
        Of a specific gravity, after the point; two fewer in Brix and Plato.
    spoken : UnitSystem or str or None
        A system, or the sheet of a must; None for what is spoken of here.

    Returns
    -------
    str

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, UnitSystem
    >>> gravity_step(0.01, 1.05, spoken=METRIC)
    '0.010'
    >>> gravity_step(0.01, 1.05, spoken=UnitSystem(gravity="Brix"))
    '2.4 °Bx'
    """
    if scale(spoken) == "SG":
        return say("{step:.{digits}f}", step=step, digits=digits)
    return _with_sign(brix_step(step, near, digits), gravity_sign(spoken))


def brix_step(step: float, near: float, digits: int = 3) -> str:
    """A difference between two gravities in Brix, without a sign behind it.

    Parameters
    ----------
    step, near : float
        The difference, and the gravity about which it lies [-].
    digits : int
        Of a specific gravity, after the point; two fewer here.

    Returns
    -------
    str

    Examples
    --------
    >>> brix_step(0.01, 1.05)
    '2.4'
    """
    low, high = (float(brix_from_gravity(near + side * step / 2)) for side in (-1, 1))
    return _signed(high - low, digits)


def _signed(brix: float, digits: int) -> str:
    """Tenths, or hundredths; no zero below zero."""
    places = max(digits - 2, 1)
    return say("{brix:.{places}f}", brix=round(brix, places) + 0.0, places=places)


def with_brix(gravity: float, brix: float, digits: int = 3, spoken: Spoken = None) -> str:
    """A must's gravity with its Brix beside it: ``1.100 (23.8 Brix)``; once, where that is chosen.

    Parameters
    ----------
    gravity : float
        Apparent, 20/20 °C [-].
    brix : float
        Of the same must [Brix].
    digits : int
        Of a specific gravity, after the point; two fewer in Brix and Plato.
    spoken : UnitSystem or str or None
        A system, or the sheet of a must; None for what is spoken of here.

    Returns
    -------
    str

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, UnitSystem
    >>> with_brix(1.1, 23.77, spoken=METRIC)
    '1.100 (23.8 Brix)'
    >>> with_brix(1.1, 23.77, spoken=UnitSystem(gravity="Brix"))
    '23.8 °Bx'
    """
    words = gravity_text(gravity, digits, spoken)
    if gravity_sign(spoken):
        return words
    return say("{gravity} ({brix:.1f} Brix)", gravity=words, brix=brix)


def brix_sign(spoken: Spoken = None) -> str:
    """What stands behind a Brix that is said in any case: Brix, or the sign chosen."""
    return gravity_sign(spoken) or "Brix"


def brix_text(brix: float, spoken: Spoken = None) -> str:
    """What was read on a hydrometer in Brix or Plato: ``15 Brix``, or with the sign chosen.

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, UnitSystem
    >>> brix_text(15.0, METRIC), brix_text(15.0, UnitSystem(gravity="Plato"))
    ('15 Brix', '15 °P')
    """
    return say("{brix:g} {sign}", brix=round(brix, 2), sign=brix_sign(spoken))


def with_gravities(text: str, spoken: Spoken = None) -> str:
    """A kept sentence, each specific gravity in it on the scale chosen.

    Examples
    --------
    >>> from mustwright.unit_system import UnitSystem
    >>> with_gravities("such as 1.010", UnitSystem(gravity="Brix"))
    'such as 2.6 °Bx'
    """
    on = scale(spoken)
    if on == "SG":
        return text
    return redone(partial(_on_scale, on=on), text)


def _on_scale(text: str, on: str) -> str:
    """A sentence with its gravities on a scale, each with the decimal sign it was written with."""

    def put(found: re.Match[str]) -> str:
        point = found[0][1]
        words = gravity_text(float(found[0].replace(point, ".")), spoken=UnitSystem(gravity=on))
        return words.replace(".", point)

    return _IN_TEXT.sub(put, text)


def typed_gravity(gravity: float, digits: int = 4, spoken: Spoken = None) -> str:
    """A gravity as a field shows it, to be read back: ``0.9980``, or ``-0.52 Bx``.

    Parameters
    ----------
    gravity : float
        Apparent, 20/20 °C [-].
    digits : int
        Of a specific gravity, after the point; two fewer in Brix and Plato.
    spoken : UnitSystem or str or None
        A system, or the sheet of a must; None for what is spoken of here.

    Returns
    -------
    str

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, UnitSystem
    >>> typed_gravity(0.998, 4, METRIC), typed_gravity(0.998, 4, UnitSystem(gravity="Brix"))
    ('0.9980', '-0.52 Bx')
    """
    number = str(gravity_number(gravity, digits, spoken))
    return number if scale(spoken) == "SG" else f"{number} {TYPED[scale(spoken)]}"


def typed_step(step: float, near: float, spoken: Spoken = None) -> str:
    """A difference as a field shows it: ``0.003``, or ``0.77 Bx``.

    Parameters
    ----------
    step, near : float
        The difference, and the gravity about which it lies [-].
    spoken : UnitSystem or str or None
        A system, or the sheet of a must; None for what is spoken of here.

    Returns
    -------
    str
    """
    if scale(spoken) == "SG":
        return f"{step:g}"
    return f"{brix_step(step, near, 4)} {TYPED[scale(spoken)]}"


def with_scale(text: str, field: str, spoken: Spoken = None) -> str:
    """What was typed into a field of gravities, a bare number with the scale it is read in.

    Parameters
    ----------
    text : str
    field : str
        Named in the error.
    spoken : UnitSystem or str or None
        A system, or the sheet of a must; None for what is spoken of here.

    Returns
    -------
    str

    Raises
    ------
    InputError
        Where Brix or Plato is chosen and the number looks like a specific gravity.

    Examples
    --------
    >>> from mustwright.unit_system import METRIC, UnitSystem
    >>> with_scale("24", "target", UnitSystem(gravity="Brix")), with_scale("1.1", "target", METRIC)
    ('24 Bx', '1.1')
    """
    bare, on = text.strip(), scale(spoken)
    if on == "SG" or not _NUMBER.fullmatch(bare):
        return text
    if _EITHER.fullmatch(bare):
        needs = say(
            "could be either: write '{bare} SG' for a gravity, or '{bare} {scale}'",
            bare=bare,
            scale=TYPED[on],
        )
        raise InputError(field, needs, text)
    return f"{bare} {TYPED[on]}"


def with_sg(text: str, spoken: Spoken = None) -> str:
    """A kept bare gravity as a field shows it: its scale said where bare numbers mean another."""
    if scale(spoken) == "SG" or not _NUMBER.fullmatch(text.strip()):
        return text
    return f"{text.strip()} SG"


def bare_words(spoken: Spoken = None) -> str:
    """How a bare number in a field of gravities is read; empty where it is a specific gravity."""
    sign = gravity_sign(spoken)
    return (
        say("without a unit it is read as {sign}; SG behind it means specific gravity", sign=sign)
        if sign
        else ""
    )


def bare_sentence(spoken: Spoken = None) -> str:
    """The same by itself."""
    words = bare_words(spoken)
    return capital(words) + "." if words else ""


def apparent_words(spoken: Spoken = None) -> str:
    """What °Bx and °P mean once yeast works; empty where gravities are specific gravities."""
    sign = gravity_sign(spoken)
    if not sign:
        return ""
    return say(
        "{sign} is what a hydrometer shows, below zero when all the sugar is "
        "gone. Alcohol makes a refractometer show more, so name it when you read "
        "with one.",
        sign=sign,
    )


def steps_on_scale(low: float, high: float, most: int) -> list[tuple[float, str]]:
    """Places and figures of an axis in Brix or Plato: gravities with round Brix.

    Parameters
    ----------
    low, high : float
        Ends of the axis [-].
    most : int
        Figures there is room for.

    Returns
    -------
    list of tuple of (float, str)
        Gravity [-] and its figure.
    """
    first, last = (float(brix_from_gravity(end)) for end in (low, high))
    size = next((s for s in STEPS_BRIX if (last - first) / s < most), STEPS_BRIX[-1])
    rounds = [k * size for k in range(-20, 80) if first <= k * size <= last]
    return [(float(gravity_from_brix(b)), say("{b:g}", b=b)) for b in rounds]
