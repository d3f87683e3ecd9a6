"""Whatever the bench says can be said in another language: forms, answers, figures, refusals."""

from __future__ import annotations

import re
from datetime import date

import pytest

from mustwright.bench import kinds
from mustwright.bench.field_text import WORDS, shown, words
from mustwright.bench.liquid import MeadNow
from mustwright.bench.result_view import view_of
from mustwright.bench.step_table import PAGES, STEPS, run_step, uses
from mustwright.errors import InputError
from mustwright.languages import language_called, speaking
from mustwright.texts import said
from pseudo import PSEUDO, english_in

GERMAN = language_called("de")
GIVEN = {
    "stable": {"reading": "2026-01-05 1.002\n2026-01-19 1.002 ± 0.003", "tolerance": "12 to 14 %"},
    "rack": {"volume": "22 L", "vessel": "21 L", "top_up": "mead", "gravity": "1.0",
             "alcohol": "12 %", "top_gravity": "0.998", "top_alcohol": "12 %"},
    "sulfite": {"volume": "19 L", "ph": "3.5", "alcohol": "12 %", "tablet": "0.44 g"},
    "sorbate": {"volume": "19 L", "alcohol": "12 %", "ph": "3.5", "molecular": "0.8 mg/L"},
    "sweeten": {"volume": "19 L", "gravity": "0.998", "alcohol": "12 %", "to": "medium"},
    "acid": {"volume": "19 L", "with": "tartaric", "acidity": "4 g/L", "to_acidity": "5.5 g/L"},
    "tannin": {"volume": "19 L"},
    "fruit": {"with": "raspberry", "volume": "19 L", "amount": "2 kg", "gravity": "0.998",
              "alcohol": "12 %"},
    "spice": {"with": "vanilla", "volume": "19 L", "dose": "1 g/L"},
    "carbonate": {"volume": "19 L", "temperature": "20 C", "co2_volumes": "2.5"},
    "bottle": {"volume": "19 L", "size": "750 mL; 375 mL x 4", "profile": "eu"},
}  # fmt: skip
FIELDS = {
    f"{page.slug}.{one.name}": one
    for page in PAGES.values()
    for one in (*page.fields, *(field for part in page.lot for field in part.fields))
} | {f"{step.name}.{one.name}": one for step in STEPS.values() for one in step.fields}
# What is typed, or written the same everywhere.
CODES = re.compile(
    r"[a-z]+ \((?:English|Deutsch)\)|\b(?:English|Deutsch)\b|"  # languages by their own names
    r"[a-z_+-]+(?: [a-z]+)? \(\)|\b(pH|SG 20/20|mg/L|g/L|vol|bar|kg|mL|meq/L)\b|% vol"
)


def left_in_english(text: str) -> list[str]:
    """What stands outside of the catalogue's brackets, without codes and units."""
    found = (CODES.sub("", piece) for piece in english_in(said(text, PSEUDO)))
    return [piece for piece in found if re.search("[A-Za-z]{2}", piece)]


@pytest.mark.parametrize("name", FIELDS)
def test_a_field_can_be_said_in_another_language(name):
    one = FIELDS[name]
    told = [one.label, one.said_hint, one.form_hint, one.help, one.needs, one.taken]
    assert [left for text in told for left in left_in_english(text)] == []
    assert [left for _, text in one.choices for left in left_in_english(text)] == []


@pytest.mark.parametrize("slug", PAGES)
def test_a_page_can_be_said_in_another_language(slug):
    page = PAGES[slug]
    told = [page.title, page.heading, page.about, page.button, *(p.title for p in page.parts)]
    assert [left for text in told for left in left_in_english(text)] == []


@pytest.mark.parametrize("name", GIVEN)
def test_an_answer_and_its_figures_can_be_said_in_another_language(name):
    result = run_step(name, GIVEN[name], date(2026, 3, 1))
    view = view_of(result)
    told = [view.answer, *(title for title, _ in (*view.figures, *view.facts, *view.label))]
    told += [shown(figure) for _, figure in view.figures]
    told += [head for table in view.tables for head in (table.title, *table.heads)]
    told += [use.label for use in uses(result, 19.0)]
    assert [left for text in told for left in left_in_english(text)] == []
    for title in (title for title, _ in view.figures):
        assert said(title, GERMAN) != title or title == "Tannin"


def test_every_name_of_a_figure_is_in_the_catalogue():
    assert [left for name in WORDS for left in left_in_english(words(name))] == []


def test_german_answers_have_their_comma_and_their_order():
    sulfite = view_of(run_step("sulfite", GIVEN["sulfite"]))
    assert re.match(r"\d+ Tabletten \(\d,\d+ g [^)]+\) zugeben: Das freie SO2 kommt auf \d+ mg/L",
                    said(sulfite.answer, GERMAN))  # fmt: skip
    figures = {said(name, GERMAN): said(shown(one), GERMAN) for name, one in sulfite.figures}
    assert re.fullmatch(r"\d\d,\d mg/L( \(.+ bis .+\))?", figures["Nötiges freies SO2"])


def test_hints_take_their_decimal_sign_and_stay_what_can_be_typed():
    hint = FIELDS["rack.top_gravity"].form_hint
    assert hint == "such as 0.998; for mead and honey water"
    assert said(hint, GERMAN) == "z. B. 0,998; bei Met und Honigwasser"
    as_hinted = {
        "reading": "2026-01-05 1,002; 2026-01-19 1,002 ± 0,003",
        "tolerance": "12 bis 14 %",
    }
    assert run_step("stable", as_hinted) == run_step("stable", GIVEN["stable"])


def test_what_is_typed_for_a_maker_is_no_text_of_the_catalogue():
    typed = MeadNow(volume_l=19.5, gravity=0.998, temperature_c=18.5).typed()
    assert {said(text, GERMAN) for text in typed.values()} == {"19.5 L", "0.998", "18.5 C"}
    for use in uses(run_step("sulfite", GIVEN["sulfite"]), 19.0):
        assert said(use.text, GERMAN) == use.text


def test_a_refusal_is_said_in_german():
    with speaking(GERMAN), pytest.raises(InputError) as refused:
        run_step("tannin", {})
    assert said(refused.value.requirement, GERMAN) == "braucht ein Volumen wie '19 L'"


def test_a_label_under_united_states_law_says_what_it_is_in_english():
    for profile, kind in (("eu", "Met"), ("us", "Mead")):
        facts = run_step("bottle", {**GIVEN["bottle"], "profile": profile}).labels[0]
        assert said(facts.kind, GERMAN) == kind


@pytest.mark.parametrize(("word", "sterile"), [("ja", True), ("nein", False), ("yes", True)])
def test_yes_and_no_are_read_in_german_too(word, sterile):
    assert kinds.FLAG.read(word, "sterile", kinds.AsTyped()) is sterile


@pytest.mark.parametrize(
    ("typed", "gravity"), [("0,998", 0.998), ("1,062", 1.062), ("1.062", 1.062)]
)
def test_a_gravity_with_a_comma_is_no_thousand(typed, gravity):
    assert kinds.gravity_of(typed, "gravity") == gravity
