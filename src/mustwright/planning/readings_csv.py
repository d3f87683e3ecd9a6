"""Readings from a CSV file: checked line by line, all of them or none."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import UTC, datetime

from mustwright.errors import InputError
from mustwright.kinetics.inputs import MustReading
from mustwright.must.acidity.calibrate import reading_sd
from mustwright.texts import say

VALUES = ("gravity", "brix", "temperature_c", "ph")
PH_BY = ("meter", "strip")
COLUMNS = ("t_h", "time", *VALUES, "ph_by")
MOST_READINGS = 5000


def read_readings(text: str, where: str = "readings") -> tuple[MustReading, ...]:
    """Readings in order of time.

    Parameters
    ----------
    text : str
        CSV with a header: ``t_h`` (hours after pitch) or ``time`` (ISO 8601; the first line is the
        pitch), and any of gravity, brix, temperature_c, ph; ``ph_by`` says what pH was read with,
        ``meter`` (usual) or ``strip``. Empty cells are fine; lines that begin with # are notes.

    Raises
    ------
    InputError
        Naming the line and the column.

    Examples
    --------
    >>> [r.t_h for r in read_readings("t_h,gravity\\n24,1.080\\n0,1.100")]
    [0.0, 24.0]
    """
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    rows = list(csv.reader(io.StringIO("\n".join(lines)), skipinitialspace=True))
    if len(rows) < 2:
        raise InputError(where, say("needs a header and at least one line"), f"{len(rows)} lines")
    if len(rows) > MOST_READINGS:
        raise InputError(
            where,
            say("needs at most {most} lines", most=MOST_READINGS),
            len(rows),
        )
    header = _header([cell.strip().lower() for cell in rows[0]], where)
    begin = _first_time(rows, header, where)
    found = [_reading(row, header, begin, f"{where} line {i}") for i, row in enumerate(rows[1:], 2)]
    return tuple(sorted(found, key=lambda reading: reading.t_h))


def _header(header: list[str], where: str) -> list[str]:
    for name in header:
        if name not in COLUMNS:
            raise InputError(
                f"{where} header",
                say("needs columns out of {known}", known=", ".join(COLUMNS)),
                name,
            )
    if len(set(header)) != len(header):
        raise InputError(f"{where} header", say("needs each column once"), ",".join(header))
    if ("t_h" in header) == ("time" in header):
        raise InputError(f"{where} header", say("needs either t_h or time"), ",".join(header))
    if not set(header) & set(VALUES):
        raise InputError(
            f"{where} header",
            say("needs one of {known}", known=", ".join(VALUES)),
            ",".join(header),
        )
    return header


def _first_time(
    rows: Sequence[Sequence[str]], header: Sequence[str], where: str
) -> datetime | None:
    if "time" not in header:
        return None
    at = header.index("time")
    times = [
        _moment(row[at] if at < len(row) else "", f"{where} line {i} time")
        for i, row in enumerate(rows[1:], 2)
    ]
    return min(times)


def _moment(text: str, where: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            where, say("needs an ISO 8601 time such as 2031-05-01T18:30"), text
        ) from None
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def _reading(
    row: Sequence[str], header: Sequence[str], begin: datetime | None, where: str
) -> MustReading:
    if len(row) != len(header):
        raise InputError(where, say("needs {cells} cells", cells=len(header)), len(row))
    cells = dict(zip(header, (cell.strip() for cell in row), strict=True))
    if begin is not None:
        hours = (_moment(cells["time"], f"{where} time") - begin).total_seconds() / 3600
    else:
        hours = _number(cells["t_h"], f"{where} t_h") or 0.0
        if not cells["t_h"]:
            raise InputError(f"{where} t_h", say("needs hours after pitch"), "nothing")
    values = {name: _number(cells.get(name, ""), f"{where} {name}") for name in VALUES}
    if all(value is None for value in values.values()):
        raise InputError(where, say("needs one of {known}", known=", ".join(VALUES)), "nothing")
    if values["gravity"] is not None and values["brix"] is not None:
        raise InputError(where, say("needs gravity or brix, not both"), "both")
    by = cells.get("ph_by", "").lower() or PH_BY[0]
    if by not in PH_BY:
        raise InputError(
            f"{where} ph_by",
            say("needs one of {known}", known=", ".join(PH_BY)),
            by,
        )
    sd_ph = None if values["ph"] is None else reading_sd(by)
    try:
        return MustReading(hours, **values, sd_ph=sd_ph)
    except InputError as error:
        raise InputError(
            f"{where} {error.field.split('.')[-1]}", error.requirement, error.got
        ) from None


def _number(text: str, where: str) -> float | None:
    if not text:
        return None
    try:
        number = float(text)
    except ValueError:
        raise InputError(where, say("needs a number"), text) from None
    if not -1e6 < number < 1e6:
        raise InputError(where, say("needs a number"), text)
    return number
