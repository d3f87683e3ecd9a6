"""The salt in the plan: the acid page's own dose, in the forecast, within law, label and stock."""

from __future__ import annotations

from dataclasses import replace

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from musts import sheet
from mustwright.errors import validity_notes
from mustwright.languages import here, language_called, speaking
from mustwright.must.acidity.salts import all_salts, allowance
from mustwright.planning.acidity.dose_answer import salt_cautions
from mustwright.planning.acidity.plan_salt import with_salt
from mustwright.planning.acidity.report import acidity
from mustwright.planning.acidity.request import AcidityRequest
from mustwright.planning.kinetic_inputs import feeds_of
from mustwright.planning.plan import compare, plan
from mustwright.planning.plan_forecast import foresee, salted
from mustwright.planning.salt_text import cautions_beside, no_salt_note, part_notes
from mustwright.texts import join

pytestmark = pytest.mark.usefixtures("forecasts")
DAP = {"dap": True, "autolysed_yeast": True}
PROTOCOL = "everything_at_pitch"
CHOSEN = [PROTOCOL, "thirds_on_days_0_2_4", "staged_for_strong_musts"]


def text_of(gravity="1.100", **tables):
    return tomlkit.dumps(sheet(gravity, "20 L", **{"shelf": DAP, **tables}))


@cases(6, deadline=None)
@given(
    gravity=st.sampled_from(["1.060", "1.100", "1.130"]),
    ph=st.sampled_from([None, 3.3, 3.8, 4.4]),
    profile=st.sampled_from(["home", "us", "eu"]),
    protocol=st.sampled_from([PROTOCOL, "thirds_on_days_0_2_4", "organic_only_by_sugar"]),
    shelf=st.sampled_from(
        [DAP, {**DAP, "potassium_carbonate": "3 g"}, {**DAP, "potassium_bicarbonate": "500 g"}]
    ),
)
def test_plan_and_acid_page_never_contradict_one_another(gravity, ph, profile, protocol, shelf):
    measured = {} if ph is None else {"measured": {"ph": ph}}
    text = text_of(gravity, shelf=shelf, legal={"profile": profile}, **measured)
    with validity_notes():
        salt = salted(plan(text, protocol)).plan.salt
        page = acidity(text, AcidityRequest(), protocol)
    dose = page.dose
    if salt is None:
        assert dose.grams.value == 0
        assert dose.words.startswith("Add no salt")
        return
    assert (salt.salt, salt.grams.value, salt.words) == (dose.salt, dose.grams.value, dose.words)
    assert salt.chance_kept.value == dose.chance_kept.value
    assert salt.steps == dose.steps
    assert [p.grams.value for p in salt.parts] == [
        m.grams.value for m in dose.moments if m.grams.value > 0
    ]
    assert sum(p.grams.value for p in salt.parts) == pytest.approx(salt.grams.value)
    assert set(salt.cautions) <= set(page.cautions)
    assert ("The plan has this salt as a step" in page.in_plan) == (salt.grams.value > 0)
    known = all_salts()[salt.salt]
    acid = page.titratable_acid_g_l.low
    most = allowance(known, profile, acid).most_g_l
    assert salt.g_per_l.value <= most + 1e-9
    if "potassium_carbonate" in shelf:
        assert salt.grams.value <= 3.0 + 1e-9
        assert any("goggles" in caution for caution in salt.cautions) or not salt.parts


