"""Everything in the vessel counts against law, labels and shelf, wherever it came from."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from batches import STRONG, Log, plan
from mustwright.batch.entries import FeedGiven, Given
from mustwright.batch.finishing_record import Added, StepDone
from mustwright.batch.legal_alerts import BEYOND, over_limit
from mustwright.nutrition.limits import legal_profiles
from mustwright.nutrition.shelf import generic_nutrients

EU = STRONG.replace('"us"', '"eu"')
VOLUME = 19.0


def fed(log: Log, hours: float, **grams: float) -> None:
    log.add(hours, FeedGiven(tuple(Given(name, g) for name, g in grams.items())))


def beyond(log: Log, hours: float = 200) -> dict[str, list]:
    found: dict[str, list] = {}
    for one in over_limit(log.at(hours), log.stands()):
        found.setdefault(one.rule, []).append(one)
    return found


def test_a_feed_beyond_the_law_of_the_us_is_named_first():
    log = Log()
    fed(log, 24, dap=65.2)
    found = over_limit(log.at(25), log.stands())
    assert found[0].rule == "over_limit_fed"
    assert found[0].severity == 100
    assert "3.43 g/L of ammonium phosphate" in found[0].evidence
    assert "allows 0.96 g/L" in found[0].evidence
    assert "CFR24246" in found[0].thresholds[0]
    assert "over_label" in {f.rule for f in found}


def test_a_feed_beyond_the_rules_of_the_eu_is_named():
    log = Log(plan(EU))
    fed(log, 24, dap=114.0)
    (found,) = beyond(log)["over_limit_fed"]
    assert "6 g/L" in found.evidence
    assert "allows 1 g/L" in found.evidence


def test_two_feeds_each_allowed_pass_the_limit_together_and_a_removal_takes_it_back():
    log = Log()
    fed(log, 24, dap=12)
    assert beyond(log) == {}
    fed(log, 48, dap=12)
    assert set(beyond(log)) == {"over_limit_fed", "over_label"}
    assert beyond(log, 47) == {}


def test_a_nutrient_on_no_jar_of_the_plan_counts_by_its_kind():
    log = Log()
    fed(log, 24, ammonium_sulfate=5)
    assert "ammonium sulfate" in beyond(log)["over_limit_fed"][0].evidence
    hulls = Log()
    fed(hulls, 24, yeast_hulls=10)
    assert "yeast" in beyond(hulls)["over_limit_fed"][0].title.lower()


def test_what_the_yeast_was_woken_with_counts():
    """What a plan's ceiling leaves out of the limit was given to the yeast before the pitch."""
    of = plan()
    less = tuple(
        replace(most, most_g_l=0.76) if most.key == "limit:ammonium_phosphate" else most
        for most in of.most
    )
    log = Log(replace(of, most=less))
    fed(log, 24, dap=0.75 * VOLUME)
    assert "over_limit_fed" not in beyond(log)
    fed(log, 25, dap=0.02 * VOLUME)
    assert "0.97 g/L" in beyond(log)["over_limit_fed"][0].evidence


def test_more_than_the_shelf_held_is_named():
    log = Log(plan(STRONG.replace("complex_blend = {}", 'complex_blend = { stock = "5 g" }')))
    fed(log, 24, complex_blend=5.5)
    (found,) = beyond(log)["over_stock"]
    assert "5.5 g went in" in found.evidence


def test_feeds_and_finishing_are_told_together():
    log = Log()
    fed(log, 24, dap=65.2)
    salt = Added("potassium_metabisulfite", "Potassium metabisulfite", 20, {"total_so2": 11.5})
    log.add(100, StepDone("sulfite", (salt,)))
    found = over_limit(log.at(200), log.stands())
    assert {f.rule for f in found} == {"over_limit", "over_limit_fed", "over_label"}
    assert [f.severity for f in found] == sorted((f.severity for f in found), reverse=True)
    assert {f.rule for f in found} <= set(BEYOND)


KINDS = ("dap", "ammonium_sulfate", "yeast_hulls", "autolysed_yeast", "complex_blend", "thiamine")


@given(
    st.sampled_from([STRONG, EU]),
    st.lists(st.tuples(st.sampled_from(KINDS), st.floats(0.001, 60)), min_size=1, max_size=5),
    st.floats(0, 12),
)
def test_nothing_in_any_path_exceeds_the_law_without_being_named(sheet, feeds, so2_g):
    log = Log(plan(sheet))
    for hour, (kind, grams) in enumerate(feeds):
        fed(log, 24 + hour, **{kind: round(grams, 3)})
    if so2_g:
        salt = Added("potassium_metabisulfite", "Sulfite", 2 * so2_g, {"total_so2": so2_g})
        log.add(100, StepDone("sulfite", (salt,)))
    of = plan(sheet)
    profile = legal_profiles()[of.profile]
    kinds = generic_nutrients() | {jar.id: jar.nutrient() for jar in of.jars}
    wanted = {
        limit.name
        for limit in profile.limits
        if sum(round(g, 3) * limit.fraction_in(kinds[k]) for k, g in feeds) / VOLUME
        > limit.max_g_l * 1.00001 + 1e-5
    }
    named = beyond(log)
    said = " ".join(f.evidence for f in named.get("over_limit_fed", []))
    assert all(f"of {name} went in" in said for name in wanted)
    most = {"us": 350, "eu": 200}[of.profile]
    assert ("over_limit" in named) is (1000 * so2_g / VOLUME > most * (1 + 1e-6))
