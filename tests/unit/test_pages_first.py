"""Work behind the pages goes on while nobody waits for an answer, and never waits for ever."""

from __future__ import annotations

import threading

import pytest

from mustwright.pages_first import LONGEST_S, PATIENCE, PagesFirst
from mustwright.time_budget import paced_by, spend


class Turns(PagesFirst):
    """With a clock that only waiting moves, and processor time that a test spends."""

    def __init__(self) -> None:
        self.now_s, self.worked_s, self.waits = 0.0, 0.0, []
        super().__init__(lambda: self.now_s, lambda: self.worked_s)
        self._change.wait = self._waited

    def _waited(self, seconds: float) -> bool:
        self.waits.append(seconds)
        self.now_s += seconds
        return False

    def piece(self, seconds: float) -> float:
        """Work for so long, then give way; how long it waited."""
        before = self.now_s
        self.worked_s += seconds
        self.give_way()
        return self.now_s - before


def test_it_waits_for_nobody_where_nobody_waits():
    turns = Turns()
    turns.begin()
    assert [turns.piece(0.01) for _ in range(5)] == [0.0] * 5


def test_it_waits_for_those_who_wait_but_only_so_many_times_as_long_as_it_worked():
    turns = Turns()
    turns.begin()
    with turns.answering(), turns.answering():
        assert turns.waiting == 2
        assert turns.piece(0.01) == pytest.approx(PATIENCE * 0.01)
        assert turns.piece(0.02) == pytest.approx(PATIENCE * 0.02)
        assert turns.piece(30.0) == pytest.approx(LONGEST_S)
    assert turns.waiting == 0
    assert turns.piece(0.01) == 0.0


def test_a_job_of_half_a_second_ends_within_five_though_somebody_always_waits():
    turns = Turns()
    turns.begin()
    with turns.answering():
        waited = sum(turns.piece(0.0125) for _ in range(40))
    assert 1.0 < waited < 4.5


def test_what_was_worked_before_a_job_or_between_two_does_not_count():
    turns = Turns()
    turns.worked_s = 100.0
    with turns.answering():
        turns.give_way()
        turns.begin()
        assert turns.waits == []
        assert turns.piece(0.001) == pytest.approx(PATIENCE * 0.001)


def test_an_answer_that_fails_is_waited_for_no_longer():
    turns = Turns()
    with pytest.raises(ZeroDivisionError), turns.answering():
        raise ZeroDivisionError
    assert turns.waiting == 0


def test_whoever_waits_last_lets_it_go_on():
    turns = PagesFirst(worked=lambda: 0.0)
    turns._since = -1e6  # as if the last piece had taken long
    gone_on = threading.Event()
    asked = turns.answering()
    asked.__enter__()

    def work():
        turns.give_way()
        gone_on.set()

    worker = threading.Thread(target=work)
    worker.start()
    asked.__exit__(None, None, None)
    worker.join(10)
    assert gone_on.is_set()


def test_at_the_end_nobody_is_waited_for_and_after_a_new_start_again():
    turns = Turns()
    turns.begin()
    with turns.answering():
        turns.end()
        assert turns.piece(0.01) == 0.0
        turns.end(False)
        assert turns.piece(0.01) > 0.0


def test_it_gives_way_wherever_work_may_come_many_times_over():
    times = []
    spend()
    with paced_by(lambda: times.append(1)):
        spend()
        spend()
    spend()
    assert times == [1, 1]
