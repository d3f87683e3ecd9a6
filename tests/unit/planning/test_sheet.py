"""A must sheet read: every accepted form, and each error names its field."""

import copy
import math
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from musts import examples, ground, sheet
from mustwright.errors import InputError, MustwrightError, validity_notes
from mustwright.must.gravity import brix_from_gravity
from mustwright.planning.must_setup import lay_ground
from mustwright.planning.sheet import read_sheet, sheet_from
from mustwright.planning.sheet_gravity import gravity_typed


def changed(path, value):
    """A valid sheet with one place changed; None takes it out."""
    content = copy.deepcopy(sheet())
    place = content
    *way, last = path
    for key in way:
        place = place.setdefault(key, {}) if isinstance(place, dict) else place[key]
    if value is None:
        place.pop(last, None)
    else:
        place[last] = value
    return content


# Accepted forms ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "litres", "assumed"),
    [
        ("19 L", 19, ""),
        ("5 US gal", 18.927, ""),
        ("5 imp gal", 22.730, ""),
        ("5 gallons", 18.927, "read as US gallon (3.785 L)"),
        ("2500 mL", 2.5, ""),
        (19, 19, "no unit given, read as L"),
        ("4,5 L", 4.5, ""),
    ],
)
def test_volumes(typed, litres, assumed):
    read = sheet_from(changed(("must", "volume"), typed))
    assert read.target.volume_l == pytest.approx(litres, abs=5e-4)
    said = " ".join(read.assumptions)
    assert assumed in said
    if not assumed:
        assert "must.volume" not in said


@pytest.mark.parametrize(
    ("typed", "gravity"),
    [("1.100", 1.1), (1.1, 1.1), ("24 Bx", 1.10103), ("24 Plato", 1.10103), ("100 Oe", 1.1),
     ("13 Baume", 1.0985), ("261 g/L", 1.1), ("1.0", 1.0), ("1.100 SG", 1.1)],
)  # fmt: skip
def test_gravities_on_any_scale(typed, gravity):
    brix = gravity_typed(typed, "must.gravity")
    assert brix == pytest.approx(float(brix_from_gravity(gravity)), abs=0.03)


def test_a_bare_brix_is_brix_under_its_own_key():
    content = sheet()
    content["must"].pop("gravity")
    content["must"]["brix"] = 24
    assert sheet_from(content).target.brix == 24


@pytest.mark.parametrize(
    ("typed", "celsius"), [("68 F", 20), ("20 C", 20), (18, 18), ("293.15 K", 20)]
)
def test_temperatures(typed, celsius):
    assert sheet_from(changed(("must", "temperature"), typed)).temperature_c == pytest.approx(
        celsius
    )


@pytest.mark.parametrize(
    ("typed", "kg"),
    [("15 lb 4 oz", 6.917), ("6.5 kg", 6.5), ("2 L", 2.841), ("1 1/2 lb", 0.680), ("500 g", 0.5)],
)
def test_amounts_by_mass_or_volume(typed, kg):
    content = changed(("must", "ingredient", 0, "amount"), typed)
    assert sheet_from(content).portions[0].kg == pytest.approx(kg, abs=2e-3)


@pytest.mark.parametrize(
    ("typed", "grams"), [("5 g", 5), (7, 7), ("0.25 oz", 7.087), ("solve", None)]
)
def test_yeast_amounts(typed, grams):
    read = sheet_from(sheet(yeast={"amount": typed}))
    assert read.yeast_g == (None if grams is None else pytest.approx(grams, abs=1e-3))


def test_what_is_taken_for_granted_is_said():
    content = {"must": {"volume": "5 L", "gravity": "1.1", "ingredient": [
        {"kind": "honey", "amount": "solve"}]}}  # fmt: skip
    said = "\n".join(sheet_from(content).assumptions)
    for part in ("temperature", "yeast.kind", "legal.profile", "shelf is empty", "water was added"):
        assert part in said


def test_a_must_known_by_measurement_alone():
    content = {"must": {"volume": "23 L"},
               "measured": {"gravity": "1.098", "yan_mg_l": "140 mg/L", "ph": 3.6}}  # fmt: skip
    measured = sheet_from(content).measured
    assert measured.brix == pytest.approx(23.33, abs=0.01)
    assert (measured.yan_mg_l, measured.ph) == (140, 3.6)


@pytest.mark.parametrize("name", sorted(examples()))
def test_examples_are_read(name):
    read = sheet_from(examples()[name])
    assert read.portions or read.measured.brix
    assert read.shelf.nutrients


