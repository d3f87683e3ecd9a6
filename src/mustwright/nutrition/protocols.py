"""What a protocol says: how much nitrogen, from what, when, and what it assumes.

A protocol is a TOML file. `read_protocol` turns one into a `Protocol` or says which field is wrong.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from mustwright import data
from mustwright.errors import InputError, UnknownKindError
from mustwright.must.gravity import brix_from_gravity, sugar_g_l_from_brix
from mustwright.nutrition.demand import STRAIN_RULE, demand_rule
from mustwright.nutrition.shelf_word import OF_SHELF
from mustwright.nutrition.triggers import Trigger, read_trigger
from mustwright.texts import say
from mustwright.toml_text import toml_table
from mustwright.units import parse_quantity

GROUPS = ("ammonium", "organic", "complex", "mineral", "any")
DEMAND_BASIS, RATE_BASIS, LABEL_BASIS = "demand", "rate", "label"
CREDITS = ("none", "low", "typical")
_ID = re.compile(r"[a-z][a-z0-9_]{2,47}")


@dataclass(frozen=True)
class Rate:
    """A fixed rate of one nutrient (class id or group) in one feed, as the protocol states it.

    `low_g_l` and `high_g_l` hold at the protocol's reference sugar [g/L of must].
    """

    nutrient: str
    low_g_l: float
    high_g_l: float

    @property
    def typical_g_l(self) -> float:
        """Middle of the stated range [g/L]."""
        return (self.low_g_l + self.high_g_l) / 2


@dataclass(frozen=True)
class FeedRule:
    """One feed of a protocol."""

    name: str
    trigger: Trigger
    share: float
    nutrients: tuple[str, ...]
    rates: tuple[Rate, ...]
    ammonium_share_max: float


@dataclass(frozen=True)
class ProtocolRules:
    """What a protocol forbids; None where it is silent."""

    ammonium_until_sugar_used: float | None = None
    ammonium_until_alcohol_pct: float | None = None
    last_feed_without_ammonium_salt: bool = False
    nothing_after_sugar_used: float | None = None


@dataclass(frozen=True)
class Protocol:
    """A way of feeding, as data.

    Parameters
    ----------
    basis : str
        ``demand`` (fill what is short), ``rate`` (stated g/L) or ``label`` (rates of the labels).
    rule : str
        Demand rule that sets the aim, for ``demand``.
    credit : str
        How the must's own nitrogen counts: none, low end or typical.
    fraction : float
        Share of what is still short that the protocol fills.
    sugar_reference_g_l : float or None
        Sugar at which rates hold; they scale with sugar when given.
    ammonium_share_max : float
        Largest share of the added nitrogen that may be ammonium.
    suits_gravity, suits_fruit : tuple or bool or None
        The musts it was made for, used when choosing.
    """

    id: str
    name: str
    account: str
    assumes: tuple[str, ...]
    source: str
    basis: str
    rule: str
    credit: str
    fraction: float
    sugar_reference_g_l: float | None
    ammonium_share_max: float
    feeds: tuple[FeedRule, ...]
    conditions: ProtocolRules
    suits_gravity: tuple[float, float]
    suits_fruit: bool | None
    built_in: bool = False


def read_protocol(text: str, built_in: bool = False) -> Protocol:
    """A protocol from the text of its file.

    Raises
    ------
    InputError
        Naming the field, what it needs and what came.
    """
    return protocol_from(toml_table(text, "protocol"), built_in)


def protocol_from(content: Mapping[str, Any], built_in: bool = False) -> Protocol:
    """A protocol from parsed data."""
    _only(
        content,
        "protocol",
        ("id", "name", "account", "assumes", "source", "dose", "conditions", "suits", "feed"),
    )
    dose = _table(content, "dose", "protocol")
    _only(dose, "dose", ("basis", "rule", "credit", "fraction", "at_sugar", "ammonium_share_max"))
    basis = _one_of(
        dose.get("basis", DEMAND_BASIS), "dose.basis", (DEMAND_BASIS, RATE_BASIS, LABEL_BASIS)
    )
    identity = content.get("id")
    if not isinstance(identity, str) or not _ID.fullmatch(identity):
        raise InputError("id", say("needs 3 to 48 small letters, digits and underscores"), identity)
    if dose.get("fraction") == 0 and content.get("feed"):
        raise InputError("dose.fraction", say("over 0 where there are feeds"), 0)
    feeds = () if dose.get("fraction") == 0 else _feeds(content.get("feed"), basis)
    suits = _table(content, "suits", "protocol")
    _only(suits, "suits", ("gravity", "fruit"))
    return Protocol(
        id=identity,
        name=_text(content, "name", 80),
        account=_text(content, "account", 1200),
        assumes=_texts(content.get("assumes")),
        source=_text(content, "source", 300),
        basis=basis,
        rule=_rule(dose.get("rule", STRAIN_RULE)),
        credit=_one_of(dose.get("credit", "typical"), "dose.credit", CREDITS),
        fraction=_number(dose.get("fraction", 1.0), "dose.fraction", 0.0, 2.0),
        sugar_reference_g_l=_sugar(dose.get("at_sugar")),
        ammonium_share_max=_number(
            dose.get("ammonium_share_max", 1.0), "dose.ammonium_share_max", 0.0, 1.0
        ),
        feeds=feeds,
        conditions=_conditions(_table(content, "conditions", "protocol")),
        suits_gravity=_gravities(suits.get("gravity", ["1.000", "1.200"])),
        suits_fruit=_maybe_bool(suits.get("fruit"), "suits.fruit"),
        built_in=built_in,
    )


@cache
def built_in_protocols() -> dict[str, Protocol]:
    """The protocols that come with the tool, by id."""
    found = {}
    for name, content in data.folder("protocols").items():
        protocol = protocol_from(content, built_in=True)
        if protocol.id != name:
            raise InputError(
                "id", say("needs to be the name of its file ({name})", name=name), protocol.id
            )
        found[protocol.id] = protocol
    return found


def protocol_called(
    identity: str, own: Mapping[str, Protocol], field: str = "protocol"
) -> Protocol:
    """Find a protocol by id, the maker's own first.

    Parameters
    ----------
    identity, field : str
    own : mapping of str to Protocol

    Returns
    -------
    Protocol

    Raises
    ------
    UnknownKindError, InputError
    """
    everything = {**built_in_protocols(), **own}
    if identity not in everything:
        known = ", ".join(sorted(everything))
        raise UnknownKindError(
            field, say("needs the id of a protocol ({known})", known=known), identity
        )
    return everything[identity]


def _feeds(content: object, basis: str) -> tuple[FeedRule, ...]:
    if not isinstance(content, Sequence) or isinstance(content, str) or not 1 <= len(content) <= 12:
        raise InputError("feed", say("needs one to twelve [[feed]] tables"), content)
    feeds = tuple(_feed(one, basis, f"feed[{i}]") for i, one in enumerate(content))
    shares = sum(feed.share for feed in feeds)
    if basis != RATE_BASIS and abs(shares - 1) > 0.005:
        raise InputError("feed.share", say("needs shares that add up to 1"), round(shares, 4))
    return feeds


def _feed(content: object, basis: str, where: str) -> FeedRule:
    if not isinstance(content, Mapping):
        raise InputError(where, say("needs a table"), content)
    _only(content, where, ("name", "when", "share", "nutrients", "rate", "ammonium_share_max"))
    rates = _rates(content.get("rate"), f"{where}.rate") if basis == RATE_BASIS else ()
    if basis != RATE_BASIS and "rate" in content:
        raise InputError(f"{where}.rate", say('goes only with dose.basis = "rate"'), basis)
    share = 0.0
    nutrients = tuple(rate.nutrient for rate in rates)
    if basis != RATE_BASIS:
        share = _share(content.get("share"), f"{where}.share")
        nutrients = _nutrients(content.get("nutrients", ["any"]), f"{where}.nutrients")
    return FeedRule(
        name=_feed_name(content.get("name", say("Feed")), f"{where}.name"),
        trigger=read_trigger(content.get("when"), f"{where}.when"),
        share=share,
        nutrients=nutrients,
        rates=rates,
        ammonium_share_max=_number(
            content.get("ammonium_share_max", 1.0), f"{where}.ammonium_share_max", 0.0, 1.0
        ),
    )


def _feed_name(value: object, where: str) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > 80:
        raise InputError(where, say("needs a text of 1 to 80 characters"), value)
    return _on_one_line(value)


def _share(value: object, where: str) -> float:
    if isinstance(value, str) and re.fullmatch(r"\s*\d+\s*/\s*\d+\s*", value):
        top, bottom = (int(part) for part in value.split("/"))
        value = top / bottom if bottom else -1
    return _number(value, where, 0.001, 1.0)


def _rates(content: object, where: str) -> tuple[Rate, ...]:
    if not isinstance(content, Mapping) or not content:
        raise InputError(where, say('needs a table such as {{ dap = "0.5 g/L" }}'), content)
    rates = []
    for nutrient, amount in content.items():
        _nutrients([nutrient], where)
        texts = amount if isinstance(amount, Sequence) and not isinstance(amount, str) else [amount]
        if not 1 <= len(texts) <= 2:
            raise InputError(
                f"{where}.{nutrient}", say("needs a rate or a [low, high] pair"), amount
            )
        values = [_rate(text, f"{where}.{nutrient}") for text in texts]
        rates.append(Rate(nutrient, min(values), max(values)))
    return tuple(rates)


def _rate(text: object, where: str) -> float:
    quantity = parse_quantity(text, where)
    if quantity.dimension != "mass concentration" or not 0 < quantity.value <= 50:
        raise InputError(where, say("needs a rate such as '0.5 g/L' or '1.5 g/US gal'"), text)
    return quantity.value


def _nutrients(content: object, where: str) -> tuple[str, ...]:
    if not isinstance(content, Sequence) or isinstance(content, str) or not content:
        raise InputError(where, say("needs a list of nutrient kinds or groups"), content)
    classes = {record["id"] for record in data.load("nutrients")["nutrient"]}
    for name in content:
        if not isinstance(name, str) or not (name in {*classes, *GROUPS} or OF_SHELF.match(name)):
            known = ", ".join([*GROUPS, *sorted(classes)])
            raise InputError(where, say("needs kinds or groups out of {known}", known=known), name)
    return tuple(content)


def _conditions(content: Mapping[str, Any]) -> ProtocolRules:
    _only(
        content,
        "conditions",
        (
            "ammonium_until_sugar_used",
            "ammonium_until_alcohol",
            "last_feed_without_ammonium_salt",
            "nothing_after_sugar_used",
        ),
    )

    def fraction(name: str) -> float | None:
        if name not in content:
            return None
        return _number(content[name], f"conditions.{name}", 0.01, 1.0)

    alcohol = None
    if "ammonium_until_alcohol" in content:
        where = "conditions.ammonium_until_alcohol"
        quantity = parse_quantity(content["ammonium_until_alcohol"], where)
        alcohol = quantity.value
        if quantity.dimension not in ("alcohol", "number") or not 0 < alcohol <= 20:
            raise InputError(
                where,
                say("needs an alcohol above 0 and up to 20 %"),
                content["ammonium_until_alcohol"],
            )
    return ProtocolRules(
        fraction("ammonium_until_sugar_used"),
        alcohol,
        bool(
            _maybe_bool(
                content.get("last_feed_without_ammonium_salt"),
                "conditions.last_feed_without_ammonium_salt",
            )
        ),
        fraction("nothing_after_sugar_used"),
    )


def _gravities(content: object) -> tuple[float, float]:
    where = "suits.gravity"
    if not isinstance(content, Sequence) or isinstance(content, str) or len(content) != 2:
        raise InputError(where, say('needs a pair such as ["1.060", "1.120"]'), content)
    typed = [parse_quantity(one, where) for one in content]
    low, high = (one.value for one in typed)
    plain = all(one.dimension == "number" or one.unit == "SG" for one in typed)
    if not plain or not 0.99 <= low < high <= 1.4:
        raise InputError(where, say("needs a lower and a higher gravity"), content)
    return low, high


def _sugar(content: object) -> float | None:
    if content is None:
        return None
    quantity = parse_quantity(content, "dose.at_sugar")
    value = -1.0
    if quantity.dimension == "mass concentration":
        value = quantity.value
    elif quantity.unit in ("Brix", "Plato") and 0 <= quantity.value <= 60:
        value = float(sugar_g_l_from_brix(quantity.value))
    elif (quantity.dimension == "number" or quantity.unit == "SG") and 1 <= quantity.value <= 1.3:
        value = float(sugar_g_l_from_brix(brix_from_gravity(quantity.value)))
    if not 20 <= value <= 700:
        raise InputError(
            "dose.at_sugar", say("needs sugar such as '24 Bx', '1.100' or '260 g/L'"), content
        )
    return value


def _only(content: Mapping[str, Any], where: str, known: Sequence[str]) -> None:
    for key in content:
        if key not in known:
            raise InputError(
                f"{where}.{key}",
                say("is not known; known: {known}", known=", ".join(known)),
                content[key],
            )


def _table(content: Mapping[str, Any], name: str, where: str) -> Mapping[str, Any]:
    value = content.get(name, {})
    if not isinstance(value, Mapping):
        raise InputError(f"{where}.{name}", say("needs a table"), value)
    return value


def _text(content: Mapping[str, Any], name: str, longest: int) -> str:
    value = content.get(name)
    if not isinstance(value, str) or not value.strip() or len(value) > longest:
        raise InputError(
            name, say("needs a text of 1 to {longest} characters", longest=longest), value
        )
    return _on_one_line(value)


def _on_one_line(value: str) -> str:
    """The words with single spaces; one of a built-in protocol stays a text of the catalogue."""
    plain = " ".join(value.split())
    return value if value == plain else plain


def _texts(value: object) -> tuple[str, ...]:
    texts = value if isinstance(value, list | tuple) else ()
    good = 1 <= len(texts) <= 12 and all(isinstance(t, str) and 0 < len(t) <= 400 for t in texts)
    if not good:
        raise InputError("assumes", say("needs a list of one to twelve plain sentences"), value)
    return tuple(_on_one_line(t) for t in texts)


def _rule(value: object) -> str:
    """The id of a demand rule, checked when the file is read, not only when it is used."""
    if not isinstance(value, str):
        raise InputError("dose.rule", say("needs the id of a demand rule"), value)
    demand_rule(value, "dose.rule")
    return value


def _one_of(value: object, where: str, known: Sequence[str]) -> str:
    if value not in known:
        raise InputError(where, say("needs one of {known}", known=", ".join(known)), value)
    return str(value)


def _number(value: object, where: str, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise InputError(
            where, say("needs a number from {low:g} to {high:g}", low=low, high=high), value
        )
    return float(value)


def _maybe_bool(value: object, where: str) -> bool | None:
    if value is not None and not isinstance(value, bool):
        raise InputError(where, say("needs true or false"), value)
    return value
