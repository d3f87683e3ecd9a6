"""What a profile lets go by the name of still or honey wine, and how it is taxed."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.errors import ImpossibleError
from mustwright.finishing.bottling import bottle
from mustwright.finishing.carbonate import CarbonateAsk, carbonate
from mustwright.finishing.label_facts import BottleAsk, Size, label_alcohol
from mustwright.finishing.law import finishing_law
from mustwright.finishing.priming import sugar_called

HOME, US, EU = (finishing_law(name) for name in ("home", "us", "eu"))
DAY = date(2026, 3, 1)


def ask(**more):
    return BottleAsk(10, [Size(0.75)], DAY, **more)


@given(st.floats(0.5, 24))
def test_a_us_label_stands_on_the_true_side_of_every_line(alcohol):
    figure = label_alcohol(alcohol, US)
    for line in US.label.never_across_pct:
        assert (figure.value > line) == (alcohol > line)
        assert (figure.high <= line) if alcohol <= line else (figure.low >= line)
    wide = figure.high - figure.low
    assert wide <= (2.0 if figure.value > 14 else 3.0) + 1e-9


def test_tolerance_is_narrower_above_fourteen():
    assert label_alcohol(12.0, US).high == pytest.approx(13.5)
    assert label_alcohol(15.0, US).low == pytest.approx(14.0)
    assert label_alcohol(15.0, US).high == pytest.approx(16.0)
    assert label_alcohol(15.5, US).high == pytest.approx(16.0)


@pytest.mark.parametrize(
    ("alcohol", "words"),
    [(13.0, "up to 16 % vol"), (14.5, "up to 16 % vol"), (16.1, "above 16, up to 21")],
)
def test_tax_class_by_alcohol(alcohol, words):
    assert words in bottle(ask(alcohol_pct=alcohol), US).tax_class


def test_tax_class_where_the_profile_has_none_or_alcohol_is_unknown():
    assert bottle(ask(alcohol_pct=12.0), EU).tax_class == ""
    assert bottle(ask(), US).tax_class == ""
    sparkling = bottle(ask(alcohol_pct=12.0, sparkling=True, co2_g_l=8.0), US).tax_class
    assert sparkling.startswith("sparkling or artificially carbonated")


def test_honey_wine_above_fourteen_is_refused_in_the_us_alone():
    with pytest.raises(ImpossibleError, match="14 % vol") as caught:
        bottle(ask(alcohol_pct=14.2, kind="Honey Wine"), US)
    assert caught.value.field == "kind"
    assert bottle(ask(alcohol_pct=14.0, kind="honey wine"), US).labels
    assert bottle(ask(alcohol_pct=14.2, kind="honey wine"), HOME).labels
    assert any("no honey wine" in n for n in bottle(ask(alcohol_pct=14.2), US).recorded.notes)


@pytest.mark.parametrize(("law", "grams"), [(US, 3.93), (EU, 2.6)], ids=["us", "eu"])
def test_too_much_gas_for_still_is_refused(law, grams):
    with pytest.raises(ImpossibleError, match="still drink") as caught:
        bottle(ask(alcohol_pct=12.0, co2_g_l=grams), law)
    assert caught.value.field == "co2"
    assert bottle(ask(alcohol_pct=12.0, co2_g_l=grams, sparkling=True), law).labels
    assert bottle(ask(alcohol_pct=12.0, co2_g_l=grams), HOME).labels
    assert bottle(ask(alcohol_pct=12.0, co2_g_l=1.2), law).labels


def sparkle(grams, **more):
    return CarbonateAsk(
        19, [20.0], co2_g_l=grams, alcohol_pct=12.0, sugar=sugar_called("sucrose"), **more
    )


@given(st.floats(1.6, 12))
def test_a_us_drink_is_not_primed_past_still_unless_meant(grams):
    if grams > 3.92:
        with pytest.raises(ImpossibleError, match=r"3\.92 g/L"):
            carbonate(sparkle(grams), US)
        assert carbonate(sparkle(grams, sparkling=True), US).legal_class.startswith("above")
    else:
        assert carbonate(sparkle(grams), US).legal_class.startswith("still")
