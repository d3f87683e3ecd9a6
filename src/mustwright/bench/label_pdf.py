"""Labels on paper: a PDF sheet with several to a page, text alone, and a QR code where wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time

import segno
from fpdf import FPDF

from mustwright.errors import InputError
from mustwright.finishing.bottling import Bottling
from mustwright.finishing.label_facts import LabelFacts
from mustwright.languages import here
from mustwright.texts import join, say

PAGES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
COLUMNS, ROWS = 2, 4
MARGIN_MM, GAP_MM, INSIDE_MM = 10.0, 4.0, 4.0
SMALLEST_PT = 5.0
WARNING_PT = 8.0  # capitals 2 mm high, its first words bold: CFR1621 16.22, from memory
MOST_LABELS = 2000
LINK_MM = 20.0


@dataclass(frozen=True)
class _Line:
    """One line or paragraph of a label; `lead` is bold before it, `least` its least size [pt]."""

    text: str
    points: float
    bold: bool = False
    gap_mm: float = 0.8
    lead: str = ""
    least: float = SMALLEST_PT

    @property
    def said(self) -> str:
        """As it is written, in the language spoken here, the bold part marked."""
        return f"**{self.lead}**{self.text}" if self.lead else here(self.text)


def label_sheet(
    labels: Sequence[tuple[LabelFacts, int]],
    *,
    made: date,
    link: str = "",
    page: str = "a4",
) -> bytes:
    """A PDF of cut-out labels, eight to a page.

    Parameters
    ----------
    labels : sequence of (LabelFacts, int)
        Facts and how many copies of each.
    made : date
        Written into the file as its date, so that the same labels make the same file.
    link : str
        Becomes a QR code on each label; none when empty.
    page : str
        ``a4`` or ``letter``.

    Raises
    ------
    InputError
        For too many labels, signs the fonts of the sheet cannot print, or text that does not fit.
    """
    matrix = check(labels, link=link, page=page)
    sheet = FPDF(unit="mm", format=PAGES_MM[page])
    sheet.set_auto_page_break(False)
    sheet.set_title(here(say("Labels", context="a sheet of them")))
    sheet.set_creation_date(datetime.combine(made, time(12), UTC))
    every = [facts for facts, copies in labels for _ in range(copies)]
    for i, facts in enumerate(every):
        place = i % (COLUMNS * ROWS)
        if place == 0:
            sheet.add_page()
        _label(sheet, facts, place, PAGES_MM[page], matrix)
    return bytes(sheet.output())


def check(
    labels: Sequence[tuple[LabelFacts, int]], *, link: str = "", page: str = "a4"
) -> tuple[tuple[int, ...], ...]:
    """Whether the sheet can be made, without making it; the dots of the QR code.

    Raises
    ------
    InputError
        As `label_sheet`.
    """
    if page not in PAGES_MM:
        raise InputError("page", say("needs one of {known}", known=", ".join(PAGES_MM)), page)
    count = sum(copies for _, copies in labels)
    if not 1 <= count <= MOST_LABELS:
        raise InputError("labels", say("needs 1 to {most} labels", most=MOST_LABELS), count)
    matrix, sheet = _qr(link), FPDF(unit="mm", format=PAGES_MM[page])
    sheet.add_page()  # text is measured on a page
    width, height = _size(PAGES_MM[page])
    for facts, _ in labels:
        _check_signs(facts)
        _fitting(sheet, _lines(facts), _room(width, bool(matrix)), height - 2 * INSIDE_MM)
    return matrix


def _size(page_mm: tuple[float, float]) -> tuple[float, float]:
    """Width and height of one label [mm]."""
    width = (page_mm[0] - 2 * MARGIN_MM - (COLUMNS - 1) * GAP_MM) / COLUMNS
    return width, (page_mm[1] - 2 * MARGIN_MM - (ROWS - 1) * GAP_MM) / ROWS


def _room(width: float, coded: bool) -> float:
    """Width left for text [mm]."""
    return width - 2 * INSIDE_MM - (LINK_MM + 2 if coded else 0)


def _check_signs(facts: LabelFacts) -> None:
    """Refuse a sign that the built-in fonts (Windows Latin 1) do not have."""
    for one in fields(facts):
        for sign in here(getattr(facts, one.name)):
            try:
                sign.encode("cp1252")
            except UnicodeEncodeError:
                shown = say(
                    "needs characters of western European letters on the sheet; '{sign}' is none",
                    sign=sign,
                )
                raise InputError(one.name, shown, getattr(facts, one.name)) from None


def _qr(link: str) -> tuple[tuple[int, ...], ...]:
    if not link:
        return ()
    if len(link) > 300 or not link.isprintable():
        raise InputError("link", say("needs a printable address of up to 300 characters"), link)
    return tuple(tuple(row) for row in segno.make(link, error="m", micro=False).matrix)


def _label(
    sheet: FPDF,
    facts: LabelFacts,
    place: int,
    page_mm: tuple[float, float],
    matrix: tuple[tuple[int, ...], ...],
) -> None:
    width, height = _size(page_mm)
    x = MARGIN_MM + (place % COLUMNS) * (width + GAP_MM)
    y = MARGIN_MM + (place // COLUMNS) * (height + GAP_MM)
    sheet.set_draw_color(170)
    sheet.set_line_width(0.1)
    sheet.rect(x, y, width, height)
    room = _room(width, bool(matrix))
    tall = height - 2 * INSIDE_MM
    lines = _lines(facts)
    points = _fitting(sheet, lines, room, tall)
    top = y + INSIDE_MM
    for line in lines:
        top = _write(sheet, line, line.points * points, x + INSIDE_MM, top, room) + line.gap_mm
    if matrix:
        _draw_qr(sheet, matrix, x + width - INSIDE_MM - LINK_MM, y + INSIDE_MM)


def _lines(facts: LabelFacts) -> list[_Line]:
    # What a law wants word for word stays in its own language.
    lead, colon, rest = facts.warning.partition(":")
    strength = join("    ", [part for part in (facts.alcohol, facts.volume) if part])
    wanted = [
        _Line(facts.name, 17, True, 1.2),
        _Line(facts.kind, 11),
        _Line(strength, 11, True, 1.6),
        _Line(facts.sulfite, 9, True),
        _Line(facts.contents, 9),
        _Line(facts.maker, 8),
        _Line(facts.lot_line, 8),
        _Line(facts.date_line, 8),
        _Line(
            colon + rest if colon else facts.warning,
            WARNING_PT,
            lead=lead if colon else "",
            least=WARNING_PT,
        ),
    ]
    return [line for line in wanted if line.text]


def _fitting(sheet: FPDF, lines: Sequence[_Line], room: float, tall: float) -> float:
    """The largest factor for the type sizes, up to 1, with which everything fits."""
    factor = 1.0
    while factor > 0.4:
        need = sum(_height(sheet, line, line.points * factor, room) + line.gap_mm for line in lines)
        if need <= tall:
            return factor
        factor -= 0.05
    raise InputError("label", say("needs less text: it does not fit the label"), lines[0].text)


def _height(sheet: FPDF, line: _Line, points: float, room: float) -> float:
    points = max(points, line.least)
    _font(sheet, line, points)
    rows = sheet.multi_cell(
        room, None, line.said, dry_run=True, output="LINES", align="L", markdown=bool(line.lead)
    )
    assert isinstance(rows, list)
    return len(rows) * _row_mm(points)


def _write(sheet: FPDF, line: _Line, points: float, x: float, y: float, room: float) -> float:
    """Write one paragraph; where it ends."""
    points = max(points, line.least)
    tall = _height(sheet, line, points, room)
    sheet.set_xy(x, y)
    sheet.multi_cell(room, _row_mm(points), line.said, align="L", markdown=bool(line.lead))
    return y + tall


def _font(sheet: FPDF, line: _Line, points: float) -> None:
    sheet.set_font("Helvetica", "B" if line.bold else "", points)


def _row_mm(points: float) -> float:
    return points * 0.3528 * 1.15


def _draw_qr(sheet: FPDF, matrix: tuple[tuple[int, ...], ...], x: float, y: float) -> None:
    """Dark squares alone; a row's neighbours are drawn as one so that no hairline shows."""
    size = LINK_MM / len(matrix)
    sheet.set_fill_color(0)
    for r, row in enumerate(matrix):
        start = None
        for c, dark in enumerate((*row, 0)):
            if dark and start is None:
                start = c
            elif not dark and start is not None:
                sheet.rect(x + start * size, y + r * size, (c - start) * size, size * 1.02, "F")
                start = None


def labels_pdf(result: Bottling, link: str = "", page: str = "a4") -> bytes:
    """The label sheet of a bottling: one label for each bottle.

    Raises
    ------
    InputError
        When no bottle is filled, or something cannot be printed.
    """
    return label_sheet(_copies(result), made=result.bottled, link=link, page=page)


def check_labels(result: Bottling, link: str = "", page: str = "a4") -> None:
    """Whether `labels_pdf` could be made, without making it.

    Raises
    ------
    InputError
    """
    check(_copies(result), link=link, page=page)


def _copies(result: Bottling) -> list[tuple[LabelFacts, int]]:
    """The facts of each size with how many labels it wants."""
    filled = [b for b in result.bottles if b.count.value > 0]
    return [(facts, int(b.count.value)) for facts, b in zip(result.labels, filled, strict=True)]
