"""Reference rows: published (or recalled) values as data, handed to the tests one by one.

A test marked ``@pytest.mark.rows("file.csv", "quantity", ...)`` gets each row of the file whose
quantity starts with one of the names. `agree` compares within half a unit of the last printed
digit, unless the row has a tolerance of its own with a written reason, and keeps the worst
deviation of each file for the summary.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from deviations import WORST

VALUES = Path(__file__).parent / "values"
FIXED = ("id", "quantity", "value", "unit", "status", "basis", "tolerance", "reason")


@dataclass(frozen=True)
class Row:
    """One row of a values file; `given` are its inputs, by column."""

    file: str
    id: str
    quantity: str
    given: dict[str, str]
    printed: str
    unit: str
    status: str
    basis: str
    own_tolerance: str
    reason: str

    @property
    def value(self) -> float:
        return float(self.printed)

    @property
    def half_digit(self) -> float:
        """Half a unit of the last printed digit."""
        _, _, decimals = self.printed.partition(".")
        return 0.5 * 10.0 ** -len(decimals)

    @property
    def tolerance(self) -> float:
        return float(self.own_tolerance) if self.own_tolerance else self.half_digit

    def __getitem__(self, name: str) -> float:
        return float(self.given[name])


def read_header(path: Path) -> dict[str, str]:
    """The ``# key: text`` lines at the top of a values file."""
    lines = path.read_text(encoding="utf-8").splitlines()
    pairs = (line[1:].split(":", 1) for line in lines if line.startswith("#"))
    return {key.strip(): text.strip() for key, text in pairs}


def read_rows(path: Path) -> list[Row]:
    """Every row of a values file."""
    lines = path.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [
        Row(
            path.name,
            row["id"],
            row["quantity"],
            {k: v for k, v in row.items() if k not in FIXED and v},
            row["value"],
            row["unit"],
            row["status"],
            row["basis"],
            row["tolerance"],
            row["reason"],
        )
        for row in rows
    ]


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    marker = metafunc.definition.get_closest_marker("rows")
    if marker is None:
        return
    file, *quantities = marker.args
    rows = [r for r in read_rows(VALUES / file) if r.quantity.startswith(tuple(quantities) or "")]
    assert rows, f"no rows of {quantities} in {file}"
    recalled = {True: "recalled-", False: ""}
    ids = [recalled[r.status == "from memory"] + r.id for r in rows]
    metafunc.parametrize("row", rows, ids=ids)


@pytest.fixture
def agree(request: pytest.FixtureRequest) -> Callable[[Row, float], None]:
    """Compare our figure with the printed one."""
    worst = request.config.stash[WORST]

    def compare(row: Row, ours: float) -> None:
        deviation = abs(float(ours) - row.value)
        ratio = deviation / row.half_digit
        if ratio > worst.get(row.file, (0.0, -1.0, ""))[1]:
            worst[row.file] = (deviation, ratio, f"{row.id} ({row.printed} {row.unit})")
        assert deviation <= row.tolerance + 1e-12, (
            f"{row.id}: printed {row.printed} {row.unit} ({row.status}), ours {ours:.9g}, "
            f"off by {deviation:.3g}, allowed {row.tolerance:.3g}"
        )

    return compare


@pytest.fixture
def rows_of() -> Callable[[Path], list[Row]]:
    return read_rows


@pytest.fixture
def header_of() -> Callable[[Path], dict[str, str]]:
    return read_header
