"""Readings from a file: all of them in order of time, or the line and column that is wrong."""

from __future__ import annotations

import pytest

from mustwright.errors import InputError
from mustwright.planning.readings_csv import MOST_READINGS, read_readings


def test_hours_and_empty_cells():
    text = "# by hand\nt_h, gravity,temperature_c ,ph\n48,1.060,,3.4\n0,1.100,20,\n\n24,,21.5,\n"
    first, second, third = read_readings(text)
    assert (first.t_h, first.gravity, first.temperature_c, first.ph) == (0, 1.1, 20, None)
    assert (second.t_h, second.gravity, second.temperature_c) == (24, None, 21.5)
    assert (third.t_h, third.gravity, third.temperature_c, third.ph) == (48, 1.06, None, 3.4)


def test_times_are_counted_from_the_earliest_in_any_zone():
    text = "time,brix\n2031-05-02T12:00+02:00,20\n2031-05-01T10:00Z,24\n2031-05-01T22:00,22\n"
    assert [(r.t_h, r.brix) for r in read_readings(text)] == [(0, 24), (12, 22), (24, 20)]


def test_what_ph_was_read_with_sets_its_error():
    strip, meter, plain = read_readings("t_h,ph,ph_by\n1,3.5,strip\n2,3.5,meter\n3,3.5,")
    assert strip.sd_ph > 3 * meter.sd_ph
    assert plain.sd_ph == meter.sd_ph
    with pytest.raises(InputError, match="meter, strip"):
        read_readings("t_h,ph,ph_by\n1,3.5,tongue")


def test_header_in_capitals_is_read():
    assert read_readings("T_H,Gravity\n1,1.09")[0].gravity == 1.09


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        ("", "csv", "header and at least one line"),
        ("t_h,gravity\n", "csv", "header and at least one line"),
        ("t_h,density\n1,1.09", "csv header", "got 'density'"),
        ("t_h,gravity,gravity\n1,1.09,1.09", "csv header", "each column once"),
        ("t_h,time,gravity\n1,2,1.09", "csv header", "either t_h or time"),
        ("gravity\n1.09", "csv header", "either t_h or time"),
        ("t_h\n1", "csv header", "needs one of gravity"),
        ("t_h,gravity\n1,1.09,2", "csv line 2", "needs 2 cells"),
        ("t_h,gravity\n1,1.09\n2", "csv line 3", "needs 2 cells"),
        ("t_h,gravity\nsoon,1.09", "csv line 2 t_h", "needs a number"),
        ("t_h,gravity\n,1.09", "csv line 2 t_h", "needs hours after pitch"),
        ("t_h,gravity\n1,low", "csv line 2 gravity", "got 'low'"),
        ("t_h,gravity\n1,nan", "csv line 2 gravity", "needs a number"),
        ("t_h,gravity\n1,1e99", "csv line 2 gravity", "needs a number"),
        ("t_h,gravity\n1,1.09\n-2,1.08", "csv line 3 t_h", "0 to 4000"),
        ("t_h,gravity\n1,24", "csv line 2 gravity", "0.96 to 1.25"),
        ("t_h,brix\n1,90", "csv line 2 brix", "-8 to 50"),
        ("t_h,gravity,temperature_c\n1,1.09,99", "csv line 2 temperature_c", "-5 to 50"),
        ("t_h,gravity\n1,", "csv line 2", "needs one of"),
        ("t_h,gravity,brix\n1,1.09,21", "csv line 2", "not both"),
        ("time,gravity\nyesterday,1.09", "csv line 2 time", "ISO 8601"),
        ("time,gravity\n2031-05-01T10:00,1.09\n,1.08", "csv line 3 time", "ISO 8601"),
    ],
)
def test_an_error_names_line_and_column(text, field, words):
    with pytest.raises(InputError) as caught:
        read_readings(text, "csv")
    assert caught.value.field == field
    assert words in str(caught.value)


def test_a_file_without_end_is_refused():
    with pytest.raises(InputError, match="at most"):
        read_readings("t_h,gravity\n" + "1,1.09\n" * (MOST_READINGS + 1))
