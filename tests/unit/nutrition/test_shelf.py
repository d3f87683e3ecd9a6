"""The shelf: every accepted form, own products by their label, and each error with its field."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.errors import InputError, MustwrightError, UnknownKindError
from mustwright.figure import TYPED
from mustwright.nutrition.shelf import (
    DEFAULT_SHELF,
    PER_GRAM,
    generic_nutrients,
    limited_substances,
    read_shelf,
)


def jar(name, value):
    return read_shelf({name: value}).nutrients[0]


@pytest.mark.parametrize("content", [None, {}])
def test_an_empty_shelf_stands_for_the_usual_four_and_says_so(content):
    shelf = read_shelf(content)
    assert tuple(n.id for n in shelf.nutrients) == DEFAULT_SHELF
    assert all(n.stock_g is None for n in shelf.nutrients)
    assert any("assumed" in note for note in shelf.assumed)


@pytest.mark.parametrize(
    ("typed", "grams"),
    [("250 g", 250), ("1 lb", 453.59237), ("0.5 kg", 500), (80, 80), (2.5, 2.5), (True, None),
     ("plenty", None), ("0 g", 0)],
)  # fmt: skip
def test_a_stock_in_any_form(typed, grams):
    assert jar("dap", typed).stock_g == (None if grams is None else pytest.approx(grams))


def test_false_means_none_of_it():
    assert [n.id for n in read_shelf({"dap": False, "autolysed_yeast": True}).nutrients] == [
        "autolysed_yeast"
    ]


def test_lists_and_tables_and_aliases():
    shelf = read_shelf(
        {
            "nutrients": ["DAP", "epsom salt"],
            "nutrient": [
                {"kind": "autolysed_yeast", "name": "First jar", "stock": "20 g"},
                {"kind": "autolysed_yeast", "name": "Second jar", "stock": "30 g"},
            ],
        }
    )
    assert [(n.id, n.class_id) for n in shelf.nutrients] == [
        ("dap", "dap"),
        ("magnesium_sulfate", "magnesium_sulfate"),
        ("autolysed_yeast", "autolysed_yeast"),
        ("second_jar", "autolysed_yeast"),
    ]
    assert [n.stock_g for n in shelf.nutrients] == [None, None, 20, 30]


@pytest.mark.parametrize(
    "content",
    [
        {"dap": True, "diammonium phosphate": {"stock": "5 g"}},
        {"nutrients": ["dap", "dap"]},
        {"dap": True, "nutrients": ["DAP"]},
        {"nutrient": [{"kind": "dap", "name": "a"}] * 3},
    ],
)
def test_the_same_jar_twice_is_refused(content):
    with pytest.raises(InputError, match="on the shelf twice"):
        read_shelf(content)


def test_an_own_product_by_label_facts_alone():
    own = jar("Green tin", {"ammonium_n_mg_g": 50, "amino_n_mg_g": 25, "label_max_g_l": "30 g/hL"})
    assert (own.id, own.group, own.use) == ("green_tin", "complex", "ferment")
    assert own.nitrogen_mg_g == 75
    assert own.label_max_g_l.value == pytest.approx(0.3)
    assert own.label_max_g_l.source == TYPED
    # Its ammonium counts against limits on ammonium phosphate, unless the label says otherwise.
    dap = generic_nutrients()["dap"].per_gram("ammonium_n")
    assert own.contains["ammonium_phosphate"] == pytest.approx(50 / dap)


def test_an_own_product_on_top_of_a_class():
    own = jar(
        "Red tin",
        {"class": "complex_blend", "amino_n_mg_g": 60, "price_per_kg": 20, "uptake_weight": 2},
    )
    generic = generic_nutrients()["complex_blend"]
    assert own.class_id == "complex_blend"
    assert own.per_gram("amino_n") == 60
    assert own.per_gram("ammonium_n") == generic.per_gram("ammonium_n")
    assert (own.price_per_kg, own.uptake_weight) == (20, 2)


@pytest.mark.parametrize(
    ("facts", "group"),
    [
        ({"ammonium_n_mg_g": 200}, "ammonium"),
        ({"amino_n_mg_g": 40}, "organic"),
        ({"ammonium_n_mg_g": 30, "amino_n_mg_g": 40}, "complex"),
        ({"magnesium_mg_g": 40}, "mineral"),
    ],
)
def test_groups_follow_the_label(facts, group):
    assert jar("mine", facts).group == group


def test_thiamine_of_a_label_counts_as_hydrochloride():
    assert jar("mine", {"thiamine_mg_g": 1}).contains["thiamine_hydrochloride"] == pytest.approx(
        0.001271, rel=1e-3
    )


def test_a_rehydration_jar_with_ammonium_stays_out_of_the_water():
    fit = read_shelf({"rehydration_nutrient": True})
    unfit = read_shelf({"rehydration_nutrient": {"ammonium_n_mg_g": 20}})
    assert fit.for_rehydration is not None
    assert unfit.for_rehydration is None


def test_buffers_and_rehydration_are_not_for_feeding():
    shelf = read_shelf({"potassium_bicarbonate": True, "rehydration_nutrient": True, "dap": True})
    assert [n.id for n in shelf.for_ferment] == ["dap"]


@pytest.mark.parametrize(
    ("content", "field"),
    [
        ({"dap": "much"}, "shelf.dap"),
        ({"dap": "-3 g"}, "shelf.dap"),
        ({"dap": "3 L"}, "shelf.dap"),
        ({"dap": {"stock": "x"}}, "shelf.dap.stock"),
        ({"dap": {"colour": 1}}, "shelf.dap.colour"),
        ({"dap": {"total_nitrogen_pct": 12}}, "shelf.dap.total_nitrogen_pct"),
        ({"dap": {"price_per_kg": -1}}, "shelf.dap.price_per_kg"),
        ({"dap": {"price_per_kg": "9"}}, "shelf.dap.price_per_kg"),
        ({"dap": {"ammonium_n_mg_g": 1001}}, "shelf.dap.ammonium_n_mg_g"),
        ({"dap": {"ammonium_n_mg_g": True}}, "shelf.dap.ammonium_n_mg_g"),
        ({"dap": {"label_max_g_l": float("nan")}}, "shelf.dap.label_max_g_l"),
        ({"dap": {"label_max_g_l": "3 kg"}}, "shelf.dap.label_max_g_l"),
        ({"dap": {"label_max_g_l": 0}}, "shelf.dap.label_max_g_l"),
        ({"dap": {"uptake_weight": 0}}, "shelf.dap.uptake_weight"),
        ({"dap": {"grams_per_teaspoon": 99}}, "shelf.dap.grams_per_teaspoon"),
        ({"dap": {"teaspoon": "2 kg"}}, "shelf.dap.teaspoon"),
        ({"dap": {"teaspoon": "5 mL"}}, "shelf.dap.teaspoon"),
        ({"dap": {"teaspoon": True}}, "shelf.dap.teaspoon"),
        ({"dap": {"teaspoon": 3, "grams_per_teaspoon": 3}}, "shelf.dap.teaspoon"),
        ({"dap": {"sterol_source": "yes"}}, "shelf.dap.sterol_source"),
        ({"dap": {"contains": 3}}, "shelf.dap.contains"),
        ({"dap": {"contains": {"sugar": 0.1}}}, "shelf.dap.contains.sugar"),
        ({"dap": {"contains": {"urea": 2}}}, "shelf.dap.contains.urea"),
        ({"dap": {"class": 3}}, "shelf.dap.class"),
        ({"scale": 0.1}, "shelf.scale"),
        ({"scale": "1 kg"}, "shelf.scale"),
        ({"nutrients": "dap"}, "shelf.nutrients"),
        ({"nutrient": {"kind": "dap"}}, "shelf.nutrient"),
        ({"nutrient": [{}]}, "shelf.nutrient[0]"),
    ],
)
def test_each_error_names_its_field(content, field):
    with pytest.raises(InputError) as error:
        read_shelf(content)
    assert error.value.field == field


def test_an_unknown_name_offers_near_ones():
    with pytest.raises(UnknownKindError, match="autolysed yeast"):
        read_shelf({"autolised_yest": True})


def test_a_limit_that_a_label_names_is_known_to_the_law():
    assert {"ammonium_phosphate", "thiamine_hydrochloride", "urea"} <= set(limited_substances())


WHATEVER = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=6,
)
FACTS = st.sampled_from(
    ["stock", "class", "kind", "name", "label_max_g_l", "contains", "uptake_weight",
     "price_per_kg", *(f"{what}_mg_g" for what in PER_GRAM)]
)  # fmt: skip


@cases(600)
@given(
    st.dictionaries(
        st.sampled_from(["dap", "autolysed_yeast", "mine", "scale", "nutrients", "nutrient", ""]),
        WHATEVER | st.dictionaries(FACTS, WHATEVER, max_size=4),
        max_size=4,
    )
)
def test_garbage_is_refused_in_words(content):
    refused = None
    try:
        shelf = read_shelf(content)
    except MustwrightError as error:
        refused = str(error)
    assert refused or shelf.nutrients


@pytest.mark.parametrize(
    ("kind", "facts", "ammonium", "amino"),
    [
        ("dap", {"nitrogen_pct": 21.0}, 210, 0),
        ("autolysed_yeast", {"nitrogen_pct": 4}, 0, 40),
        ("autolysed_yeast", {"yan_mg_l_per_g_l": 40}, 0, 40),
        ("own", {"yan_mg_l_per_g_l": 100, "ammonium_n_mg_g": 70}, 70, 30),
        ("own", {"nitrogen_pct": 10, "amino_n_mg_g": 30}, 70, 30),
    ],
)
def test_a_label_is_typed_as_it_is_printed(kind, facts, ammonium, amino):
    table = facts if kind == "own" else {"class": kind, **facts}
    (jar,) = read_shelf({"mine": table}).nutrients
    assert jar.per_gram("ammonium_n") == pytest.approx(ammonium)
    assert jar.per_gram("amino_n") == pytest.approx(amino)


def test_a_figure_for_both_kinds_is_shared_out_as_in_the_generic_kind():
    generic = generic_nutrients()["complex_blend"]
    (jar,) = read_shelf({"mine": {"class": "complex_blend", "nitrogen_pct": 12}}).nutrients
    assert jar.nitrogen_mg_g == pytest.approx(120)
    share = generic.per_gram("ammonium_n") / generic.nitrogen_mg_g
    assert jar.per_gram("ammonium_n") / jar.nitrogen_mg_g == pytest.approx(share)
    assert jar.figures["amino_n_mg_g"].inputs == {"nitrogen_pct": 12}


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"nitrogen_pct": 10}, "needs the generic kind"),
        ({"nitrogen_pct": 60}, "needs at most 47"),
        ({"class": "dap", "nitrogen_pct": 20, "yan_mg_l_per_g_l": 200}, "needs one figure"),
        ({"nitrogen_pct": 3, "ammonium_n_mg_g": 70}, "at least the nitrogen"),
        ({"nitrogen_pct": 9, "ammonium_n_mg_g": 70, "amino_n_mg_g": 20}, "given already"),
    ],
)
def test_a_printed_label_that_cannot_be_meant_is_refused(facts, words):
    with pytest.raises(InputError, match=words):
        read_shelf({"mine": facts})