# Errors --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        (("must", "volume"), "19 kg", "must.volume"),
        (("must", "volume"), "0 L", "must.volume"),
        (("must", "volume"), "-5 L", "must.volume"),
        (("must", "volume"), "1e308 hL", "must.volume"),
        (("must", "volume"), "1e-9 L", "must.volume"),
        (("must", "volume"), "much", "must.volume"),
        (("must", "volume"), True, "must.volume"),
        (("must", "volume"), [], "must.volume"),
        (("must", "volume"), "1,900 L", "must.volume"),
        (("must", "gravity"), "0.98", "must.gravity"),
        (("must", "gravity"), "1.4", "must.gravity"),
        (("must", "gravity"), "24", "must.gravity"),
        (("must", "gravity"), math.nan, "must.gravity"),
        (("must", "gravity"), "0.999", "must.gravity"),
        (("must", "brix"), 24, "must.brix"),
        (("must", "alcohol"), "12 %", "must.alcohol"),
        (("must", "finish"), "1.010", "must.finish"),
        (("must", "temperature"), "-2 C", "must.temperature"),
        (("must", "temperature"), "50 C", "must.temperature"),
        (("must", "temperature"), "5 kg", "must.temperature"),
        (("must", "colour"), "gold", "must.colour"),
        (("must", "ingredient"), "honey", "must.ingredient"),
        (("must", "ingredient"), [3], "must.ingredient[0]"),
        (("must", "ingredient", 0, "kind"), None, "must.ingredient[0].kind"),
        (("must", "ingredient", 0, "kind"), "sand", "must.ingredient[0].kind"),
        (("must", "ingredient", 0, "amount"), None, "must.ingredient[0].amount"),
        (("must", "ingredient", 0, "amount"), "3 C", "must.ingredient[0].amount"),
        (("must", "ingredient", 0, "amount"), "0 kg", "must.ingredient[0].amount"),
        (("must", "ingredient", 0, "amount"), "1e300 kg", "must.ingredient[0].amount"),
        (("must", "ingredient", 0, "amount"), 3, "must.ingredient[0].amount"),
        (("must", "ingredient", 0, "stage"), "later", "must.ingredient[0].stage"),
        (("must", "ingredient", 0, "stage"), "secondary", "must.ingredient[0].amount"),
        (("must", "ingredient", 0, "parts"), 0, "must.ingredient[0].parts"),
        (("must", "ingredient", 0, "moisture_pct"), 80, "must.ingredient[0].moisture_pct"),
        (("must", "ingredient", 0, "colour"), "x", "must.ingredient[0].colour"),
        (("must",), 3, "must"),
        (("yeast", "kind"), "moon", "yeast.kind"),
        (("yeast", "amount"), "0 g", "yeast.amount"),
        (("yeast", "amount"), "5 L", "yeast.amount"),
        (("yeast", "colour"), 1, "yeast.colour"),
        (("legal", "profile"), "mars", "legal.profile"),
        (("legal",), "us", "legal"),
        (("shelf",), "dap", "shelf"),
        (("shelf", "dap"), "x", "shelf.dap"),
        (("measured", "yan_mg_l"), -1, "measured.yan_mg_l"),
        (("measured", "yan_mg_l"), True, "measured.yan_mg_l"),
        (("measured", "yan_mg_l"), math.inf, "measured.yan_mg_l"),
        (("measured", "ph"), 14, "measured.ph"),
        (("measured", "gravity"), "0.990", "measured.gravity"),
        (("measured", "brix"), "-2 Bx", "measured.brix"),
        (("moon",), {}, "moon"),
    ],
)
def test_each_error_names_its_field(path, value, field):
    with pytest.raises(InputError) as error:
        ground(changed(path, value))
    assert error.value.field == field
    assert error.value.requirement
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 900


@pytest.mark.parametrize("rows", [None, []])
def test_nothing_given_and_nothing_measured(rows):
    content = {"must": {"volume": "5 L"} | ({} if rows is None else {"ingredient": rows})}
    with pytest.raises(InputError) as error:
        sheet_from(content)
    assert error.value.field == "must.ingredient"


def test_a_gravity_without_ingredients_is_taken_as_measured_and_says_so():
    read = sheet_from({"must": {"volume": "5 L", "gravity": "24 Bx"}})
    assert read.measured.brix == 24
    assert any("taken as measured" in note for note in read.assumptions)


def test_only_later_fruit_is_no_must():
    content = {"must": {"volume": "5 L", "ingredient": [
        {"kind": "raspberries", "amount": "1 kg", "stage": "secondary"}]}}  # fmt: skip
    with pytest.raises(InputError, match="before pitching"):
        sheet_from(content)


