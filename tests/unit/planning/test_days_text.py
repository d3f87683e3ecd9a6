"""Days to dry are said in whole days, in one way on pages and at a terminal."""

from __future__ import annotations

import math

import pytest

from mustwright.figure import Figure
from mustwright.languages import here, language_called, speaking
from mustwright.planning.days_text import days_number, days_range
from mustwright.web.pages.figures import said, spread

NEVER = math.inf


def dry(value: float, low: float, high: float) -> Figure:
    return Figure(value, "days", "from a test", "test", {}, low, high)


@pytest.mark.parametrize(
    ("days", "words"),
    [(0.63, "0.6"), (1.9, "1.9"), (1.96, "2"), (3.94, "4"), (41.7, "42"), (NEVER, "over 42")],
)
def test_a_number_of_days_is_whole_where_that_tells_enough(days, words):
    assert days_number(days) == words


def test_a_range_says_one_number_where_both_ends_are_the_same():
    assert days_range(3.9, NEVER) == "4 to over 42"
    assert days_range(None, None) == "over 42"
    assert days_range(5.6, 6.4) == "6"


def test_a_figure_on_a_page_says_the_same():
    figure = dry(5.3, 3.9, NEVER)
    assert (said(figure), spread(figure)) == ("5 days", "4 to over 42")
    assert spread(dry(6.0, 5.6, 6.4)) == ""


def test_german_says_it_in_its_own_words():
    with speaking(language_called("de")):
        assert here(days_range(1.44, NEVER)) == "1,4 bis über 42"
