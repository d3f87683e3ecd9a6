"""The plan it recommends, from outside: within law, not short, staged where strong, and steady."""

from __future__ import annotations

from dataclasses import replace

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from cases import cases, some_of
from musts import broken_limits, sheet, sheets
from mustwright.errors import InputError, validity_notes
from mustwright.must.acidity.salts import all_salts
from mustwright.nutrition.choose import SHORT_MG_L, STAGED_ABOVE, falls_short
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.programme import COST_SLACK
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.nutrition.shelf import Shelf
from mustwright.planning.kinetic_inputs import nothing_to_ferment
from mustwright.planning.must_setup import Ground, lay_ground
from mustwright.planning.plan import compare, compare_on
from mustwright.planning.plan_forecast import foresee_comparison, recommended
from mustwright.planning.plan_result import Comparison
from mustwright.planning.ranking import aim_called, aims
from mustwright.planning.sheet import sheet_from

pytestmark = pytest.mark.usefixtures("forecasts")
TWO_JARS = {"dap": True, "autolysed_yeast": True}
STRONG = [("1.100", TWO_JARS), ("1.120", TWO_JARS), ("1.150", TWO_JARS)]
DEFAULT = [(g, None) for g in ("1.050", "1.070", "1.090", "1.101", "1.120", "1.150")]
MEMBERS = 64


def text_of(gravity, shelf):
    tables = {} if shelf is None else {"shelf": shelf}
    return tomlkit.dumps(sheet(gravity, "19 L", legal={"profile": "us"}, **tables))


@pytest.mark.parametrize(("gravity", "shelf"), some_of([*STRONG, *DEFAULT]))
def test_the_pick_is_lawful_not_short_and_in_parts_where_the_must_is_strong(gravity, shelf):
    text = text_of(gravity, shelf)
    found = recommended(text)
    plan = found.plan
    assert plan.feasible
    assert broken_limits(plan, found.ground.setting) == []
    others = compare(text)
    if not all(falls_short(one) for one in others.plans):
        assert plan.nitrogen.short_mg_l.value <= 5
    if float(gravity) > 1.100:
        assert sum(bool(feed.items) for feed in plan.feeds) >= 2
    assert foresee_comparison(others).suits_best == plan.protocol


def built(content, aim=None) -> Ground:
    with validity_notes():
        ground = lay_ground(sheet_from(content))
    if aim is None:
        return ground
    return replace(ground, sheet=replace(ground.sheet, aim=aim_called(aim)))


def foreseen(ground: Ground) -> Comparison:
    bare = compare_on(ground, {})
    return bare if nothing_to_ferment(ground) else foresee_comparison(bare, MEMBERS)


@st.composite
def advised(draw):
    """A sheet that may take its typed labels for advice."""
    content = draw(sheets())
    return {
        **content,
        "legal": {**content["legal"], "labels": draw(st.sampled_from(["bind", "advise"]))},
    }


@pytest.mark.thorough
@cases(12)
@given(advised(), st.sampled_from(sorted(aims())))
def test_the_pick_keeps_law_label_and_stock_and_never_goes_against_its_own_advice(content, aim):
    ground = built(content, aim)
    found = foreseen(ground)
    pick = found.plans[found.ranked.pick]
    for plan in found.plans:
        assert broken_limits(plan, ground.setting) == []
        assert salt_is_allowed(plan, ground)
    least = min(verdict.faults for verdict in found.verdicts)
    assert found.verdicts[found.ranked.pick].faults == least
    if pick.nitrogen.short_mg_l.value > SHORT_MG_L:
        assert all(falls_short(plan) for plan in found.plans)
    strong = ground.setting.must.gravity.value > STAGED_ABOVE
    given_ = [sum(bool(feed.items) for feed in plan.feeds) for plan in found.plans]
    fits = [
        not falls_short(plan)
        and (count >= 2 or not strong or plan.nitrogen.added_mg_l.value <= 0)
        and not made_for_others(plan.protocol, ground)
        for plan, count in zip(found.plans, given_, strict=True)
    ]
    assert fits[found.ranked.pick] or not any(fits)
    assert found.ranked.groups[found.ranked.pick] == 1


