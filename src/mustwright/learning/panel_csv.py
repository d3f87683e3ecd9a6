"""A table of a tasting from a CSV file: rows tasters, columns products."""

from __future__ import annotations

import csv
import io

from mustwright.errors import InputError
from mustwright.texts import say

NAMES = ("taster", "tasters", "name", "initials", "assessor", "")


def read_panel(text: str, where: str = "file") -> tuple[tuple[str, ...], list[list[float]]]:
    """Product names and one row of numbers a taster.

    Parameters
    ----------
    text : str
        CSV. A header with the names of the products may come first; a first column of tasters is
        left out where it holds words or is headed ``taster``. Lines that begin with # are notes.
    where : str
        Named in errors.

    Returns
    -------
    products : tuple of str
        From the header; else ``1``, ``2``, ...
    table : list of list of float

    Raises
    ------
    InputError
        Naming the line and the column.

    Examples
    --------
    >>> read_panel("taster,dry,sweet\\nAB,1,2\\nCD,2,1")
    (('dry', 'sweet'), [[1.0, 2.0], [2.0, 1.0]])
    """
    rows = []
    for line, cells in enumerate(csv.reader(io.StringIO(text), skipinitialspace=True), 1):
        if any(cell.strip() for cell in cells) and not cells[0].startswith("#"):
            rows.append((line, [cell.strip() for cell in cells]))
    if not rows:
        raise InputError(where, say("needs one row a taster"), "nothing")
    header = None if all(_is_number(c) for c in rows[0][1][1:]) else rows.pop(0)[1]
    if not rows:
        raise InputError(where, say("needs one row a taster below the header"), "nothing")
    named = header is not None and header[0].lower() in NAMES
    first = 1 if named or any(not _is_number(cells[0]) for _, cells in rows) else 0
    table = [[_number(cell, where, line, column + 1) for column, cell in enumerate(cells)
              if column >= first] for line, cells in rows]  # fmt: skip
    products = header[first:] if header else [str(k + 1) for k in range(len(table[0]))]
    for (line, _), row in zip(rows, table, strict=True):
        if len(row) != len(products):
            need = say("{products} numbers, one for each product", products=len(products))
            raise InputError(f"{where} line {line}", need, len(row))
    return tuple(products), table


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _number(cell: str, where: str, line: int, column: int) -> float:
    if not _is_number(cell):
        raise InputError(
            f"{where} line {line} column {column}",
            say("needs a number"),
            cell,
        )
    return float(cell)
