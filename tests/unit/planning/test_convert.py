"""What a maker asks of the converter."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.errors import ImpossibleError, InputError
from mustwright.must.gravity import gravity_from_brix
from mustwright.planning.convert import convert

SCALES = ["SG", "Brix", "Plato", "Baume", "Oechsle", "g/L sugar"]


@pytest.mark.parametrize(
    ("typed", "to", "value"),
    [
        ("24 Bx", "SG", 1.10103),
        ("1.100", "Brix", 23.774),
        ("1.100 SG", "Oechsle", 100.0),
        ("100 Oechsle", "SG", 1.1),
        ("1.100", "Baume", 145 - 145 / 1.1),
        ("-1.2 Bx", "SG", 0.99538),
        ("15 lb 4 oz", "kg", 6.91728),
        ("19 L", "US gal", 5.01928),
        ("68 F", "C", 20.0),
        ("20 C", "F", 68.0),
        ("8 lb/1000 US gal", "g/L", 0.958611),
        ("1 g/L", "mg/L", 1000.0),
        ("1 g/US gal", "g/L", 0.264172),
        ("1.4915 nD", "moisture", 18.0),
        ("24 Brix", "nD", 1.3706),
        ("1.3706 nD", "Brix", 24.0),
        ("36 h", "d", 1.5),
    ],
)
def test_plain_conversions(typed, to, value):
    answer = convert(typed, to)
    assert answer.value.value == pytest.approx(value, rel=2e-4, abs=2e-5)
    assert answer.value.unit == answer.unit
    assert answer.value.formula
    assert answer.value.source
    assert answer.value.inputs


@given(st.floats(0.5, 60), st.sampled_from(SCALES))
def test_scales_there_and_back(brix, scale):
    there = convert(f"{brix:.12f} Bx", scale).value.value
    back = convert(f"{there:.14f} {scale}", "Brix").value.value
    assert back == pytest.approx(brix, abs=1e-7)


@given(st.sampled_from(SCALES))
def test_water_is_water_on_every_scale(scale):
    zero = convert("1.000", scale).value.value
    assert zero == pytest.approx(1.0 if scale == "SG" else 0.0, abs=1e-9)


def test_plato_shows_its_rival():
    answer = convert("1.140", "Plato")
    rival = answer.alternatives["ASBC table polynomial"]
    assert answer.value.value == pytest.approx(32.253, abs=0.01)
    assert rival.value == pytest.approx(32.216, abs=0.01)


def test_hydrometer_by_temperature():
    warm = convert("1.098", "SG", temperature="28 C", calibration="20 C")
    assert warm.value.value == pytest.approx(1.1006, abs=1e-4)
    assert warm.warnings == []
    assumed = convert("1.098", "SG", temperature="28 C")
    assert assumed.value.value == warm.value.value
    assert "marked for 20 C" in assumed.warnings[0]
    fahrenheit = convert("1.098", "SG", temperature="82.4 F", calibration="60 F")
    assert fahrenheit.value.value == pytest.approx(1.1014, abs=1e-4)


def test_hydrometer_marked_in_brix():
    """Twenty Brix read at 30 °C: the correction is about 0.7 Brix."""
    answer = convert("20 Bx", "Brix", temperature="30 C", calibration="20 C")
    assert answer.value.value == pytest.approx(20.71, abs=0.02)


def test_alcohol_of_warm_mead_changes_the_correction():
    plain = convert("0.996", "SG", temperature="30 C", calibration="20 C")
    mead = convert("0.996", "SG", temperature="30 C", calibration="20 C", original="1.100")
    assert mead.value.value > plain.value.value
    assert mead.alternatives["alcohol"].unit == "% vol"


def test_alcohol_from_two_gravities():
    answer = convert("1.000", "% vol", original="1.100")
    assert answer.value.value == pytest.approx(13.57, abs=0.02)
    assert answer.value.low < answer.value.value < answer.value.high
    assert set(answer.alternatives) == {
        "Balling attenuation",
        "HMRC factor table",
        "EU 16.83 g/L",
        "131 times the drop",
    }
    assert answer.alternatives["131 times the drop"].source == "common practice, no source"


def test_refractometer_during_fermentation():
    answer = convert("12 Bx", "SG", instrument="refractometer", original="24 Bx")
    assert answer.value.value == pytest.approx(1.017, abs=0.001)
    assert answer.value.low < answer.value.value < answer.value.high
    same = convert("12", "% vol", instrument="refractometer", original=24)
    assert same.value.value == pytest.approx(answer.alternatives["alcohol"].value)
    assert "no unit given, read as Brix" in same.warnings[0]


def test_refractometer_alone_is_warned_of():
    answer = convert("24 Bx", "SG", instrument="refractometer")
    assert answer.value.value == pytest.approx(float(gravity_from_brix(24.0)))
    assert "only before fermentation" in answer.warnings[-1]


def test_refractometer_by_temperature():
    answer = convert("25 Bx", "Brix", instrument="refractometer", temperature="15 C")
    assert answer.value.value == pytest.approx(24.65, abs=1e-9)


def test_outside_a_table_is_said_not_hidden():
    answer = convert("6 Bx", "Brix", instrument="refractometer", temperature="15 C")
    assert any("10 to 40 Brix" in text for text in answer.warnings)


def test_warm_honey():
    cold = convert("1.4915 nD", "moisture")
    warm = convert("1.4915 nD", "moisture", temperature="30 C")
    assert cold.value.value - warm.value.value == pytest.approx(0.9, abs=0.1)


@pytest.mark.parametrize(
    ("typed", "to", "how", "field"),
    [
        ("5 L", "kg", {}, "value"),
        ("24 Bx", "L", {}, "value"),
        ("5 L", "Brix", {}, "value"),
        ("100 g/L", "Brix", {}, "value"),
        ("24", "Brix", {}, "value"),
        ("5", "L", {}, "value"),
        ("", "L", {}, "value"),
        ("5 parsecs", "L", {}, "value"),
        ("90 Bx", "SG", {}, "value"),
        ("1.39", "Brix", {}, "value"),
        ("145 Baume", "SG", {}, "value"),
        ("2000 g/L sugar", "SG", {}, "value"),
        ("5 L", "firkin", {}, "to"),
        ("5 L", None, {}, "to"),
        ("1.4 nD", "L", {}, "to"),
        ("1.2 nD", "Brix", {}, "value"),
        ("24 Bx", "moisture", {}, "value"),
        ("1.050", "% vol", {}, "original"),
        ("1.050", "% vol", {"original": "5 L"}, "original"),
        ("1.050", "% vol", {"original": "0.99"}, "original"),
        ("1.120", "% vol", {"original": "1.100"}, "value"),
        ("1.050", "SG", {"calibration": "60 F"}, "temperature"),
        ("1.050", "SG", {"temperature": "80 C"}, "temperature"),
        ("1.050", "SG", {"temperature": "warm"}, "temperature"),
        ("1.050", "SG", {"temperature": "20 C", "calibration": "50 C"}, "calibration"),
        ("1.050", "SG", {"instrument": "ruler"}, "instrument"),
        ("5 L", "US gal", {"temperature": "20 C"}, "temperature"),
        ("5 L", "US gal", {"original": "1.1"}, "original"),
        ("24 Bx", "SG", {"instrument": "refractometer", "temperature": "40 C"}, "temperature"),
        ("24 Bx", "SG", {"instrument": "refractometer", "calibration": "20 C"}, "calibration"),
        ("24 Baume", "SG", {"instrument": "refractometer"}, "value"),
        ("2 Bx", "SG", {"instrument": "refractometer", "original": "24 Bx"}, "value"),
    ],
)
def test_errors_name_the_field(typed, to, how, field):
    with pytest.raises(InputError) as caught:
        convert(typed, to, **how)
    assert caught.value.field == field
    assert "needs" in str(caught.value)


@given(st.text(max_size=30), st.sampled_from(["SG", "L", "moisture", "% vol", "nD", "C"]))
def test_any_text_is_answered_or_refused(text, to):
    try:
        answer = convert(text, to)
    except InputError:
        return
    assert answer.value.value == answer.value.value


# What the reading cannot be


def test_a_reading_no_honey_must_can_give_is_questioned():
    """7.1 Brix after 23 was computed to 0.987; honey leaves sugars that yeast does not eat."""
    with pytest.raises(ImpossibleError, match="honey and fruit leave more") as caught:
        convert("7.1 Bx", "SG", original="23 Bx", instrument="refractometer")
    assert caught.value.field == "value"
    dry = convert("8.3 Bx", "SG", original="23 Bx", instrument="refractometer")
    assert 0.992 < dry.value.value < 0.998


@pytest.mark.parametrize(("brix", "moisture"), [(81.0, 17.3), (80.0, 18.3), (83.0, 15.2)])
def test_moisture_by_a_honey_refractometer(brix, moisture):
    """By the sucrose table and the formula of Wedmore."""
    found = convert(f"{brix} Bx", "moisture", instrument="refractometer")
    assert found.value.value == pytest.approx(moisture, abs=0.05)
    with pytest.raises(InputError, match="honey refractometer"):
        convert("24 Bx", "moisture")


@pytest.mark.parametrize(("kmw", "oechsle"), [(0, 0), (15, 73.05), (20, 99.6), (25, 127.25)])
def test_the_klosterneuburg_scale(kmw, oechsle):
    """Oechsle = KMW (0.022 KMW + 4.54)."""
    assert convert(f"{kmw} KMW", "Oechsle").value.value == pytest.approx(oechsle, abs=1e-6)
    back = convert(f"{oechsle} Oechsle", "KMW")
    assert back.value.value == pytest.approx(kmw, abs=1e-6)


def test_a_gravity_in_grams_per_litre():
    assert convert("1.098", "g/L").value == convert("1.098", "g/L sugar").value
    assert convert("1.098", "g/L").unit == "g/L sugar"
    assert convert("250 mg/L", "g/L").value.value == pytest.approx(0.25)
