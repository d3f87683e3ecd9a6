"""Protocol files: built-in ones stand, each wrong field is named, garbage is refused in words."""

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from musts import protocol_data, protocols
from mustwright.errors import InputError, MustwrightError, UnknownKindError
from mustwright.nutrition.protocols import (
    built_in_protocols,
    protocol_called,
    protocol_from,
    read_protocol,
)


def changed(path, value):
    """Data of a valid protocol with one place changed; None takes it out."""
    data = copy.deepcopy(protocol_data())
    place = data
    *way, last = path
    for key in way:
        place = place.setdefault(key, {}) if isinstance(place, dict) else place[key]
    if value is None:
        place.pop(last, None)
    else:
        place[last] = value
    return data


@pytest.mark.parametrize("identity", sorted(built_in_protocols()))
def test_built_in_protocols_account_for_themselves(identity):
    found = built_in_protocols()[identity]
    assert found.built_in
    assert len(found.account) > 40
    assert found.assumes
    assert found.source.startswith(("common practice, no source", "from memory", "AWRI_YAN"))
    if found.basis != "rate" and found.feeds:
        assert sum(feed.share for feed in found.feeds) == pytest.approx(1, abs=0.005)


RATE = {"basis": "rate"}


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        (("id",), "My Protocol", "id"),
        (("id",), "ab", "id"),
        (("id",), None, "id"),
        (("id",), "a" * 49, "id"),
        (("name",), "", "name"),
        (("name",), 3, "name"),
        (("name",), "x" * 81, "name"),
        (("account",), None, "account"),
        (("assumes",), [], "assumes"),
        (("assumes",), "text", "assumes"),
        (("assumes",), [3], "assumes"),
        (("source",), None, "source"),
        (("colour",), 1, "protocol.colour"),
        (("dose",), 3, "protocol.dose"),
        (("dose", "basis"), "moon", "dose.basis"),
        (("dose", "credit"), "all", "dose.credit"),
        (("dose", "rule"), "by_moon", "dose.rule"),
        (("dose", "rule"), 3, "dose.rule"),
        (("dose", "fraction"), 0, "dose.fraction"),
        (("dose", "fraction"), True, "dose.fraction"),
        (("dose", "fraction"), float("nan"), "dose.fraction"),
        (("dose", "ammonium_share_max"), 1.1, "dose.ammonium_share_max"),
        (("dose", "at_sugar"), "3 kg", "dose.at_sugar"),
        (("dose", "at_sugar"), "80 Bx", "dose.at_sugar"),
        (("dose", "at_sugar"), "24", "dose.at_sugar"),
        (("dose", "colour"), 1, "dose.colour"),
        (("suits",), [], "protocol.suits"),
        (("suits", "gravity"), ["1.1"], "suits.gravity"),
        (("suits", "gravity"), ["1.1", "1.05"], "suits.gravity"),
        (("suits", "gravity"), ["1.05 kg", "1.1 L"], "suits.gravity"),
        (("suits", "fruit"), "yes", "suits.fruit"),
        (("suits", "moon"), 1, "suits.moon"),
        (("conditions",), 3, "protocol.conditions"),
        (("conditions", "moon"), 3, "conditions.moon"),
        (("conditions", "ammonium_until_sugar_used"), 2, "conditions.ammonium_until_sugar_used"),
        (("conditions", "ammonium_until_alcohol"), "9 L", "conditions.ammonium_until_alcohol"),
        (("conditions", "ammonium_until_alcohol"), "0 %", "conditions.ammonium_until_alcohol"),
        (("conditions", "last_feed_without_ammonium_salt"), 1,
         "conditions.last_feed_without_ammonium_salt"),
        (("conditions", "nothing_after_sugar_used"), "x", "conditions.nothing_after_sugar_used"),
        (("feed",), [], "feed"),
        (("feed",), None, "feed"),
        (("feed",), "x", "feed"),
        (("feed",), [3], "feed[0]"),
        (("feed", 0, "share"), 0.6, "feed.share"),
        (("feed", 0, "share"), 0, "feed[0].share"),
        (("feed", 0, "share"), "1/0", "feed[0].share"),
        (("feed", 0, "share"), None, "feed[0].share"),
        (("feed", 0, "name"), 3, "feed[0].name"),
        (("feed", 0, "moon"), 3, "feed[0].moon"),
        (("feed", 0, "nutrients"), [], "feed[0].nutrients"),
        (("feed", 0, "nutrients"), "any", "feed[0].nutrients"),
        (("feed", 0, "nutrients"), ["sand"], "feed[0].nutrients"),
        (("feed", 0, "nutrients"), [["any"]], "feed[0].nutrients"),
        (("feed", 0, "rate"), {"dap": "1 g/L"}, "feed[0].rate"),
        (("feed", 0, "ammonium_share_max"), -1, "feed[0].ammonium_share_max"),
        (("feed", 0, "when"), None, "feed[0].when"),
        (("feed", 0, "when"), "moonrise", "feed[0].when"),
        (("feed", 0, "when"), {"after_pitch": "-2 h"}, "feed[0].when.after_pitch"),
        (("feed", 0, "when"), {"after_pitch": "5 kg"}, "feed[0].when.after_pitch"),
        (("feed", 0, "when"), {"sugar_used": 1}, "feed[0].when.sugar_used"),
        (("feed", 0, "when"), {"gravity_drop": "5 kg"}, "feed[0].when.gravity_drop"),
        (("feed", 0, "when"), {"brix_drop": "0 Bx"}, "feed[0].when.brix_drop"),
        (("feed", 0, "when"), {"first_of": ["pitch"]}, "feed[0].when.first_of"),
        (("feed", 0, "when"), {"first_of": ["pitch", {"first_of": ["pitch", "onset"]}]},
         "feed[0].when.first_of"),
        (("feed", 0, "when"), {"sugar_used": 0.2, "after_pitch": "2 h"}, "feed[0].when"),
    ],
)  # fmt: skip
def test_each_error_names_its_field(path, value, field):
    with pytest.raises(InputError) as error:
        protocol_from(changed(path, value))
    assert error.value.field == field
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("rate", "field"),
    [
        ({}, "feed[0].rate"),
        ("x", "feed[0].rate"),
        ({"sand": "1 g/L"}, "feed[0].rate"),
        ({"dap": "1 kg"}, "feed[0].rate.dap"),
        ({"dap": []}, "feed[0].rate.dap"),
        ({"dap": ["1 g/L", "2 g/L", "3 g/L"]}, "feed[0].rate.dap"),
        ({"dap": "0 g/L"}, "feed[0].rate.dap"),
    ],
)
def test_each_error_of_a_rate_names_its_field(rate, field):
    data = protocol_data() | {"dose": RATE, "feed": [{"when": "pitch", "rate": rate}]}
    with pytest.raises(InputError) as error:
        protocol_from(data)
    assert error.value.field == field


