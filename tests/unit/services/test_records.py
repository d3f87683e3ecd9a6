"""Use cases on what is kept: which shelf a must is planned with, own protocols, what comes next."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime

import pytest

from fake_cellar import FakeCellar
from mustwright import data
from mustwright.errors import ConflictError, InputError, UnknownKindError
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.planning import plan_text as say
from mustwright.planning.plan import plan
from mustwright.services import records as use
from mustwright.services.cached_forecasts import outlooks
from mustwright.services.own_protocols import save_protocol

SHEET = """# a comment
[must]
volume = "10 L"
gravity = "1.090"
temperature = "20 C"
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
amount = "5 g"
"""
OWN_SHELF = SHEET + '[shelf]\nautolysed_yeast = "500 g"\n'


@pytest.fixture
def cellar():
    made = FakeCellar(lambda: datetime(2031, 5, 1, tzinfo=UTC))
    made.save("nutrient", "dap", 'kind = "dap"\nstock = "3 g"\n', None)
    made.save("nutrient", "my_yeast_food", 'kind = "autolysed yeast"\nname = "Mine"\n', None)
    return made


def own_text(identity="twice", name="Twice a day"):
    text = data.text_of("protocols/halves_at_onset_and_third")
    text = text.replace('id = "halves_at_onset_and_third"', f'id = "{identity}"')
    return text.replace("Half at onset, half at the one-third break", name)


def products(result):
    return {item.nutrient for feed in result.plan.feeds for item in feed.items}


def test_a_sheet_without_nutrients_takes_the_cellars_shelf_and_its_stock(cellar):
    result = use.plan_text(cellar, SHEET, "x", "everything_at_pitch")
    assert products(result) == {"dap", "my_yeast_food"}
    grams = sum(i.grams.value for f in result.plan.feeds for i in f.items if i.nutrient == "dap")
    assert 0 < grams <= 3


def test_a_sheet_with_nutrients_of_its_own_keeps_to_them(cellar):
    assert use.sheet_with_shelf(OWN_SHELF, cellar.records("nutrient")) == OWN_SHELF
    assert products(use.plan_text(cellar, OWN_SHELF, "x", "everything_at_pitch")) == {
        "autolysed_yeast"
    }


def test_a_scale_alone_is_no_shelf(cellar):
    text = use.sheet_with_shelf(SHEET + '[shelf]\nscale = "1 g"\n', cellar.records("nutrient"))
    assert set(tomllib.loads(text)["shelf"]) == {"scale", "dap", "my_yeast_food"}


def test_an_empty_cellar_leaves_the_generic_shelf():
    empty = FakeCellar(lambda: datetime(2031, 5, 1, tzinfo=UTC))
    assert use.sheet_with_shelf(SHEET, empty.records("nutrient")) == SHEET


def test_the_plan_is_the_one_the_planner_makes_of_the_same_text(cellar):
    text = use.sheet_with_shelf(SHEET, cellar.records("nutrient"))
    for protocol in (None, "thirds_on_days_0_2_4"):
        ours, theirs = use.plan_text(cellar, SHEET, "x", protocol), plan(text, protocol, None, "x")
        assert ours.plan.protocol == theirs.plan.protocol
        assert ours.chosen == theirs.chosen
        assert ours.warnings == theirs.warnings
        assert ours.verdict == theirs.verdict


def test_a_changed_shelf_changes_the_plan(cellar):
    def grams_of_dap():
        plan = use.plan_text(cellar, SHEET, "x", "everything_at_pitch").plan
        return sum(i.grams.value for f in plan.feeds for i in f.items if i.nutrient == "dap")

    before = grams_of_dap()
    use.save_jar(cellar, "dap", "dap", 'kind = "dap"\nstock = "300 g"\n', 1)
    assert grams_of_dap() > before + 0.5


def test_comparing_some_picks_the_best_of_those(cellar):
    some = ["label_rate_days_1_2_3", "floor_and_no_more"]
    result = use.compare_text(cellar, SHEET, "x", some)
    assert sorted(p.protocol for p in result.plans) == sorted(some)
    assert result.suits_best in some
    assert len(use.compare_text(cellar, SHEET, "x").plans) == len(built_in_protocols())
    with pytest.raises(UnknownKindError):
        use.compare_text(cellar, SHEET, "x", ["nonesuch"])


def test_own_protocols_join_the_comparison(cellar):
    save_protocol(cellar, own_text(), None)
    assert "twice" in [p.protocol for p in use.compare_text(cellar, SHEET, "x").plans]
    assert use.plan_text(cellar, SHEET, "x", "twice").plan.protocol_name == "Twice a day"


@pytest.mark.parametrize(
    ("text", "field"),
    [
        (own_text("halves_at_onset_and_third"), "id"),
        (own_text("Twice"), "id"),
        (own_text().replace("share = 0.5", "share = 0.6"), "feed.share"),
        ("not [toml", "protocol"),
    ],
)
def test_a_protocol_that_cannot_be_used_is_not_kept(cellar, text, field):
    with pytest.raises(InputError) as error:
        save_protocol(cellar, text, None)
    assert error.value.field == field
    assert cellar.records("protocol") == []


def test_a_protocol_keeps_its_id_and_its_neighbours(cellar):
    save_protocol(cellar, own_text(), None)
    with pytest.raises(InputError, match="kept"):
        save_protocol(cellar, own_text(), None)
    with pytest.raises(InputError, match="stay twice"):
        save_protocol(cellar, own_text("thrice"), 1, "twice")
    with pytest.raises(ConflictError):
        save_protocol(cellar, own_text(), 9, "twice")


def test_a_jar_gets_an_id_of_its_own_that_is_no_setting(cellar):
    facts = "ammonium_n_mg_g = 0\namino_n_mg_g = 60\n"
    assert use.save_jar(cellar, None, "Scale", facts, None).key not in ("scale", "nutrient")
    first = use.save_jar(cellar, None, "Bread yeast", facts, None)
    assert first.key == "bread_yeast"
    assert use.save_jar(cellar, None, "Bread yeast", facts, None).key == "bread_yeast_2"


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ('kind = "dap"\nstock = "some"\n', "stock"),
        ('kind = "dap"\nammonium_n_mg_g = 1200\n', "ammonium_n_mg_g"),
        ('kind = "gravel"\n', "shelf.dap"),
    ],
)
def test_a_label_that_cannot_be_read_is_refused_by_field(cellar, text, field):
    with pytest.raises(InputError) as error:
        use.save_jar(cellar, "dap", "dap", text, 1)
    assert field in error.value.field
    assert cellar.record("nutrient", "dap").version == 1


def test_a_sheet_that_cannot_be_planned_is_not_kept(cellar):
    with pytest.raises(InputError):
        use.save_sheet(cellar, None, "x", SHEET.replace('"solve"', '"1 kg"'), None)
    with pytest.raises(InputError) as error:
        use.save_sheet(cellar, None, " ", SHEET, None)
    assert error.value.field == "must.name"
    assert cellar.records("sheet") == []


def test_no_record_takes_the_address_where_new_ones_are_made(cellar):
    assert use.save_sheet(cellar, None, "New", SHEET, None).key == "new-must"
    assert use.save_sheet(cellar, None, "new!", SHEET, None).key == "new-must-2"
    assert use.save_jar(cellar, None, "New", 'kind = "dap"\nname = "New"\n', None).key != "new"
    with pytest.raises(InputError):
        save_protocol(cellar, own_text("new"), None)


def test_a_kept_sheet_that_cannot_be_planned_says_why(cellar):
    cellar.save("sheet", "bad", SHEET.replace("1.090", "1.900"), None, "Bad")
    (record,) = cellar.records("sheet")
    (look,) = outlooks(cellar, [record])
    assert look.result is None
    assert look.error.field == "must.gravity"


def test_what_is_next_follows_what_was_measured(cellar):
    result = use.plan_text(cellar, SHEET, "x")
    kinds = [kind for kind, _ in say.next_steps(result, say.is_mixed(SHEET))]
    assert kinds == ["mix", "pitch", "feed"]
    mixed = SHEET + '[measured]\ngravity = "1.088"\n'
    assert say.is_mixed(mixed)
    result = use.plan_text(cellar, mixed, "x")
    assert [kind for kind, _ in say.next_steps(result, True)] == ["pitch", "feed"]


def test_the_one_third_break_stands_where_the_plan_put_its_feed(cellar):
    result = use.plan_text(cellar, SHEET, "x", "halves_at_onset_and_third")
    feed = result.plan.feeds[1]
    assert say.third_break(result, result.plan).value == pytest.approx(
        feed.expected_h.value, rel=1e-3
    )
    by_clock = use.plan_text(cellar, SHEET, "x", "thirds_on_days_0_2_4")
    third = say.third_break(by_clock, by_clock.plan)
    assert third.low < third.value < third.high


def test_names_keep_their_capitals_only_where_they_are_abbreviations():
    assert say.in_sentence("Clover honey") == "clover honey"
    assert say.in_sentence("DAP of mine") == "DAP of mine"
