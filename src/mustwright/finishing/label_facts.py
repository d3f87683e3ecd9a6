"""What one label has to say under a legal profile: alcohol, sulfite, warning, lot, class."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from mustwright.constants import BAR_PER_ATM
from mustwright.errors import ImpossibleError
from mustwright.figure import Figure, typed
from mustwright.finishing.containers import refuse_not_still
from mustwright.finishing.gas import pressure_bar_from_co2
from mustwright.finishing.law import FinishingLaw, LabelRules
from mustwright.languages import here, language_called, speaking
from mustwright.texts import join, say


@dataclass(frozen=True)
class Size:
    """A size of bottle; `count` None fills as many as there is mead for."""

    litres: float
    count: int | None = None


@dataclass(frozen=True)
class BottleAsk:
    """What goes into bottles and what is known of it.

    Parameters
    ----------
    volume_l : float
        In the vessel [L].
    sizes : sequence of Size
        Largest are filled first; sizes with a count before those without.
    loss_l : float or None
        Left in hose and vessel [L].
    alcohol_pct, total_so2_mg_l, sugar_g_l : float or None
        For the label.
    name, kind, maker, batch, contents : str
        Text for the label, all typed by the maker; `contents` names allergens and fruit.
    bottled : date
        Day of bottling.
    sparkling : bool
        Under pressure.
    co2_g_l : float or None
        Gas it holds [g/L].
    container : str
        Kind of bottle; empty where none was named.
    limit_bar : float or None
        What the maker's own bottle bears, gauge [bar].
    stabilised : str
        How yeast was stopped; empty where it was not said.
    language : str
        Of the label, where its law leaves that open; empty for the one it is shown in.
    """

    volume_l: float
    sizes: Sequence[Size]
    bottled: date
    loss_l: float | None = None
    alcohol_pct: float | None = None
    total_so2_mg_l: float | None = None
    sugar_g_l: float | None = None
    name: str = ""
    kind: str = "Mead"
    maker: str = ""
    batch: str = ""
    contents: str = ""
    sparkling: bool = False
    co2_g_l: float | None = None
    container: str = ""
    limit_bar: float | None = None
    stabilised: str = ""
    language: str = ""


@dataclass(frozen=True)
class LabelFacts:
    """What one label carries; empty lines are left out.

    Parameters
    ----------
    language : str
        That all of it is in; empty for the one it is shown in.
    """

    name: str
    kind: str
    alcohol: str
    volume: str
    sulfite: str
    contents: str
    lot: str
    maker: str
    warning: str
    date_line: str
    language: str = ""

    @property
    def lot_line(self) -> str:
        """The lot with its word; empty without one."""
        return in_language(self.language, say("Lot {lot}", lot=self.lot)) if self.lot else ""


def in_language(code: str, text: str) -> str:
    """A text in the language of a label, whatever it is shown in; as it is where none is chosen.

    Examples
    --------
    >>> in_language("de", say("Lot {lot}", lot="L26001"))
    'Los L26001'
    """
    if not code:
        return text
    with speaking(language_called(code)):
        return str(here(text))


def label_alcohol(alcohol_pct: float, law: FinishingLaw) -> Figure:
    """Alcohol as the label prints it, with what the profile lets it be off [% vol].

    Notes
    -----
    Rounded to the profile's steps, never across a line of the profile; the range stops there too.

    Examples
    --------
    >>> from mustwright.finishing.law import finishing_law
    >>> label_alcohol(12.53, finishing_law("eu")).value
    12.5
    """
    rules = law.label
    step = rules.alcohol_steps_pct
    value = round(math.floor(alcohol_pct / step + 0.5) * step, 4)
    for line in rules.never_across_pct:
        if (value > line) != (alcohol_pct > line):
            value = line if alcohol_pct <= line else round(line + step, 4)
    for line in rules.from_lines_pct:
        if (value >= line) != (alcohol_pct >= line):
            value = line if alcohol_pct >= line else round(line - step, 4)
    tolerance = _tolerance(value, rules)
    low, high = value - tolerance, value + tolerance
    for line in rules.never_across_pct:
        low, high = (max(low, line), high) if value > line else (low, min(high, line))
    for line in rules.from_lines_pct:
        low, high = (max(low, line), high) if value >= line else (low, min(high, line))
    return Figure(
        value,
        "% vol",
        say("rounded to {step:g}; the range is what the law lets the contents be off", step=step),
        rules.weak_source if rules.is_weak(value) else rules.alcohol_source,
        {"alcohol_pct": typed(alcohol_pct, "% vol")},
        low,
        high,
    )


def _tolerance(value: float, rules: LabelRules) -> float:
    """What the figure of a label may be off [% vol]."""
    if rules.is_weak(value):
        return rules.weak_tolerance_pct
    if rules.alcohol_line_pct is not None and value > rules.alcohol_line_pct:
        return rules.alcohol_tolerance_above_pct
    return rules.alcohol_tolerance_pct


def lot_code(day: date, batch: str = "") -> str:
    """A lot code: L, year and day of the year, and the batch name's letters and digits.

    Examples
    --------
    >>> lot_code(date(2026, 2, 1), "Dry lane 3")
    'L26032-DRYLANE3'
    """
    short = re.sub(r"[^A-Z0-9]", "", batch.upper())[:12]
    return f"L{day.year % 100:02d}{day.timetuple().tm_yday:03d}" + (f"-{short}" if short else "")


def label_facts(
    ask: BottleAsk, law: FinishingLaw, litres: float, alcohol: Figure | None, lot: str
) -> LabelFacts:
    """Work out what one label has to say under a profile.

    Parameters
    ----------
    ask : BottleAsk
    law : FinishingLaw
    litres : float
        Nominal volume of the bottle, above 0 [L].
    alcohol : Figure or None
        As the label prints it [% vol]; None leaves the strength out.
    lot : str
        The lot code.

    Returns
    -------
    LabelFacts
        Lines that do not apply are empty.
    """
    rules = law.label
    strength = ""
    if alcohol is not None:
        digits = 0 if alcohol.value == round(alcohol.value) else 1
        form = say("{alcohol:.{digits}f}", alcohol=alcohol.value, digits=digits)
        lead, _, rest = rules.alcohol_form.partition("{}")
        strength = join("", (lead, form, rest))
    threshold = law.lowest("declare_so2")
    sulfite = ""
    if (
        threshold is not None
        and threshold.low is not None
        and ask.total_so2_mg_l is not None
        and ask.total_so2_mg_l >= threshold.low * 1000
    ):
        sulfite = rules.sulfite_words
    warned = rules.warning if ask.alcohol_pct is None or ask.alcohol_pct >= 0.5 else ""
    line = say("Bottled {day} {at:%B %Y}", day=ask.bottled.day, at=ask.bottled)
    if rules.date_below_pct is not None and (
        ask.alcohol_pct is not None and ask.alcohol_pct < rules.date_below_pct
    ):
        line = say(
            "Best before end: {end:%m/%Y}. {line}",
            end=ask.bottled + timedelta(days=365),
            line=line,
        )
    language = (rules.language or ask.language) if ask.language else ""
    return LabelFacts(
        ask.name,
        in_language(language, ask.kind),
        in_language(language, strength),
        in_language(language, volume_text(litres)),
        in_language(language, sulfite),
        in_language(language, ask.contents),
        lot,
        ask.maker,
        warned,
        in_language(language, line),
        language,
    )


def volume_text(litres: float) -> str:
    """A nominal volume as labels print it.

    Examples
    --------
    >>> volume_text(0.75), volume_text(1.5)
    ('750 mL', '1.5 L')
    """
    if litres < 1:
        return say("{ml:.4g} mL", ml=1000 * litres)
    return say("{litres:.4g} L", litres=litres)


def tax_class(ask: BottleAsk, law: FinishingLaw) -> str:
    """What the profile taxes it as; empty where the profile, or what was typed, does not say."""
    if not law.label.tax_classes or ask.alcohol_pct is None:
        return ""
    least, most, below, above = law.label.no_class
    if not least <= ask.alcohol_pct <= most:
        words = below if ask.alcohol_pct < least else above
        return say("{words} ({source})", words=words, source=law.label.no_class_source)
    classes = (w for up_to, w in law.label.tax_classes if ask.alcohol_pct <= up_to)
    words = law.label.sparkling_class if ask.sparkling else next(classes)
    return say("{words} ({source})", words=words, source=law.label.tax_source)


def refuse_class(ask: BottleAsk, law: FinishingLaw) -> None:
    """Refuse what the profile does not let go by this name or as a still drink.

    Raises
    ------
    ImpossibleError
    """
    most = law.class_most(ask.kind, "alcohol_after")
    if most is not None and most.high is not None and (ask.alcohol_pct or 0.0) > most.high:
        raise ImpossibleError(
            "kind",
            say(
                "needs another name above {most:g} % vol: {law}, {source}",
                most=most.high,
                law=law.name,
                source=most.source,
            ),
            say("{kind} of {alcohol:g} % vol", kind=ask.kind, alcohol=ask.alcohol_pct),
        )
    if ask.co2_g_l is not None and not ask.sparkling:
        absolute = pressure_bar_from_co2(
            ask.co2_g_l, 20.0, ask.alcohol_pct or 0.0, min(ask.sugar_g_l or 0.0, 300.0)
        )
        refuse_not_still(law, ask.co2_g_l, absolute - BAR_PER_ATM, "co2")