def test_a_rate_pair_in_any_order_means_its_middle():
    data = protocol_data() | {
        "dose": RATE,
        "feed": [{"when": "pitch", "rate": {"dap": ["2 g/US gal", "1.5 g/US gal"]}}],
    }
    (rate,) = protocol_from(data).feeds[0].rates
    assert rate.typical_g_l == pytest.approx(1.75 / 3.785411784)


@pytest.mark.parametrize("share", ["1/2", 0.5, " 1 / 2 "])
def test_a_share_as_people_write_it(share):
    assert protocol_from(changed(("feed", 0, "share"), share)).feeds[0].share == 0.5


@pytest.mark.parametrize("text", ["", "id = ", "[[[", "id = " + "9" * 5000, "a=" + "[" * 3000])
def test_text_that_is_no_protocol(text):
    with pytest.raises(InputError):
        read_protocol(text)


def test_an_unknown_id_lists_the_known():
    with pytest.raises(UnknownKindError, match="halves_at_onset_and_third"):
        protocol_called("by_moon", {})


WHATEVER = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20),
    st.lists(st.text(max_size=5) | st.floats(), max_size=3),
    st.dictionaries(st.text(max_size=6), st.text(max_size=6) | st.floats(), max_size=2),
)  # fmt: skip
PLACES = [
    ("id",), ("name",), ("account",), ("assumes",), ("source",), ("dose",), ("dose", "basis"),
    ("dose", "rule"), ("dose", "fraction"), ("dose", "at_sugar"), ("suits",), ("suits", "gravity"),
    ("conditions",), ("conditions", "ammonium_until_alcohol"), ("feed",), ("feed", 0, "when"),
    ("feed", 0, "share"), ("feed", 0, "nutrients"), ("feed", 0, "name"), ("feed", 1, "rate"),
]  # fmt: skip


@cases(1000)
@given(st.sampled_from(PLACES), WHATEVER)
def test_garbage_in_any_place_is_refused_in_words(path, value):
    refused = None
    try:
        found = protocol_from(changed(path, value))
    except MustwrightError as error:
        refused = str(error)
    assert refused or found.feeds


@cases(500)
@given(st.text(max_size=200))
def test_random_text_is_refused_in_words(text):
    with pytest.raises(MustwrightError):
        read_protocol(text)


@cases(200)
@given(protocols())
def test_random_valid_protocols_are_read(data):
    found = protocol_from(data)
    assert len(found.feeds) == len(data["feed"])
    for feed, written in zip(found.feeds, data["feed"], strict=True):
        again = protocol_from(
            protocol_data() | {"feed": [{"when": feed.trigger.as_data(), "share": 1.0}]}
        )
        assert again.feeds[0].trigger.amount == pytest.approx(feed.trigger.amount, rel=1e-4)
        assert again.feeds[0].trigger.kind == feed.trigger.kind
        assert feed.name == written["name"]
