"""A step stands in one place: what is declared of it reaches the use case and every shell."""

from __future__ import annotations

from datetime import date

import pytest
from click.testing import CliRunner

from finish_cases import CASES
from mustwright.batch.finishing_record import STEPS as IN_THE_LOG
from mustwright.bench.fields import StepField, TypedFields
from mustwright.bench.kinds import BRIX as BRIX_KIND
from mustwright.bench.kinds import MOISTURE, VOLUME
from mustwright.bench.step_table import PAGES, STEPS, run_step, step_of
from mustwright.cli.finish import finish_command
from mustwright.finishing.lots import Lot

EVERY = [(name, one) for name, step in STEPS.items() for one in step.fields]


def test_the_log_knows_every_step_and_every_step_has_a_page():
    assert set(IN_THE_LOG) == {*STEPS, "drawn"}  # what a blend takes out of another batch
    shown = {step.name for page in PAGES.values() for step in page.steps.values()}
    assert shown == set(STEPS)
    assert {command for _, command, _ in CASES.values()} == set(STEPS)


@pytest.mark.parametrize("page", PAGES.values(), ids=list(PAGES))
def test_a_page_asks_for_what_its_steps_read(page):
    read = {one.name for step in page.steps.values() for one in step.fields}
    gathered = {one.name for step in page.steps.values() for one in step.gathered}
    asked = {name.partition(".")[0] for name in page.names} | ({"lot"} if page.lot else set())
    left = asked - read - set(page.step({}).unread) - {page.by}
    assert left == set()
    assert read <= asked | gathered


@pytest.mark.parametrize("case", CASES)
def test_no_field_is_asked_for_in_vain(case, monkeypatch):
    """What is read by name or fills a parameter is used; nothing else is declared."""
    used: set[str] = set()
    fields_of = {name: {one.name for one in s.fields} for name, s in STEPS.items()}
    by_name, ask = TypedFields.__getitem__, TypedFields.ask

    def named(self, name):
        used.update({name} & fields_of[step])
        return by_name(self, name)

    def filling(self, question, **more):
        if question is Lot:  # a lot has fields of its own
            return ask(self, question, **more)
        arguments = set(question.__dataclass_fields__) - set(more)
        used.update(one.name for one in STEPS[step].fields if one.argument in arguments)
        return ask(self, question, **more)

    monkeypatch.setattr(TypedFields, "__getitem__", named)
    monkeypatch.setattr(TypedFields, "ask", filling)
    monkeypatch.setattr(TypedFields, "law", property(lambda self: self["profile"]))
    page, step, fields = CASES[case]
    given = PAGES[page].step(fields)
    assert given is STEPS[step]
    result = run_step(step, as_given(given, fields), date(2026, 3, 1))
    if given.closes is not None:
        given.closes(TypedFields(given.fields, as_given(given, fields)), result)
    of_an_ingredient = {one.name for one in given.fields if one.kind in (MOISTURE, BRIX_KIND)}
    unless = {"yeast"} if "tolerance" in fields else set()  # a kind stands in for a tolerance
    assert {one.name for one in given.fields} == used | of_an_ingredient | unless


def as_given(step, fields):
    """A case as the use case gets it."""
    known = {one.name for one in step.fields}
    given = {k: v for k, v in fields.items() if k in known}
    if not step.gathered:
        return given
    lots: dict[str, dict[str, str]] = {}
    for name, text in fields.items():
        if name.startswith("lot."):
            lots.setdefault(name.split(".")[1], {})[name.split(".")[2]] = text
    targets = [f"{k[7:]}={v}" for k, v in fields.items() if k.startswith("target.")]
    return {**given, "lot": list(lots.values()), "target": targets}


@pytest.mark.parametrize("name", STEPS)
def test_help_and_form_say_the_same_of_each_field(name):
    told = " ".join(CliRunner().invoke(finish_command, [name, "--help"]).output.split())
    for one in (*STEPS[name].fields, *STEPS[name].form_fields):
        if one.name == "batch" or "." in one.name:
            continue
        assert f"--{one.name.replace('_', '-')} " in told
        assert " ".join(one.help.split()) in told.replace("- ", "-"), one.name
        assert one.help.startswith(one.label)
        assert one.help.count(".") == 0 or one.help.endswith(".")


@pytest.mark.parametrize(
    ("more", "hint", "help"),
    [
        ({"hint": "19 L"}, "such as 19 L", "Label, such as 19 L."),
        ({"hint": "19 L", "default": "20 L"}, "such as 19 L; 20 L if not given",
         "Label, such as 19 L; 20 L if not given."),
        ({"hint": "1 L", "default": "1 L"}, "1 L if not given", "Label: 1 L if not given."),
        ({"hint": "0.038 if not given"}, "0.038 if not given", "Label: 0.038 if not given."),
        ({"choices": (("", "home"), ("us", "United States"), ("eu", "eu"))}, "",
         "Label: us (United States), eu; if not given: home."),
        ({}, "", "Label."),
    ],
)  # fmt: skip
def test_one_wording_serves_form_and_help(more, hint, help):
    one = StepField("name", "Label", kind=VOLUME, **more)
    assert (one.form_hint, one.help) == (hint, help)


@pytest.mark.parametrize(("name", "one"), EVERY, ids=lambda x: getattr(x, "name", x))
def test_a_default_can_be_read_and_a_need_is_said(name, one):
    assert not (one.default and one.needs), name
    if one.default and not one.many and one.kind.metavar != "KIND":
        assert one.read(one.default) is not None


def test_what_is_no_result_leads_to_no_step():
    with pytest.raises(TypeError):
        step_of("no result")