def test_both_measured_scales():
    with pytest.raises(InputError, match="gravity or brix"):
        sheet_from({"must": {}, "measured": {"gravity": "1.1", "brix": 24}})


@pytest.mark.parametrize(
    "text",
    ["must = ", "[must", "\x00", "a = 1\na = 2", "a = " + "9" * 5000, "a=" + "[" * 3000],
)
def test_text_that_is_no_toml(text):
    with pytest.raises(InputError) as error:
        read_sheet(text)
    assert error.value.field == "sheet"


# Garbage -------------------------------------------------------------------------------------

NASTY = st.sampled_from(
    [
        None, True, False, 0, -1, 10**30, 1e308, -1e308, math.nan, math.inf, -math.inf, 1e-308,
        "", "solve", "fill", "1e300 kg", "1e308 hL", "-5 L", "300 Bx", "-20 Bx", "-500 C",
        "1/0 lb", "1e400", "nan", "inf", "☃ kg", "ünïcödé", "\x00", "9" * 90, "1 2 3", "%", "#",
        "honey", "raisins", "12 %", "dry", "24 Bx", "5 lb 4 oz", [], {}, [[]], [{}], {"a": {}},
        {"stock": "1 g"}, {"ammonium_n_mg_g": 100}, ["dap", "dap"], "0.1 g", "us", 0.5, 24, 1.1,
    ]
)  # fmt: skip
ROWS = ["kind", "amount", "stage", "parts", "name", "moisture_pct", "refractive_index", "brix",
        "density_kg_l", "yan_mg_l", "yan_mg_kg", "refuse_pct", "fermentable_pct_of_sugars", "ph",
        "potassium_mg_kg", "x"]  # fmt: skip
PLACES = st.sampled_from(
    [
        *(("must", k) for k in ("volume", "gravity", "brix", "alcohol", "finish", "temperature",
                                "ingredient", "ph", "name", "x")),
        *(("must", "ingredient", i, k) for i in (0, 1) for k in ROWS),
        *(("yeast", k) for k in ("kind", "amount", "name")),
        *(("must", k) for k in ("temperature_steps", "x")),
        *(("vessel", k) for k in ("material", "room", "cool_above", "cooling_w")),
        *(("measured", k) for k in ("gravity", "brix", "yan_mg_l", "ph")),
        *(("shelf", k) for k in ("scale", "nutrients", "nutrient", "dap", "mine", "zinc_sulfate")),
        ("legal", "profile"), ("legal",), ("must",), ("shelf",), ("measured",), ("yeast",), ("x",),
    ]
)  # fmt: skip


@cases(1000)
@given(st.lists(st.tuples(PLACES, NASTY | st.floats() | st.text(max_size=9)), max_size=3))
def test_garbage_in_any_place_is_refused_in_words(changes):
    content = copy.deepcopy(sheet())
    for path, value in changes:
        place = content
        *way, last = path
        try:
            for key in way:
                place = place.setdefault(key, {}) if isinstance(place, dict) else place[key]
            place[last] = value
        except (TypeError, IndexError, KeyError, AttributeError):
            continue  # an earlier change took the place away
    refused = None
    try:
        with validity_notes():
            laid = lay_ground(sheet_from(content))
    except MustwrightError as error:
        refused = str(error)
    assert refused or math.isfinite(laid.must.gravity.value)


@cases(500)
@given(st.text(max_size=200))
def test_random_text_is_refused_in_words(text):
    with pytest.raises(MustwrightError):
        read_sheet(text)


@cases(300)
@given(st.sampled_from(sorted(examples())), st.data())
def test_a_cut_or_spoilt_example_is_read_or_refused(name, data):
    from musts import EXAMPLES

    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    at = data.draw(st.integers(0, len(text) - 1))
    spoilt = text[:at] + data.draw(st.text(max_size=3)) + text[at + data.draw(st.integers(0, 9)) :]
    refused = None
    try:
        read = read_sheet(spoilt)
    except MustwrightError as error:
        refused = str(error)
    assert refused or read.shelf.nutrients
    assert refused or tomllib.loads(spoilt)


@pytest.mark.parametrize(
    ("key", "value", "asked"),
    [
        ("gravity", '"1.300"', "hardly any yeast begins"),
        ("gravity", '"55 Bx"', "hardly any yeast begins"),
        ("brix", "1.021", "looks like a gravity"),
    ],
)
def test_a_must_that_cannot_be_meant_is_questioned(key, value, asked):
    for table, head in (("must", ""), ("measured", "[measured]\n")):
        with pytest.raises(InputError, match=asked) as caught:
            read_sheet(f'[must]\nvolume = "10 L"\n{head}{key} = {value}\n')
        assert caught.value.field == f"{table}.{key}"
