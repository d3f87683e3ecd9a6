"""What may be recommended: nothing that falls short, is unstaged, or was made for other musts."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases, some_of
from musts import sheet, sheets
from mustwright.nutrition.choose import best, by_practice, candidates, falls_short, feeds_wanted
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.planning.must_setup import lay_ground
from mustwright.planning.plan import _compare
from mustwright.planning.sheet import sheet_from

FRUIT = ({"kind": "raspberries", "amount": "4 kg"},)
PLENTY = {"autolysed_yeast": {"label_max_g_l": 3.0}, "dap": True, "complex_blend": True}
TWO_JARS = {"dap": True, "autolysed_yeast": True}
SHELVES = [None, PLENTY, TWO_JARS, {"complex_blend": True}]
GRAVITIES = ["1.050", "1.080", "1.105", "1.120", "1.150"]
WAYS = product(GRAVITIES, SHELVES, ["home", "us"])
STRONG = ["1.130", "1.140", "1.155", "1.170"]
AMMONIUM_TOO = [*SHELVES, {"dap": True}]


def compared(gravity, shelf=None, more=(), **tables):
    content = sheet(gravity, "20 L", more=more, shelf=shelf or {}, **tables)
    return _compare(lay_ground(sheet_from(content)), list(built_in_protocols().values()))


def chosen(comparison):
    return next(p for p in comparison.plans if p.protocol == comparison.suits_best)


@pytest.mark.parametrize(("gravity", "shelf", "profile"), some_of(list(WAYS), 7))
def test_the_pick_is_one_that_can_be_fed_and_was_made_for_this_must(gravity, shelf, profile):
    comparison = compared(gravity, shelf, legal={"profile": profile})
    pick = chosen(comparison)
    if not all(falls_short(plan) for plan in comparison.plans):
        assert pick.nitrogen.short_mg_l.value <= 5
        assert pick.feasible
    if float(gravity) > 1.100:
        assert sum(bool(feed.items) for feed in pick.feeds) >= 2
    low, high = built_in_protocols()[pick.protocol].suits_gravity
    assert low <= float(gravity) <= high
    assert built_in_protocols()[pick.protocol].suits_fruit is not True


@pytest.mark.parametrize(("gravity", "shelf"), some_of(list(product(STRONG, AMMONIUM_TOO)), 3))
def test_a_strong_must_never_gets_everything_at_pitch(gravity, shelf):
    assert chosen(compared(gravity, shelf)).protocol not in (
        "everything_at_pitch",
        "one_front_load_for_weak_musts",
    )


@pytest.mark.parametrize("jar", ["dap", "ammonium_sulfate"])
def test_one_jar_of_ammonium_is_fed_in_two_parts_by_a_third(jar):
    """Nothing organic could come last, so that two early parts are no fault."""
    comparison = compared("1.098", {jar: True})
    pick = chosen(comparison)
    given = [feed for feed in pick.feeds if feed.items]
    assert len(given) == 2
    assert given[-1].sugar_used <= 1 / 3 + 1e-3
    assert not pick.missing
    verdict = comparison.verdicts[[p.protocol for p in comparison.plans].index(pick.protocol)]
    assert any("ammonium alone" in words for words in verdict.against)  # said all the same


@pytest.mark.parametrize("gravity", ["1.045", "1.070", "1.098", "1.130"])
def test_a_protocol_is_not_recommended_in_name_only(gravity):
    """An organic protocol given as ammonium alone is another one: its name would mislead."""
    comparison = compared(gravity, {"dap": True})
    pick = chosen(comparison)
    kinds = {k for rule in built_in_protocols()[pick.protocol].feeds for k in rule.nutrients}
    assert kinds & {"any", "ammonium"}
    organic = [p.protocol for p in comparison.plans].index("organic_only_by_sugar")
    assert comparison.verdicts[organic].faults[-1]
    many = compared(gravity, PLENTY)
    assert not many.verdicts[organic].faults[-1]


def test_of_plans_beyond_usual_labels_the_one_less_far_beyond_is_recommended():
    """A yeast of very high demand: with ammonium beside it, half as much of the other jar."""
    must = {"yeast": {"kind": "very high demand"}, "legal": {"profile": "eu"}}
    comparison = compared("1.105", TWO_JARS, **must)
    pick = chosen(comparison)
    given = {item.nutrient for feed in pick.feeds for item in feed.items}
    assert given == {"dap", "autolysed_yeast"}
    beyond = {p.protocol: v.faults[4] for p, v in zip(
        comparison.plans, comparison.verdicts, strict=True)}  # fmt: skip
    assert 0 < beyond[pick.protocol] < beyond["organic_only_by_sugar"]


def test_a_plan_far_beyond_usual_labels_says_what_helps():
    alone = chosen(compared("1.098", {"autolysed_yeast": True}))
    told = [w for w in alone.warnings if "usual labels" in w]
    assert len(told) == 1
    assert "Type the limit on your label" in told[0]
    assert "ammonium salt" in told[0]
    for shelf in (TWO_JARS, {"autolysed_yeast": {"label_max_g_l": 0.4}}):
        assert not any("usual labels" in w for w in chosen(compared("1.098", shelf)).warnings)


def test_two_jars_at_1105_are_fed_in_parts():
    """A maker with ammonium phosphate and an autolysed-yeast nutrient, and 1.105."""
    pick = chosen(compared("1.105", TWO_JARS))
    assert sum(bool(feed.items) for feed in pick.feeds) >= 3
    assert pick.feeds[-1].ammonium_mg_l.value == 0


@pytest.mark.parametrize("gravity", ["1.070", "1.090", "1.110"])
def test_a_fruit_must_may_get_the_feeds_for_fruit_and_a_plain_one_not(gravity):
    ids = [p.id for p in built_in_protocols().values()]
    fruit, plain = compared(gravity, PLENTY, FRUIT), compared(gravity, PLENTY)
    assert "two_feeds_for_fruit" in [ids[i] for i in candidates(fruit.verdicts)]
    assert "two_feeds_for_fruit" not in [ids[i] for i in candidates(plain.verdicts)]


@pytest.mark.parametrize(("kg", "is_fruit"), [("0.3 kg", False), ("3 kg", True)])
def test_a_handful_of_raisins_makes_no_fruit_must(kg, is_fruit):
    content = sheet("1.100", "10 L", more=({"kind": "raisins", "amount": kg},))
    assert lay_ground(sheet_from(content)).fruit is is_fruit


@pytest.mark.thorough
@cases(15)  # about a second each
@given(sheets())
def test_no_fault_is_picked_that_another_plan_is_free_of(content):
    comparison = _compare(lay_ground(sheet_from(content)), list(built_in_protocols().values()))
    least = min(verdict.faults for verdict in comparison.verdicts)
    i = best(comparison.verdicts)
    assert comparison.verdicts[i].faults == least
    assert comparison.suits_best == comparison.plans[i].protocol


def test_what_gave_way_speaks_against_a_plan():
    comparison = compared("1.090", {"dap": True})
    by_id = dict(zip([p.protocol for p in comparison.plans], comparison.verdicts, strict=True))
    organic = by_id["organic_only_by_sugar"]
    assert any("calls for organic nitrogen" in reason for reason in organic.against)


def test_of_equals_the_first():
    comparison = compared("1.110")
    twice = [comparison.verdicts[3], comparison.verdicts[3]]
    assert by_practice([0, 1], twice) == 0


@pytest.mark.parametrize(("gravity", "feeds"), [("1.040", 1), ("1.080", 2), ("1.120", 3)])
def test_feeds_wanted_follow_the_gravity(gravity, feeds):
    assert feeds_wanted(lay_ground(sheet_from(sheet(gravity))).setting) == feeds


@pytest.fixture(scope="module")
def verdicts():
    return compared("1.110").verdicts


@given(st.data())
def test_the_order_of_plans_does_not_matter(verdicts, data):
    some = data.draw(st.permutations(verdicts))
    assert some[best(some)].practice == verdicts[best(verdicts)].practice


def against(comparison):
    told = zip(comparison.plans, comparison.verdicts, strict=True)
    return {plan.protocol: " ".join((*v.reasons, *v.against)) for plan, v in told}


def test_what_is_said_of_a_plan_is_true_of_it():
    """Nothing given on the first day comes too late; an early last feed is still taken up."""
    said = against(compared("1.100", {"dap": {"label_max_g_l": 1.0}}))
    assert "too late" not in said["everything_at_pitch"]
    assert "too late" not in said["one_front_load_for_weak_musts"]
    assert "may come too late" in said["thirds_on_days_0_2_4"]
    assert "its last feed is ammonium alone" in said["floor_and_no_more"]
    assert "takes up little" not in said["floor_and_no_more"]
    little = {"autolysed_yeast": {"label_max_g_l": 0.4}}
    kept_back = against(compared("1.100", little))["halves_at_onset_and_third"]
    assert "as its author wrote it" not in kept_back
    moved = against(compared("1.100", little | {"dap": {"label_max_g_l": 1.0}}))
    assert "only as ammonium, which those feeds do not take" in moved["thirds_on_days_0_2_4"]
