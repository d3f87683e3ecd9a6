"""Typed fields into the last steps: carbonate and bottle."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date

from mustwright.bench.fields import TypedFields, run
from mustwright.errors import InputError
from mustwright.finishing.bottling import Bottling, bottle
from mustwright.finishing.carbonate import (
    CarbonateAsk,
    Carbonation,
    carbonate,
)
from mustwright.finishing.label_facts import BottleAsk, LabelFacts, Size
from mustwright.finishing.priming import Sugar, sugar_called
from mustwright.finishing.step import finishing_data
from mustwright.units import temperature_c, volume_l

CARBONATE_FIELDS = (
    "volume", "temperature", "co2_volumes", "co2", "pressure", "sugar", "moisture", "brix",
    "alcohol", "residual_sugar", "fermentable", "stabilised", "bottle", "limit", "keg",
    "sparkling", "profile",
)  # fmt: skip
BOTTLE_FIELDS = (
    "volume", "size", "loss", "alcohol", "so2", "residual_sugar", "name", "kind", "maker", "batch",
    "contents", "bottled", "sparkling", "co2", "profile",
)  # fmt: skip
_COUNTED = re.compile(r"(.+?)\s*[x*]\s*(\d{1,6})\s*")


def carbonate_to(given: Mapping[str, object]) -> Carbonation:
    """Priming sugar or keg pressure. Fields: `CARBONATE_FIELDS`.

    ``temperature`` may come several times: each the mead has had since the ferment ended.
    """
    fields = TypedFields(given, CARBONATE_FIELDS)
    temperatures = [temperature_c(t, "temperature")[0] for t in fields.many("temperature")]
    keg = fields.celsius("keg")
    sugar = _sugar(fields, keg)
    ask = CarbonateAsk(
        fields.need_volume(),
        temperatures,
        fields.number("co2_volumes"),
        fields.g_l("co2"),
        fields.bar("pressure"),
        fields.alcohol(),
        fields.g_l("residual_sugar") or 0.0,
        fields.g_l("fermentable"),
        sugar,
        fields.text("stabilised").lower() or None,
        fields.text("bottle") or ("keg" if keg is not None else ""),
        fields.bar("limit"),
        keg,
        fields.flag("sparkling"),
    )
    law = fields.law()
    return run(fields, lambda: carbonate(ask, law))


def _sugar(fields: TypedFields, keg: float | None) -> Sugar | None:
    """The priming sugar: one of the plain ones by stoichiometry, or any ingredient."""
    if not fields.has("sugar"):
        if keg is not None:
            return None
        fields.assumed.append("sugar: not typed, table sugar taken")
        return sugar_called("sucrose")
    name = fields.text("sugar").lower()
    plain = {str(s["id"]) for s in finishing_data()["priming_sugar"]}
    if name in plain:
        return sugar_called(name)
    return sugar_called(name, fields.ingredient("sugar"))


def bottle_up(given: Mapping[str, object], today: date) -> Bottling:
    """Bottles, materials and label facts. Fields: `BOTTLE_FIELDS`.

    ``size`` may come several times: ``750 mL`` or ``375 mL x 12``. `today` is the day of bottling
    where none is typed.
    """
    fields = TypedFields(given, BOTTLE_FIELDS)
    sizes = [read_size(size) for size in fields.many("size")]
    ask = BottleAsk(
        fields.need_volume(),
        sizes or [Size(0.75)],
        fields.day("bottled", today),
        fields.volume("loss"),
        fields.alcohol(),
        fields.mg_l("so2"),
        fields.g_l("residual_sugar"),
        fields.text("name"),
        fields.text("kind", "Mead"),
        fields.text("maker"),
        fields.text("batch"),
        fields.text("contents"),
        fields.flag("sparkling"),
        fields.g_l("co2"),
    )
    if not sizes:
        fields.assumed.append("size: not typed, 750 mL taken")
    law = fields.law()
    return run(fields, lambda: bottle(ask, law))


def read_size(text: object) -> Size:
    """A size of bottle, perhaps with a count.

    Examples
    --------
    >>> read_size("375 mL x 12")
    Size(litres=0.375, count=12)
    """
    if isinstance(text, str):
        counted = _COUNTED.fullmatch(text)
        if counted:
            return Size(volume_l(counted[1], "size")[0], int(counted[2]))
    elif not isinstance(text, int | float):
        raise InputError("size", "needs a size such as '750 mL' or '375 mL x 12'", text)
    return Size(volume_l(text, "size")[0])


def labels_pdf(result: Bottling, link: str = "", page: str = "a4") -> bytes:
    """The label sheet of a bottling: one label for each bottle.

    Raises
    ------
    InputError
        When no bottle is filled, or something cannot be printed.
    """
    from mustwright.bench.label_pdf import label_sheet

    return label_sheet(_copies(result), made=result.bottled, link=link, page=page)


def check_labels(result: Bottling, link: str = "", page: str = "a4") -> None:
    """Whether `labels_pdf` could be made, without making it.

    Raises
    ------
    InputError
    """
    from mustwright.bench.label_pdf import check

    check(_copies(result), link=link, page=page)


def _copies(result: Bottling) -> list[tuple[LabelFacts, int]]:
    """The facts of each size with how many labels it wants."""
    filled = [b for b in result.bottles if b.count.value > 0]
    return [(facts, int(b.count.value)) for facts, b in zip(result.labels, filled, strict=True)]
