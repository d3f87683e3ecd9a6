"""A protocol's fields over its text, and a nutrient's label, written back without loss."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright import data
from mustwright.errors import InputError
from mustwright.nutrition.protocols import built_in_protocols, read_protocol
from mustwright.nutrition.shelf import read_nutrient
from mustwright.services.demo import demo_nutrients
from mustwright.web.forms.jar_form import NUMBERS, TEXT, jar_field, jar_from_typed, typed_from_jar
from mustwright.web.forms.protocol_form import (
    protocol_field,
    protocol_from_typed,
    typed_from_protocol,
)
from mustwright.web.forms.typed import TypedForm

IDS = sorted(built_in_protocols())


def text_of(identity):
    return data.text_of(f"protocols/{identity}")


@pytest.mark.parametrize("identity", IDS)
def test_an_untouched_protocol_is_unchanged(identity):
    text = text_of(identity)
    assert protocol_from_typed(text, typed_from_protocol(text)) == text


def test_fields_go_into_the_text_and_text_stays_where_no_field_changed():
    base = text_of("thirds_on_days_0_2_4")
    typed = typed_from_protocol(base)
    typed.fields["name"] = "Mine"
    typed.rows[0].update(when="after_pitch", amount="6 h")
    typed.rows[1]["nutrients"] = "organic, complex"
    typed.fields["text"] = base.replace('credit = "typical"', 'credit = "low"')
    protocol = read_protocol(protocol_from_typed(base, typed))
    assert protocol.name == "Mine"
    assert protocol.credit == "low"
    assert (protocol.feeds[0].trigger.kind, protocol.feeds[0].trigger.amount) == ("after_pitch", 6)
    assert protocol.feeds[1].nutrients == ("organic", "complex")
    assert protocol.feeds[2] == built_in_protocols()["thirds_on_days_0_2_4"].feeds[2]


def test_feeds_are_added_and_struck():
    base = text_of("halves_at_onset_and_third")
    typed = typed_from_protocol(base)
    typed.rows[1]["strike"] = "1"
    typed.rows.append(
        {"name": "New", "when": "sugar_used", "amount": "0.2", "share": "1/2", "nutrients": "any"}
    )
    protocol = read_protocol(protocol_from_typed(base, typed))
    assert [feed.name for feed in protocol.feeds] == ["Onset", "New"]
    assert protocol.feeds[1].share == 0.5
    assert protocol.feeds[1].trigger.amount == 0.2


def test_feeds_come_to_a_text_that_has_none():
    row = {"name": "One", "when": "onset", "amount": "", "share": "1", "nutrients": "any"}
    typed = TypedForm({"text": 'id = "mine"\n'}, [row])
    written = tomllib.loads(protocol_from_typed("", typed))
    assert written["feed"] == [{"name": "One", "when": "onset", "share": 1, "nutrients": ["any"]}]


@pytest.mark.parametrize(
    "text", ["feed = 1", "feed = [1]", "[feed]\nname = 'x'", "a = " + "[" * 3000]
)
def test_a_text_of_another_shape_is_refused(text):
    with pytest.raises(InputError):
        protocol_from_typed("", TypedForm({"text": text}))


def test_a_trigger_the_fields_cannot_say_stays_as_the_text_says():
    base = text_of("falling_parts_by_sugar_or_day")
    typed = typed_from_protocol(base)
    assert typed.rows[2]["when"] == "text"
    typed.rows[2]["name"] = "At last"
    protocol = read_protocol(protocol_from_typed(base, typed))
    assert (
        protocol.feeds[2].trigger
        == built_in_protocols()["falling_parts_by_sugar_or_day"].feeds[2].trigger
    )
    assert protocol.feeds[2].name == "At last"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"share": "0.9"}, "text"),
        ({"share": "lots"}, "feed.0.share"),
        ({"when": "after_pitch", "amount": "soon"}, "feed.0.amount"),
        ({"when": "after_pitch", "amount": ""}, "feed.0.amount"),
        ({"nutrients": "gravel"}, "feed.0.nutrients"),
    ],
)
def test_an_error_stands_beside_the_field_of_its_feed(changes, field):
    base = text_of("halves_at_onset_and_third")
    typed = typed_from_protocol(base)
    typed.rows[0].update(changes)
    with pytest.raises(InputError) as error:
        read_protocol(protocol_from_typed(base, typed))
    assert protocol_field(error.value.field) == field


@pytest.mark.parametrize(("identity", "text"), demo_nutrients())
def test_an_untouched_label_is_unchanged(identity, text):
    assert jar_from_typed(text, typed_from_jar(text)) == text
    assert read_nutrient(identity, tomllib.loads(text), "shelf.x").name == typed_from_jar(text).get(
        "name"
    )


@given(
    st.dictionaries(st.sampled_from(NUMBERS), st.decimals(0, 300, places=3).map(str)),
    st.sampled_from(["", "dap", "yeast_hulls"]),
)
def test_a_label_typed_comes_back(numbers, kind):
    typed = TypedForm(
        {**dict.fromkeys((*TEXT, *NUMBERS), ""), **numbers, "name": "Mine", "kind": kind}
    )
    text = jar_from_typed("", typed)
    assert typed_from_jar(text).fields == typed.fields
    assert jar_from_typed(text, typed_from_jar(text)) == text


@pytest.mark.parametrize(
    ("field", "shown"),
    [("shelf.dap.stock", "stock"), ("shelf.dap.amino_n_mg_g", "amino_n_mg_g"),
     ("shelf.dap", "kind"), ("shelf.dap.class", "kind"), ("shelf.dap.contains.x", "all")],
)  # fmt: skip
def test_an_error_on_a_label_finds_its_field(field, shown):
    assert jar_field(field) == shown
