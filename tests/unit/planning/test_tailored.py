"""The tailored plan: within every bound, found on other members, the same each time, and kept."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from musts import broken_limits, ground, sheet, sheets
from mustwright.errors import InputError
from mustwright.kinetics.ensemble_setting import SEED
from mustwright.nutrition.choose import STAGED_ABOVE, falls_short
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import read_protocol
from mustwright.planning import tailor_search
from mustwright.planning.acidity.plan_salt import salt_most, with_more_salt, with_salt
from mustwright.planning.plan import compare, plan
from mustwright.planning.plan_forecast import foresee_comparison
from mustwright.planning.plan_json import plan_data
from mustwright.planning.tailor_change import VARIED, variants_of, vary_called
from mustwright.planning.tailor_file import file_word
from mustwright.planning.tailor_space import FeedSpace
from mustwright.planning.tailored import stays_closed, tailor

pytestmark = pytest.mark.usefixtures("forecasts")
STRONG = tomlkit.dumps(
    sheet(
        "1.110",
        "19 L",
        shelf={"dap": {"price_per_kg": 8}, "autolysed_yeast": {"price_per_kg": 60}},
        legal={"profile": "us"},
    )
)
PROTOCOLS = ["staged_for_strong_musts", "halves_at_onset_and_third", "organic_only_by_sugar"]


@pytest.fixture(scope="module")
def compared():
    return foresee_comparison(compare(STRONG, PROTOCOLS))


@pytest.fixture(scope="module")
def found(compared):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tailor_search, "ROUNDS", 3)
        return tailor(compared)


def test_at_most_four_results_that_keep_every_bound_and_all_advice(compared, found):
    assert 1 <= len(found) <= 4
    names = " and ".join(one.name for one in found).split(" and ")
    assert set(names) <= {"surest", "quickest", "gentlest", "cheapest"}
    for one in found:
        assert broken_limits(one.plan, compared.ground.setting) == []
        assert not falls_short(one.plan)
        assert sum(bool(feed.items) for feed in one.plan.feeds) >= 2  # a must above 1.100
        whole = one.plan.nitrogen.added_mg_l.value
        assert max(feed.nitrogen_mg_l.value for feed in one.plan.feeds) <= 0.62 * whole
        assert one.plan.feeds[-1].amino_mg_l.value > 0


def test_each_says_what_is_gained_over_which_protocol_and_how_sure_that_is(compared, found):
    for one in found:
        assert one.against in PROTOCOLS
        assert one.gain.error.value >= 0
        name = next(p.protocol_name for p in compared.plans if p.protocol == one.against)
        assert f"“{name}”" in one.words
        assert one.is_real or "no real difference" in one.words
        assert not one.is_real or one.gain.value.value > one.gain.error.value


def test_results_are_judged_on_the_members_of_every_other_forecast(found):
    assert tailor_search.FOUND_SEED != SEED
    for one in found:
        told = foresee_plan_of(one.protocol_file)
        assert told.days_to_dry.value == one.outcome.days_to_dry.value
        assert told.chance_of_sticking.value == one.outcome.chance_of_sticking.value


def foresee_plan_of(text):
    protocol = read_protocol(text)
    kept = foresee_comparison(compare(STRONG, [protocol.id], {protocol.id: protocol}))
    return kept.outcomes[0]


def test_the_protocol_file_gives_the_same_feeds(found):
    for one in found:
        protocol = read_protocol(one.protocol_file)
        again = plan(STRONG, protocol.id, {protocol.id: protocol}).plan
        assert [f.items for f in again.feeds] == [f.items for f in one.plan.feeds]
        assert not again.missing


def test_json_has_feeds_outcome_and_gain(found, compared):
    data = plan_data(compared.of(compared.suits_best), tailored=found)
    for one in data["tailored"]:
        assert {"name", "feeds", "outcome", "gain", "against", "words", "protocol_file"} <= set(one)
        assert set(one["gain"]) == {"what", "value", "error"}


def test_the_same_seed_finds_the_same_and_it_can_be_stopped(compared, monkeypatch):
    monkeypatch.setattr(tailor_search, "ROUNDS", 1)
    monkeypatch.setattr(tailor_search, "POINTS", 8)
    told = []

    def to_the_end(part):
        told.append(part)
        return True

    one, other = tailor(compared, to_the_end, 64), tailor(compared, members=64)
    assert [t.protocol_file for t in one] == [t.protocol_file for t in other]
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert tailor(compared, lambda part: part < 0.4) is None


def test_where_nothing_need_be_fed_nothing_is_tailored():
    rich = tomlkit.dumps(sheet("1.060", "10 L", measured={"yan_mg_l": 400}))
    assert tailor(foresee_comparison(compare(rich, PROTOCOLS))) == ()


@cases(60)
@given(sheets(), st.integers(0, 2**32 - 1))
def test_every_point_keeps_law_label_stock_and_scale(content, seed):
    setting = ground(content).setting
    space = FeedSpace(setting, 150.0, [file_word(jar, setting) for jar in setting.jars])
    if not space.jars:
        return
    point = 2 * np.random.Generator(np.random.Philox(seed)).standard_normal(space.size)
    feeds = space.decode(point)
    if setting.must.gravity.value > STAGED_ABOVE:
        assert len(feeds) != 1
    assert [f.sugar_used for f in feeds] == sorted(f.sugar_used for f in feeds)
    assert all(0 <= f.sugar_used <= 1 / 3 for f in feeds)
    given_g = Counter()
    for feed in feeds:
        for jar, grams in zip(space.jars, feed.grams, strict=True):
            given_g[jar.id] += grams
            assert abs(grams / space.step_g - round(grams / space.step_g)) < 1e-6
    for one in space.bounds:
        amount = sum(
            weight * given_g[jar.id] for jar, weight in zip(space.jars, one.weights, strict=True)
        )
        assert amount / space.volume_l <= one.most * (1 + 1e-6) + 1e-9, one.words


def test_a_jar_no_protocol_file_can_name_stays_out():
    content = sheet("1.100", shelf={"my_own_mix": {"amino_n_mg_g": 80}, "dap": True})
    setting = ground(content).setting
    words = {jar.id: file_word(jar, setting) for jar in setting.jars}
    assert words["dap"] == "dap"
    for jar in setting.jars:
        if words[jar.id]:
            protocol = read_protocol(
                'id = "one_jar"\nname = "One"\naccount = "One jar."\nassumes = ["A test."]\n'
                'source = "invented"\n[dose]\nbasis = "rate"\n[[feed]]\nwhen = "onset"\n'
                f'rate = {{ {words[jar.id]} = "0.1 g/L" }}\n'
            )
            items = plan_feeding(setting, protocol).feeds[0].items
            assert [item.nutrient for item in items] == [jar.id]


@pytest.fixture
def brief(monkeypatch):
    """A search short enough for a test; what it keeps to does not depend on its length."""
    monkeypatch.setattr(tailor_search, "ROUNDS", 1)
    monkeypatch.setattr(tailor_search, "POINTS", 8)


@pytest.mark.usefixtures("brief")
def test_what_is_opened_is_changed_named_and_costed_and_nothing_else_is(compared):
    closed = tailor(compared, members=64)
    assert all(one.changes == () and one.ground is compared.ground for one in closed)
    opened = tailor(compared, members=64, vary=VARIED)
    assert any(one.changes for one in opened)
    for one in opened:
        assert len({change.name for change in one.changes}) == len(one.changes)
        assert broken_limits(one.plan, one.ground.setting) == []
        before, after = compared.ground.sheet, one.ground.sheet
        low, high = after.strain.temperature_low_c, after.strain.temperature_high_c
        assert low <= after.temperature_c <= high
        named = {change.name for change in one.changes}
        assert ("yeast" in named) == (after.strain.id != before.strain.id)
        assert ("temperature" in named) == (after.temperature_c != before.temperature_c)
        less = compared.ground.must.gravity.value - one.ground.must.gravity.value
        assert ("gravity" in named) == (less > 5e-4)
        assert less <= 0.0105
        for change in one.changes:
            assert change.change in one.words
            assert change.cost in one.words
            assert f"Changed for it: {change.change}." in read_protocol(one.protocol_file).assumes
        assert not one.changes or "on the must as it is" in one.words
    data = plan_data(compared.of(compared.suits_best), tailored=opened)["tailored"]
    assert {"name", "change", "cost"} == set(
        next(change for one in data for change in one["changes"])
    )


@pytest.mark.parametrize("wrong", ["honey", "yeast,colour"])
def test_only_what_can_change_may_be_opened(wrong):
    with pytest.raises(InputError, match="yeast, gravity, temperature, salt"):
        vary_called(wrong)


def test_what_a_sheet_rules_out_is_said():
    text = STRONG.replace('amount = "solve"', 'amount = "6 kg"').replace('gravity = "1.110"', "")
    steps = 'temperature_steps = [["0 h", "20 C"], ["72 h", "16 C"]]'
    text = text.replace('temperature = "20 C"', steps)
    text = text.replace("[shelf]", '[shelf.zinc]\nclass = "zinc_sulfate"\n\n[shelf]')
    ground_of_it = compare(text, PROTOCOLS[:1]).ground
    said = " ".join(stays_closed(ground_of_it, VARIED))
    assert "The gravity stays" in said
    assert "The temperature stays" in said
    assert {one.kind for one in variants_of(ground_of_it, VARIED)[0]} == {"", "yeast"}


@pytest.mark.usefixtures("brief")
def test_a_jar_of_no_generic_kind_is_fed_by_its_own_name():
    """Two own powders of one group: a group would mean the first alone."""
    own = {
        "plain_powder": {"amino_n_mg_g": 40, "label_max_g_l": 0.1},
        "other_powder": {"amino_n_mg_g": 60, "label_max_g_l": 2},
    }
    text = tomlkit.dumps(sheet("1.080", "10 L", shelf=own))
    compared = foresee_comparison(compare(text, ["organic_only_by_sugar"]), 64)
    found = tailor(compared, members=64)
    assert found
    for one in found:
        assert "other_powder" in one.plan.products
        assert '"shelf:other_powder"' in one.protocol_file
        again = read_protocol(one.protocol_file)
        feeds = plan_feeding(compared.ground.setting, again).feeds
        assert [f.items for f in feeds] == [f.items for f in one.plan.feeds]
    assert stays_closed(compared.ground, ()) == ()


def test_more_salt_than_the_ph_asks_for_stays_within_its_bounds_and_never_overshoots():
    text = tomlkit.dumps(sheet("1.100", "20 L", shelf={"dap": True}, measured={"ph": 3.4}))
    result = plan(text, "thirds_on_days_0_2_4")
    salt, most = salt_most(result.ground)
    needed = with_salt(result.ground, result.plan)
    for part in (0.0, 0.3, 1.0):
        more = with_more_salt(result.ground, needed, part * most)
        g_l = more.salt.g_per_l.value
        assert needed.salt.g_per_l.value <= g_l <= most + 1e-9
        if more is not needed:
            assert g_l == pytest.approx(part * most, abs=0.1 / 20 + 1e-9)
            assert more.salt.salt == salt.id
    sweet = tomlkit.dumps(sheet("1.100", "20 L", shelf={"dap": True}, measured={"ph": 4.6}))
    high = plan(sweet, "organic_only_by_sugar")
    bare = with_salt(high.ground, high.plan)
    assert with_more_salt(high.ground, bare, most) is bare