def salt_is_allowed(plan, ground):
    """Within the planning maximum, and the stock and label of a jar of it."""
    salt, litres = plan.salt, ground.setting.must.volume_l.value
    if salt is None:
        return True
    parts = sum(part.grams.value for part in salt.parts)
    jars = [jar for jar in ground.sheet.shelf.nutrients if jar.class_id == salt.salt]
    held = [jar.stock_g for jar in jars[:1] if jar.stock_g is not None]
    most = all_salts()[salt.salt].max_g_l * litres
    return parts <= min([most, *held]) + 1e-6 and (parts > 0) == bool(salt.parts)


def made_for_others(protocol, ground):
    low, high = built_in_protocols()[protocol].suits_gravity
    fruit = built_in_protocols()[protocol].suits_fruit
    gravity = ground.setting.must.gravity.value
    return not low - 5e-4 <= gravity <= high + 5e-4 or fruit not in (None, ground.fruit)


@pytest.mark.thorough
@cases(5)
@given(sheets(), st.sampled_from(sorted(aims())))
def test_the_same_seed_gives_the_same_pick(content, aim):
    one, other = (foreseen(built(content, aim)) for _ in range(2))
    assert one.ranked == other.ranked
    assert one.plans == other.plans


PRICES = st.dictionaries(
    st.sampled_from(["dap", "autolysed_yeast", "complex_blend", "inactivated_yeast"]),
    st.floats(1, 200).map(lambda price: {"price_per_kg": round(price, 2)}),
    min_size=2,
)


@cases(25)
@given(PRICES, st.floats(0.05, 1), st.data(), st.sampled_from(["1.070", "1.100", "1.130"]))
def test_a_cheaper_jar_never_raises_the_cost(shelf, part, data, gravity):
    """But for the share that fewer products may cost more, and a step of the scale a jar."""
    setting = built(sheet(gravity, "20 L", shelf={**shelf, "scale": "0.001 g"})).setting
    cheaper = data.draw(st.sampled_from(sorted(shelf)))
    protocol = built_in_protocols()[data.draw(st.sampled_from(sorted(built_in_protocols())))]
    jars = tuple(
        replace(jar, price_per_kg=jar.price_per_kg * part) if jar.id == cheaper else jar
        for jar in setting.shelf.nutrients
    )
    after = replace(setting, shelf=Shelf(jars, setting.shelf.scale_g))
    dear, cheap = (plan_feeding(one, protocol).cost for one in (setting, after))
    assert dear is not None
    assert cheap is not None
    step = 0.001 * sum(jar.price_per_kg / 1000 for jar in setting.shelf.for_ferment) * 6
    assert cheap.value <= dear.value * (1 + COST_SLACK) + step


def test_who_follows_the_author_gets_what_he_wrote_within_the_law():
    shelf = {"dap": {"label_max_g_l": 0.2}, "autolysed_yeast": "10 g"}
    text = tomlkit.dumps(sheet("1.110", "19 L", shelf=shelf, legal={"profile": "us"}))
    wish = text + '\n[goal]\nprotocols = "as_written"\n'
    fitted = compare(text)
    asked, sheet_asks = compare(text, as_written=True), compare(wish)
    assert asked.plans == sheet_asks.plans
    assert asked.ground.sheet.follow_author
    assert not fitted.ground.sheet.follow_author
    for plan, before in zip(asked.plans, fitted.plans, strict=True):
        law = [words for words in broken_limits(plan, asked.ground.setting) if "us " in words]
        assert law == []
        if not [b for b in before.as_written.breaches if b.limit.startswith("limit:")]:
            for given_feed, author in zip(plan.feeds, plan.as_written.feeds, strict=True):
                if not plan.missing:
                    assert given_feed.nitrogen_mg_l.value == pytest.approx(
                        author.nitrogen_mg_l.value, abs=2
                    )


def test_a_wish_that_is_not_known_is_refused():
    text = text_of("1.100", TWO_JARS) + '\n[goal]\nprotocols = "loosely"\n'
    with pytest.raises(InputError, match=r"goal.protocols.*as_written"):
        compare(text)
