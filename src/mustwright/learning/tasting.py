"""One tasting from glasses to result: seats, codes, answers, blind until it is closed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from mustwright.errors import ConflictError, InputError
from mustwright.learning.d_prime import TESTS
from mustwright.learning.discrimination import PanelResult, judge_panel
from mustwright.learning.ranking import RankingResult, judge_ranking
from mustwright.learning.scores import ScoresResult, judge_scores
from mustwright.learning.serving_order import flights, glass_codes, serving_orders
from mustwright.texts import say

KINDS = (*TESTS, "ranking", "scores")
KIND_NAMES = {
    "triangle": say("triangle", context="tasting"),
    "paired": say("paired", context="tasting"),
    "duo-trio": say("duo-trio", context="tasting"),
    "tetrad": say("tetrad", context="tasting"),
    "ranking": say("ranking", context="tasting"),
    "scores": say("scores", context="tasting"),
}
MOST_SEATS, MOST_GLASSES = 40, 8
HIGHEST_SCORE = 9
LONGEST_NAME, LONGEST_INITIALS, LONGEST_NOTE = 80, 8, 1000


@dataclass(frozen=True)
class TastedMead:
    """A mead on the table.

    Parameters
    ----------
    name : str
        For whoever pours; never shown to tasters before the end.
    batch : str
        Short name of its batch; empty for another one.
    """

    name: str
    batch: str = ""


@dataclass(frozen=True)
class TasterSeat:
    """One taster's place.

    Parameters
    ----------
    order : tuple of int
        Meads, from 1, in the order of the glasses; in a duo-trio the reference first.
    codes : tuple of int
        On the glasses.
    initials : str
        Of the taster's own choosing; empty until somebody sits there.
    answer : tuple of float
        By glass: ranks or scores; else 1 for the glasses chosen and 0 for the others. Empty before
        the answer.
    notes : tuple of str
        By glass.
    """

    order: tuple[int, ...]
    codes: tuple[int, ...]
    initials: str = ""
    answer: tuple[float, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class TastingRecord:
    """A tasting.

    Parameters
    ----------
    name : str
    kind : str
        Of `KINDS`.
    question : str
        What tasters are asked; for ranking, what the order is of.
    meads : tuple of TastedMead
    seats : tuple of TasterSeat
    seed : int
    made_at : datetime
    expected : int
        Of a paired comparison: the mead that is expected to be named; 0 for none, then it is
        two-sided.
    closed_at : datetime or None
        After it answers are shown and taken no more.
    """

    name: str
    kind: str
    question: str
    meads: tuple[TastedMead, ...]
    seats: tuple[TasterSeat, ...]
    seed: int
    made_at: datetime
    expected: int = 0
    closed_at: datetime | None = None

    @property
    def is_closed(self) -> bool:
        """Whether names may be shown."""
        return self.closed_at is not None

    @property
    def answered(self) -> tuple[TasterSeat, ...]:
        """Seats with an answer."""
        return tuple(seat for seat in self.seats if seat.answer)


def new_tasting(
    name: str,
    kind: str,
    question: str,
    meads: tuple[TastedMead, ...],
    tasters: int,
    seed: int,
    made_at: datetime,
    expected: int = 0,
) -> TastingRecord:
    """A tasting with orders dealt and codes drawn.

    Parameters
    ----------
    name : str
    kind : {"triangle", "paired", "duo-trio", "tetrad", "ranking", "scores"}
    question : str
    meads : tuple of TastedMead
        Two; for ranking three to eight, for scores two to eight.
    tasters : int
        1 to 40.
    seed : int
    made_at : datetime
    expected : int
        Of a paired comparison.

    Returns
    -------
    TastingRecord

    Raises
    ------
    InputError
        Naming the field.
    """
    if not name.strip() or len(name) > LONGEST_NAME:
        raise InputError(
            "name",
            say("needs a name of 1 to {most} characters", most=LONGEST_NAME),
            name,
        )
    if kind not in KINDS:
        raise InputError("kind", say("one of {known}", known=", ".join(KINDS)), kind)
    least, most = {"ranking": (3, MOST_GLASSES), "scores": (2, MOST_GLASSES)}.get(kind, (2, 2))
    if not least <= len(meads) <= most:
        need = (
            say("needs {least} meads for {kind}", least=least, kind=KIND_NAMES[kind])
            if least == most
            else say(
                "needs {least} to {most} meads for {kind}",
                least=least,
                most=most,
                kind=KIND_NAMES[kind],
            )
        )
        raise InputError("meads", need, len(meads))
    if not 1 <= tasters <= MOST_SEATS:
        raise InputError("tasters", say("1 to {most}", most=MOST_SEATS), tasters)
    if expected not in (0, 1, 2) or (expected and kind != "paired"):
        raise InputError("expected", say("0, 1 or 2, and only in a paired comparison"), expected)
    if kind in TESTS:
        orders = flights(kind, tasters, seed)
    else:
        orders = serving_orders(len(meads), tasters, seed).orders
    codes = glass_codes(orders, seed)
    seats = tuple(TasterSeat(o, c) for o, c in zip(orders, codes, strict=True))
    return TastingRecord(
        name.strip(), kind, question.strip(), meads, seats, seed, made_at, expected
    )


def answered(
    tasting: TastingRecord,
    number: int,
    initials: str,
    answer: Mapping[int, float],
    notes: Mapping[int, str],
) -> TastingRecord:
    """The tasting with one taster's answer.

    Parameters
    ----------
    tasting : TastingRecord
    number : int
        Of the seat, from 1.
    initials : str
    answer : mapping of int to float
        By code: rank or score [-]; for the other tests 1 under the code of each glass chosen.
    notes : mapping of int to str
        By code.

    Returns
    -------
    TastingRecord

    Raises
    ------
    ConflictError
        Where the tasting is closed.
    InputError
        Naming the field.
    """
    if tasting.is_closed:
        raise ConflictError(say("this tasting is closed: no more answers are accepted"))
    seat = seat_of(tasting, number)
    if not initials.strip() or len(initials) > LONGEST_INITIALS:
        need = say(
            "needs initials or a sign of your own, 1 to {most} characters",
            most=LONGEST_INITIALS,
        )
        raise InputError("initials", need, initials)
    values = tuple(float(answer.get(code, 0.0)) for code in seat.codes)
    _check_answer(tasting.kind, values)
    kept = tuple(str(notes.get(code, ""))[:LONGEST_NOTE].strip() for code in seat.codes)
    made = replace(seat, initials=initials.strip(), answer=values, notes=kept)
    seats = list(tasting.seats)
    seats[number - 1] = made
    return replace(tasting, seats=tuple(seats))


def seat_of(tasting: TastingRecord, number: int) -> TasterSeat:
    """One seat by its number from 1.

    Raises
    ------
    InputError
    """
    if not 1 <= number <= len(tasting.seats):
        raise InputError("seat", say("1 to {most}", most=len(tasting.seats)), number)
    return tasting.seats[number - 1]


def closed(tasting: TastingRecord, at: datetime) -> TastingRecord:
    """The tasting with its answers shown and no more of them taken.

    Raises
    ------
    ConflictError
        Where nobody has answered yet.
    """
    if tasting.is_closed:
        return tasting
    if not tasting.answered:
        raise ConflictError(say("nobody has answered yet: there is nothing to close"))
    return replace(tasting, closed_at=at)


def is_right(tasting: TastingRecord, seat: TasterSeat) -> bool:
    """Whether a taster's answer is the right one; of a pair, whether the first mead was named."""
    chosen = [mead for mead, value in zip(seat.order, seat.answer, strict=True) if value]
    if tasting.kind == "triangle":
        odd = min(set(seat.order), key=seat.order.count)
        return chosen == [odd]
    if tasting.kind == "duo-trio":
        return chosen == [seat.order[0]]
    if tasting.kind == "tetrad":
        return len(set(chosen)) == 1
    return chosen == [tasting.expected or 1]