def test_the_forecast_counts_the_salt_and_says_so_in_every_plan():
    text = text_of(measured={"ph": 3.3})
    bare = plan(text, PROTOCOL)
    done = salted(bare)
    salt = done.plan.salt
    assert salt is not None
    feeds = feeds_of(done.plan, done.ground)
    assert len(feeds) == len(done.plan.feeds) + len(salt.parts)
    bicarbonate = all_salts()["potassium_bicarbonate"]
    brought = feeds[-1]
    g_l = salt.parts[-1].grams.value / done.must.volume_l.value
    assert brought.base == pytest.approx(bicarbonate.base_meq_g * g_l)
    assert brought.potassium_mg_l == pytest.approx(bicarbonate.potassium_mg_g * g_l)
    assert brought.ammonium_n_mg_l == brought.amino_n_mg_l == 0
    (without, with_it) = foresee(done.ground, [bare.plan, done.plan], members=128)
    assert with_it.lowest_ph.value > without.lowest_ph.value
    assert with_it.chance_of_sticking.value <= without.chance_of_sticking.value
    assert len(with_it.feeds_h) == len(done.plan.feeds)
    assert len(with_it.salt_h) == len(salt.parts)
    said = next(w for w in done.plan.warnings if w.startswith("Potassium is"))
    assert f"{salt.grams.value:g} g of potassium bicarbonate in the plan" in said
    assert any("Measure pH first" in note for note in part_notes(salt))


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("name", ["potassium_bicarbonate", "potassium_carbonate"])
def test_how_a_salt_goes_in_is_said_once_and_its_dangers_beside(name, language):
    """Steps and cautions both told to stir the gas out, add in parts and leave headspace."""
    salt = salted(plan(text_of(measured={"ph": 3.2}), PROTOCOL)).plan.salt
    beside = cautions_beside(salt.steps, salt_cautions(all_salts()[name]))
    with speaking(language_called(language)):
        told = here(join(" ", (*part_notes(salt), *beside)))
    room, gas, danger = {
        "en": ("headspace", "tir the gas out", ("irritates eyes and lungs", "goggles and gloves")),
        "de": ("Kopfraum", "Gas vorsichtig ausrühren", ("reizt Augen", "Schutzbrille und Hands")),
    }[language]
    assert told.count(room) == told.count(gas) == 1
    assert any(words in told for words in danger)
    if name == "potassium_bicarbonate":
        assert {"en": "makes it erupt.", "de": "überschäumen."}[language] in told


def test_a_salt_that_does_not_foam_keeps_its_cautions_whole():
    cautions = salt_cautions(all_salts()["potassium_citrate"])
    assert cautions_beside(("Dissolve in a little must.",), cautions) == cautions[:2]


def test_a_later_part_goes_in_as_the_first_did():
    salt = salted(plan(text_of(measured={"ph": 3.2}), PROTOCOL)).plan.salt
    first = salt.parts[0]
    second = replace(first, key="s2")
    both = replace(salt, parts=(first, second))
    assert part_notes(both, first) == part_notes(salt)
    assert part_notes(both, second) == ("Go about it as with the first part.",)


def test_where_the_law_allows_none_the_plan_says_why_and_carries_nothing():
    text = text_of(legal={"profile": "us"}, measured={"ph": 3.2})
    done = salted(plan(text, PROTOCOL)).plan
    found = done.salt
    assert found is not None
    assert found.parts == ()
    assert any("but a limit rules it out here" in words for words in done.warnings)
    assert found.grams.value == 0
    assert "No salt is planned. Carbonates may not bring the acid below" in no_salt_note(found)


def test_a_must_that_nobody_knows_gets_no_salt_before_it_is_measured():
    text = '[must]\nvolume = "10 L"\n[measured]\ngravity = "1.100"\n[shelf]\ndap = true\n'
    assert salted(plan(text, PROTOCOL)).plan.salt is None
    told = text.replace('gravity = "1.100"', 'gravity = "1.100"\nph = 3.3')
    assert salted(plan(told, PROTOCOL)).plan.salt is not None


def test_each_part_stands_among_the_feeds_and_a_second_judgement_changes_nothing():
    for one in compare(text_of("1.120", measured={"ph": 3.4}), CHOSEN).plans:
        ground = plan(text_of("1.120", measured={"ph": 3.4}), one.protocol).ground
        done = with_salt(ground, one)
        assert with_salt(ground, replace(done)) == done
        for part in done.salt.parts if done.salt else ():
            before, after = one.feeds[: part.after_feeds], one.feeds[part.after_feeds :]
            assert all(f.sugar_used <= part.sugar_used + 0.01 for f in before)
            assert all(f.sugar_used > part.sugar_used for f in after)


@pytest.mark.parametrize(
    ("jar", "said"), [("dap", "Feed less ammonium and more amino"), ("autolysed_yeast", "")]
)
def test_less_ammonium_is_advised_only_where_some_is_fed_and_no_salt_where_law_bars_it(jar, said):
    text = text_of(legal={"profile": "us"}, measured={"ph": 3.0}, shelf={jar: True})
    dose = acidity(text, AcidityRequest(), PROTOCOL)
    assert dose.dose.grams.value == 0
    assert ("less ammonium" in dose.dose.words) is bool(said)
    assert said in dose.dose.words
    assert "a potassium salt" not in dose.potassium.words
    assert ("less ammonium" in dose.potassium.words) is bool(said)
