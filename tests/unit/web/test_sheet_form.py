"""A form filled from a sheet and written back leaves all else in the sheet as it was."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.errors import InputError
from mustwright.languages import here, language_called, speaking
from mustwright.planning.sheet import read_sheet
from mustwright.services.demo import demo_sheets
from mustwright.web.forms.lists import kind_kept
from mustwright.web.forms.sheet_form import (
    ROW_NUMBERS,
    SIMPLE,
    form_field,
    kept_rows,
    sheet_from_typed,
    typed_from_sheet,
    with_amounts_to_choose,
    with_chosen_amounts,
)
from mustwright.web.forms.typed import TypedForm, typed_from

ODD = """# kept
notes = "anything"
[must]
volume = "19 L"  # the big one
brix = 24
[[must.ingredient]]
kind = "clover honey"
amount = "solve"   # as much as it takes
calcium_note = 1

# about the water
[[must.ingredient]]
kind = "water"
amount = "fill"
[shelf]
nutrients = ["dap"]
autolysed_yeast = { stock = "500 g", price_per_kg = 38.0 }
[[shelf.nutrient]]
kind = "complex_blend"
stock = "50 g"
[legal]
profile = "home"
"""
TEXTS = [text for _, _, text in demo_sheets()] + [ODD, ""]

words = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"]),
                min_size=1, max_size=20).map(str.strip).filter(bool)  # fmt: skip
numbers = st.decimals(0, 300, places=2).map(str)


def typed_with(fields, rows, base=""):
    typed = typed_from_sheet(base)
    typed.fields.update(fields)
    typed.rows = rows
    return typed


@pytest.mark.parametrize("text", TEXTS)
def test_untouched_is_unchanged(text):
    assert sheet_from_typed(text, typed_from_sheet(text), {}) == text


@given(
    st.dictionaries(st.sampled_from([k for k in SIMPLE if "measured" not in k]), words),
    st.fixed_dictionaries(
        {}, optional={"measured_yan_mg_l": numbers, "measured_ph": numbers, "measured": words}
    ),
    st.lists(
        st.fixed_dictionaries(
            {"kind": words, "amount": words, "stage": st.sampled_from(["primary", "late"])},
            optional=dict.fromkeys(ROW_NUMBERS, numbers),
        ),
        max_size=4,
    ),
)
def test_what_is_typed_comes_back(fields, measured, rows):
    typed = typed_with({**fields, **measured}, rows)
    text = sheet_from_typed("", typed, {})
    back = typed_from_sheet(text, typed.get("name"))
    for name in (*SIMPLE, "measured"):
        assert back.get(name) == typed.get(name).strip(), name
    assert len(back.rows) == len(rows)
    for was, now in zip(rows, back.rows, strict=True):
        assert {k: now[k] for k in was} == was
    assert sheet_from_typed(text, back, {}) == text


@given(st.sampled_from(TEXTS[:-1]), st.sampled_from(sorted(SIMPLE)), words)
def test_one_change_changes_one_thing(text, field, word):
    typed = typed_from_sheet(text)
    before = dict(typed.fields)
    typed.fields[field] = word
    back = typed_from_sheet(sheet_from_typed(text, typed, {}), typed.get("name"))
    assert back.fields == {**before, field: word}
    assert back.rows == typed.rows
    assert back.many == typed.many


def test_comments_and_entries_the_form_does_not_know_stay():
    typed = typed_from_sheet(ODD)
    typed.fields["volume"] = "20 L"
    typed.rows[0]["moisture_pct"] = "17.40"
    text = sheet_from_typed(ODD, typed, {})
    for kept in ("# kept", "# the big one", "# as much as it takes", "# about the water",
                 "calcium_note = 1", 'notes = "anything"', "brix = 24"):  # fmt: skip
        assert kept in text
    assert 'volume = "20 L"' in text
    assert "moisture_pct = 17.40" in text


@pytest.mark.parametrize(
    "text",
    ["must = 3", "[[must]]", "shelf = 1", "[must]\ningredient = [1]", "a = " + "[" * 3000, "[["],
)
def test_a_sheet_no_form_can_show_is_refused(text):
    with pytest.raises(InputError):
        typed_from_sheet(text)


def test_a_struck_row_goes_and_the_others_keep_their_comments():
    typed = typed_from_sheet(ODD)
    typed.rows[1]["strike"] = "1"
    typed.rows.append({"kind": "apple juice", "amount": "fill", "stage": "primary"})
    text = sheet_from_typed(ODD, typed, {})
    kinds = [one["kind"] for one in tomllib.loads(text)["must"]["ingredient"]]
    assert kinds == ["clover honey", "apple juice"]
    assert "# as much as it takes" in text
    assert "calcium_note = 1" in text


@pytest.mark.parametrize(
    ("target", "key", "value"),
    [("1.100", "gravity", "1.100"), ("24 Bx", "gravity", "24 Bx"), ("12 %", "alcohol", "12 %")],
)
def test_a_target_is_written_as_what_it_is(target, key, value):
    typed = typed_from_sheet(ODD)
    typed.fields["target"] = target
    must = tomllib.loads(sheet_from_typed(ODD, typed, {}))["must"]
    if target == "24 Bx":
        assert must["brix"] == 24  # the same as before: untouched
    else:
        assert must[key] == value
        assert "brix" not in must


def test_ticked_nutrients_are_copied_and_unticked_ones_go():
    typed = typed_from_sheet(ODD)
    assert typed.many["jar"] == ["autolysed_yeast", "dap", "complex_blend"]
    typed.many["jar"] = ["autolysed_yeast", "mine", "zinc_sulfate"]
    jars = {"mine": {"kind": "dap", "stock": "9 g"}}
    shelf = tomllib.loads(sheet_from_typed(ODD, typed, jars))["shelf"]
    assert shelf == {
        "autolysed_yeast": {"stock": "500 g", "price_per_kg": 38.0},
        "mine": {"kind": "dap", "stock": "9 g"},
        "zinc_sulfate": True,
    }


def test_the_cellars_shelf_means_none_in_the_sheet():
    typed = typed_from_sheet(ODD)
    typed.fields["shelf"] = "cellar"
    assert not tomllib.loads(sheet_from_typed(ODD, typed, {})).get("shelf")


def test_an_error_finds_its_field_past_rows_left_empty():
    typed = typed_with({}, [{"stage": "primary"}, {"kind": "gravel", "amount": "1 kg"}])
    assert kept_rows(typed) == [1]
    with pytest.raises(InputError) as error:
        read_sheet(sheet_from_typed("", typed, {}))
    assert form_field(error.value.field, typed) == "portion.1.kind"


@pytest.mark.parametrize(
    ("field", "shown"),
    [
        ("must.volume", "volume"),
        ("must.brix", "target"),
        ("must.alcohol", "target"),
        ("measured.gravity", "measured"),
        ("measured.yan_mg_l", "measured_yan_mg_l"),
        ("must.ingredient[0].moisture_pct", "portion.0.moisture_pct"),
        ("shelf.dap.stock", "shelf"),
        ("shelf.scale", "scale"),
        ("legal.profile", "profile"),
        ("protocol", ""),
    ],
)
def test_errors_stand_beside_their_fields(field, shown):
    assert form_field(field, typed_with({}, [{"kind": "honey"}])) == shown


def test_names_of_fields_and_rows_are_told_apart():
    typed = typed_from([("volume", "1"), ("portion.2.kind", "b"), ("portion.0.kind", "a"),
                        ("jar", "x"), ("jar", "y"), ("portion.x.kind", "z")])  # fmt: skip
    assert [row["kind"] for row in typed.rows] == ["a", "b"]
    assert typed.many["jar"] == ["x", "y"]
    assert typed.get("portion.x.kind") == "z"


IN_ENGLISH = """[must]
volume = "19 L"
gravity = "1.095"

[[must.ingredient]]
kind = "wildflower"
amount = "solve"

[[must.ingredient]]
kind = "water"
amount = "fill"
"""


def test_kinds_are_shown_and_taken_in_the_language_and_kept_in_english():
    german = language_called("de")
    with speaking(german):
        shown = with_amounts_to_choose(typed_from_sheet(IN_ENGLISH))
        kinds = [here(row["kind"]) for row in shown.rows]
        assert kinds == ["Blütenhonig (allgemein)", "Leitungswasser"]
        rows = [{**row, "kind": kind} for row, kind in zip(shown.rows, kinds, strict=True)] + [
            {"kind": "brombeere", "amount": "2 kg", "stage": "primary"}
        ]
        typed = with_chosen_amounts(TypedForm(shown.fields, rows, shown.many))
        kept = sheet_from_typed(IN_ENGLISH, typed, {})
    found = [one["kind"] for one in tomllib.loads(kept)["must"]["ingredient"]]
    assert found == ["wildflower", "water", "Blackberry"]


def test_an_unknown_kind_stays_as_it_was_typed():
    with speaking(language_called("de")):
        assert kind_kept("Kürbis") == "Kürbis"
    assert kind_kept("Kleehonig") == "Kleehonig"
