"""What does the yeast need and what does it get: each nutrient on its own scale."""

from __future__ import annotations

from markupsafe import Markup

from mustwright.input_names import input_words
from mustwright.nutrition.balance import BalanceRow
from mustwright.nutrition.feeding_plan import NitrogenSheet
from mustwright.texts import join, say
from mustwright.web.pages.figures import number
from mustwright.web.pictures.frame import Scale
from mustwright.web.pictures.nitrogen import bar, nitrogen_parts
from mustwright.web.pictures.svg import Canvas, line, rect, text

STEP = 40.0


def balance_picture(
    rows: tuple[BalanceRow, ...], nitrogen: NitrogenSheet, narrow: bool = False
) -> Markup:
    """Bars of what is brought against the range of need."""
    canvas = Canvas("balance", narrow)
    left, right = (8.0, canvas.width - 8.0) if narrow else (150.0, canvas.width - 190.0)
    step = STEP + (24.0 if narrow else 0.0)
    body = []
    for i, row in enumerate(rows):
        y = 8 + i * step + (22.0 if narrow else 0.0)
        body.append(_row(row, nitrogen, left, right, y, canvas.hatch))
        ends = _sum_words(row)
        if narrow:
            body.append(text(left, y - 9, input_words(row.nutrient), "t strong"))
            body.append(text(right, y - 9, ends, "t", "end"))
        else:
            body.append(text(left - 12, y + 15, input_words(row.nutrient), "t strong", "end"))
            body.append(text(right + 12, y + 15, ends, "t"))
    words = join(
        "; ",
        (
            say("{nutrient} {sum}", nutrient=input_words(row.nutrient), sum=_sum_words(row))
            for row in rows
        ),
    )
    return canvas.picture(
        8 + len(rows) * step, say("Brought against needed: {words}", words=words), body
    )


def _total(row: BalanceRow) -> float:
    return row.must_mg_l.value + row.rehydration_mg_l.value + row.plan_mg_l.value


def _sum_words(row: BalanceRow) -> str:
    unit = row.need_mg_l.unit
    return say(
        "{brought} of {needed} {unit}",
        brought=number(_total(row), unit),
        needed=number(row.need_mg_l.value, unit),
        unit=unit,
    )


def _row(
    row: BalanceRow, nitrogen: NitrogenSheet, left: float, right: float, y: float, hatch: str
) -> str:
    need = row.need_mg_l
    low, high = need.low or need.value, need.high or need.value
    scale = Scale(0.0, max(high, _total(row), need.value) * 1.08 or 1.0, left, right)
    parts = [
        (row.must_mg_l.value, "must"),
        (row.rehydration_mg_l.value, "wake"),
        (row.plan_mg_l.value, "fed"),
    ]
    if row.nutrient == "nitrogen":
        parts = nitrogen_parts(nitrogen)
    x = scale.at(need.value)
    return (
        rect(scale.at(low), y - 1, scale.at(high) - scale.at(low), 24, "band")
        + line(left, y + 22, right, y + 22, "grid")
        + bar(parts, scale, y + 22, 17, hatch)
        + line(x, y - 3, x, y + 26, "need")
    )
