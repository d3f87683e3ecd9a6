"""Every values file names its document, and every loosened tolerance says why."""

from pathlib import Path

import pytest

FILES = sorted((Path(__file__).parent / "values").glob("*.csv"))


def test_there_are_files():
    assert len(FILES) >= 20


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_names_its_source(path, header_of):
    header = header_of(path)
    assert len(header.get("source", "")) > 15
    assert header.get("read")


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_rows_are_labelled(path, rows_of):
    rows = rows_of(path)
    assert rows
    assert len({row.id for row in rows}) == len(rows)
    for row in rows:
        assert row.status in ("published", "from memory"), row.id
        assert row.basis in ("published", "formula", "arithmetic"), row.id
        assert row.unit, row.id


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_loose_tolerances_say_why(path, rows_of):
    for row in rows_of(path):
        if row.own_tolerance:
            assert float(row.own_tolerance) > row.half_digit, f"{row.id}: no need of its own"
            assert len(row.reason) > 15, f"{row.id}: tolerance without a reason"
        else:
            assert not row.reason, f"{row.id}: reason without a tolerance"


def test_half_a_digit(rows_of):
    by_id = {row.id: row for row in rows_of(FILES[0].parent / "oiml_r22.csv")}
    assert by_id["ethanol_density_10vol_20C"].printed == "984.710"
    assert by_id["ethanol_density_10vol_20C"].half_digit == 0.0005
