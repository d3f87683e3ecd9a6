"""Texts that nobody wrote by hand are refused in one sentence, and with little work."""

from __future__ import annotations

import sys
from collections.abc import Callable

import pytest

from mustwright.errors import InputError
from mustwright.nutrition.protocols import read_protocol
from mustwright.planning.plan import compare
from mustwright.planning.sheet import read_sheet
from mustwright.services.records import read_jar
from mustwright.toml_text import toml_table
from mustwright.web.forms.sheet_form import sheet_document

MUST = (
    '[must]\nvolume = "19 L"\ngravity = "1.100"\n'
    '[[must.ingredient]]\nkind = "clover honey"\namount = "solve"\n'
    '[[must.ingredient]]\nkind = "water"\namount = "fill"\n'
)
SIZE = 20_000  # what a form takes


def filled(line: str, head: str = "") -> str:
    parts, i = [head], 0
    while sum(map(len, parts)) < SIZE - 80:
        parts.append(line.replace("#", str(i)))
        i += 1
    return "".join(parts)


HOSTILE = {
    "dotted keys": "a" + ".a" * 9000 + "=1",
    "3,000 dotted keys": filled("a.b.c#.d=1\n"),
    "a dotted table": "[a" + ".a" * 9000 + "]",
    "deep dotted keys": filled("x." * 200 + "k#=1\n"),
    "deep lists": "a=" + "[" * 9000 + "]" * 9000,
    "lists within reason": "a=" + "[" * 80 + "]" * 80,
    "deep tables": "a=" + "{a=" * 4000 + "1" + "}" * 4000,
    "5,000 digits": "a=" + "9" * 5000,
    "20 digits": "a=" + "9" * 20,
    "a great exponent": "must.volume=1e999999",
    "many tables": filled("[t#]\n"),
    "many lists": filled("[[a]]\n"),
    "many nutrients": filled('n#={kind="dap",price_per_kg=#}\n', MUST + "[shelf]\n"),
    "many steps": MUST.replace(
        "[[", "temperature_steps=[" + '["1 h","20 C"],' * 900 + "]\n[[", 1),
    "many ingredients": filled('[[must.ingredient]]\nkind="honey"\namount="solve"\n', MUST),
    "a null character": 'name="a\\u0000b"\n' + MUST,
    "brackets": "[" * 19_000,
    "quotes": '"""' * 6000,
    "escapes": 'a="' + "\\u00e9" * 3000 + '"',
    "open quotes": filled('a="""\\\n'),
}  # fmt: skip


MOST_CALLS = 15_000_000  # of functions, and returns from them: about a second


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_it_is_refused_with_little_work(name):
    """Six of these, sent at once, once held every page for ten seconds.

    Calls are counted instead of seconds, which a busy machine makes longer.
    """
    text = HOSTILE[name]
    for read in (
        lambda: read_sheet(text), lambda: read_protocol(text), lambda: read_jar("x", text),
        lambda: sheet_document(text), lambda: compare(text, None, {}, "must"),
    ):  # fmt: skip
        said: list[str] = []
        assert _calls_of(lambda: said.append(_refusal(read))) < MOST_CALLS  # noqa: B023
        assert len(said[0]) < 1500
        assert "\n" not in said[0]


def _refusal(read) -> str:
    try:
        read()
    except InputError as error:
        return str(error)
    return ""


def _calls_of(work: Callable[[], object]) -> int:
    """How often a function is called or returns while something is worked out."""
    count = 0

    def seen(_frame, _event, _argument):
        nonlocal count
        count += 1

    before = sys.getprofile()
    sys.setprofile(seen)
    try:
        work()
    finally:
        sys.setprofile(before)
    return count


def test_the_fullest_sheet_that_is_taken_is_planned_with_little_work():
    shelf = "".join(f'n{i}={{kind="dap",price_per_kg={i + 1}}}\n' for i in range(40))
    found = []
    text = MUST + "[shelf]\n" + shelf
    assert _calls_of(lambda: found.append(compare(text, None, {}, "must"))) < 3 * MOST_CALLS
    assert found[0].plans


def test_what_a_person_writes_is_read():
    assert toml_table(MUST, "sheet")["must"]["volume"] == "19 L"
    assert toml_table("a = 1979-05-27T07:32:00Z\nb.c.d.e = [1, 2.5, true]", "sheet")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a" * 200_000, "at most 100000 characters"),
        ("a" + ".a" * 20 + "=1", "12 tables"),
        ("a=[" + "1," * 12_000 + "]", "5000 values"),
        ("a=" + "9" * 25, "18 digits"),
        ('a="\\u0000"', "null character"),
        ("a=", "valid TOML"),
    ],
)
def test_each_limit_is_said(text, words):
    with pytest.raises(InputError, match=words):
        toml_table(text, "sheet")
