"""A tasting from glasses to result: what is asked, what counts as right, when it may be opened."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from mustwright.errors import ConflictError, InputError
from mustwright.learning.tasting import (
    KINDS,
    TastedMead,
    answered,
    closed,
    is_right,
    new_tasting,
    result_of,
)
from mustwright.learning.tasting_result import note_of_mead, notes_of_mead, result_sentences
from mustwright.learning.tasting_text import TASKS

NOW = datetime(2031, 6, 1, tzinfo=UTC)
TWO = (TastedMead("Heather", "heather"), TastedMead("Lime"))
FOUR = (*TWO, TastedMead("Dry"), TastedMead("Oak"))


def tasting(kind, tasters=6, **more):
    meads = FOUR if kind in ("ranking", "scores") else TWO
    return new_tasting("Test", kind, "", more.pop("meads", meads), tasters, 7, NOW, **more)


def right_codes(of, seat):
    """Codes of the right answer, found without the code under test."""
    glasses = list(zip(seat.codes, seat.order, strict=True))
    if of.kind == "triangle":
        return [c for c, m in glasses if seat.order.count(m) == 1]
    if of.kind == "duo-trio":
        return [c for c, m in glasses[1:] if m == seat.order[0]]
    if of.kind == "tetrad":
        return [c for c, m in glasses if m == 1]
    return [c for c, m in glasses if m == (of.expected or 1)]


def test_every_kind_says_what_to_do():
    assert set(TASKS) == set(KINDS)


@pytest.mark.parametrize("kind", ["triangle", "paired", "duo-trio", "tetrad"])
def test_what_is_right(kind):
    of = tasting(kind)
    for number, seat in enumerate(of.seats, 1):
        good = dict.fromkeys(right_codes(of, seat), 1.0)
        of = answered(of, number, "AB", good, {})
        assert is_right(of, of.seats[number - 1])
        others = [c for c in seat.codes if c not in good]
        if kind == "duo-trio":
            others = [c for c in seat.codes[1:] if c not in good]
        bad = dict.fromkeys(others[:1], 1.0)
        if kind == "tetrad":
            bad = {next(iter(good)): 1.0, others[0]: 1.0}
        assert not is_right(answered(of, number, "AB", bad, {}), answered(
            of, number, "AB", bad, {}).seats[number - 1])  # fmt: skip
    result = result_of(of)
    assert (result.tasters, result.correct) == (6, 6)
    assert result.sided == ("two" if kind == "paired" else "one")
    assert "difference is shown" in result_sentences(of)[0]


def test_ranks_are_brought_back_into_the_order_of_the_meads():
    of = tasting("ranking", 5)
    for number, seat in enumerate(of.seats, 1):
        ranks = {code: float(mead) for code, mead in zip(seat.codes, seat.order, strict=True)}
        of = answered(of, number, f"T{number}", ranks, {})
    result = result_of(of)
    assert result.rank_sums == (5.0, 10.0, 15.0, 20.0)
    assert result.p < 0.001
    assert "Heather 5" in result_sentences(of)[1]


def test_scores_of_two_meads():
    of = new_tasting("Test", "scores", "", TWO, 6, 3, NOW)
    for number, seat in enumerate(of.seats, 1):
        score = {c: 8.0 if m == 2 else 4.0 for c, m in zip(seat.codes, seat.order, strict=True)}
        of = answered(of, number, "AB", score, {})
    result = result_of(of)
    assert (result.means, result.p) == ((4.0, 8.0), 0.03125)


def test_an_expected_pair_is_one_sided():
    of = tasting("paired", expected=2)
    for number, seat in enumerate(of.seats, 1):
        code = seat.codes[seat.order.index(2)]
        of = answered(of, number, "AB", {code: 1.0}, {})
    assert result_of(of).sided == "one"
    assert result_of(of).correct == 6


def test_notes_go_to_the_mead_whatever_its_code():
    of = tasting("triangle", 2)
    seat = of.seats[0]
    notes = {code: f"mead {mead}" for code, mead in zip(seat.codes, seat.order, strict=True)}
    of = answered(of, 1, "AB", dict.fromkeys(right_codes(of, seat), 1.0), notes)
    for place in (1, 2):
        assert {text for _, text in notes_of_mead(of, place)} == {f"mead {place}"}
    note = note_of_mead(of, 1)
    assert "beside Lime" in note
    assert "AB: mead 1" in note


def test_closed_means_closed():
    of = tasting("triangle", 2)
    with pytest.raises(ConflictError):
        closed(of, NOW)
    of = answered(of, 1, "AB", dict.fromkeys(right_codes(of, of.seats[0]), 1.0), {})
    done = closed(of, NOW)
    assert done.is_closed
    assert closed(done, NOW) == done
    with pytest.raises(ConflictError):
        answered(done, 2, "CD", {done.seats[1].codes[0]: 1.0}, {})


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: tasting("blind"), "kind"),
        (lambda: tasting("triangle", meads=FOUR), "meads"),
        (lambda: tasting("ranking", meads=TWO), "meads"),
        (lambda: tasting("triangle", 0), "tasters"),
        (lambda: tasting("triangle", expected=1), "expected"),
        (lambda: answered(tasting("triangle"), 9, "AB", {}, {}), "seat"),
        (lambda: answered(tasting("triangle"), 1, "", {}, {}), "initials"),
        (lambda: answered(tasting("triangle"), 1, "AB", {}, {}), "answer"),
        (lambda: answered(tasting("ranking"), 1, "AB", {}, {}), "answer"),
        (lambda: answered(tasting("scores"), 1, "AB",
                          {tasting("scores").seats[0].codes[0]: 11.0}, {}), "answer"),
    ],
)  # fmt: skip
def test_bad_input_names_the_field(call, field):
    with pytest.raises(InputError) as raised:
        call()
    assert raised.value.field == field


def test_the_reference_is_no_answer():
    of = tasting("duo-trio")
    with pytest.raises(InputError):
        answered(of, 1, "AB", {of.seats[0].codes[0]: 1.0}, {})
