"""What does the yeast need and what does it get: each nutrient on its own scale."""

from __future__ import annotations

from markupsafe import Markup

from mustwright.nutrition.balance import BalanceRow
from mustwright.nutrition.feeding_plan import NitrogenSheet
from mustwright.web.pages.figures import number
from mustwright.web.pictures.svg import line, picture, rect, text

WIDE, NARROW = 920.0, 340.0
STEP = 40.0


def balance_picture(
    rows: tuple[BalanceRow, ...], nitrogen: NitrogenSheet, narrow: bool = False
) -> Markup:
    """Bars of what is brought against the range of need."""
    width = NARROW if narrow else WIDE
    name = "balance-narrow" if narrow else "balance-wide"
    left, right = (8.0, width - 8.0) if narrow else (150.0, width - 190.0)
    step = STEP + (24.0 if narrow else 0.0)
    body = []
    for i, row in enumerate(rows):
        y = 8 + i * step + (22.0 if narrow else 0.0)
        body.append(_row(row, nitrogen, left, right, y, f"{name}-hatch"))
        ends = _sum_words(row)
        if narrow:
            body.append(text(left, y - 9, row.nutrient, "t strong"))
            body.append(text(right, y - 9, ends, "t", "end"))
        else:
            body.append(text(left - 12, y + 15, row.nutrient, "t strong", "end"))
            body.append(text(right + 12, y + 15, ends, "t"))
    title = "Brought against needed: " + "; ".join(
        f"{row.nutrient} {_sum_words(row)}" for row in rows
    )
    height = 8 + len(rows) * step
    return picture(width, height, title, body, name, "narrow" if narrow else "wide")


def _total(row: BalanceRow) -> float:
    return row.must_mg_l.value + row.rehydration_mg_l.value + row.plan_mg_l.value


def _sum_words(row: BalanceRow) -> str:
    unit = row.need_mg_l.unit
    return f"{number(_total(row), unit)} of {number(row.need_mg_l.value, unit)} {unit}"


def _row(
    row: BalanceRow, nitrogen: NitrogenSheet, left: float, right: float, y: float, hatch: str
) -> str:
    need = row.need_mg_l
    top = max(need.high or need.value, _total(row), need.value) * 1.08 or 1.0

    def x(value: float) -> float:
        return round(left + value / top * (right - left), 1)

    low, high = need.low or need.value, need.high or need.value
    drawn = rect(x(low), y - 1, x(high) - x(low), 24, "band")
    drawn += line(left, y + 22, right, y + 22, "grid")
    parts = [
        (row.must_mg_l.value, "must"),
        (row.rehydration_mg_l.value, "wake"),
        (row.plan_mg_l.value, "fed"),
    ]
    if row.nutrient == "nitrogen":
        parts = [
            (nitrogen.credit_ammonium_mg_l.value, "ammonium half"),
            (nitrogen.credit_amino_mg_l.value, "amino half"),
            (row.rehydration_mg_l.value, "wake"),
            (nitrogen.added_ammonium_mg_l.value, "ammonium"),
            (nitrogen.added_amino_mg_l.value, "amino"),
        ]
    at = 0.0
    for value, kind in parts:
        if value > 0:
            half = kind.endswith("half")
            fill = hatch if kind.startswith("amino") else ""
            drawn += rect(
                x(at), y + (13 if half else 5), x(at + value) - x(at), 9 if half else 17, kind, fill
            )
        at += value
    return drawn + line(x(need.value), y - 3, x(need.value), y + 26, "need")