def result_of(tasting: TastingRecord) -> PanelResult | RankingResult | ScoresResult:
    """What the answers show.

    Raises
    ------
    InputError
        Where too few have answered for the test.
    """
    seats = tasting.answered
    if tasting.kind in TESTS:
        right = sum(is_right(tasting, seat) for seat in seats)
        sided = None if tasting.kind != "paired" else "one" if tasting.expected else "two"
        return judge_panel(tasting.kind, len(seats), right, sided)
    table = [[value for _, value in sorted(zip(seat.order, seat.answer, strict=True))]
             for seat in seats]  # fmt: skip
    return judge_ranking(table) if tasting.kind == "ranking" else judge_scores(table)


def _check_answer(kind: str, values: tuple[float, ...]) -> None:
    if kind == "ranking":
        if not all(1 <= v <= len(values) and v == int(v) for v in values):
            raise InputError(
                "answer", say("needs a rank from 1 to {most} each", most=len(values)), values
            )
    elif kind == "scores":
        if not all(0 <= v <= HIGHEST_SCORE for v in values):
            raise InputError(
                "answer",
                say("needs a score from 0 to {most} each", most=HIGHEST_SCORE),
                values,
            )
    else:
        wanted = 2 if kind == "tetrad" else 1
        if sum(v != 0 for v in values) != wanted:
            need = (
                say("needs two glasses that are alike") if wanted == 2 else say("needs one glass")
            )
            raise InputError(
                "answer",
                need,
                say("{chosen} glasses", chosen=sum(v != 0 for v in values)),
            )
        if kind == "duo-trio" and values[0]:
            raise InputError(
                "answer", say("needs one of the two glasses beside the reference"), "it"
            )
