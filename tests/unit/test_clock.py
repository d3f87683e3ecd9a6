"""A clock that jumps is noticed, whichever way, and one that goes on as it should is not."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from mustwright.clock import WatchedClock, steady_s, utc_now

START = datetime(2031, 5, 1, tzinfo=UTC)


class Machine:
    """A clock that can be set, and seconds that cannot."""

    def __init__(self) -> None:
        self.now, self.steady, self.said = START, 1000.0, []
        self.clock = WatchedClock(self.said.append, lambda: self.now, lambda: self.steady)

    def pass_s(self, seconds: float, jump_s: float = 0.0) -> None:
        self.steady += seconds
        self.now += timedelta(seconds=seconds + jump_s)
        assert self.clock() == self.now


@pytest.mark.parametrize("jump_s", [-86400 * 400, -3600, -121, 121, 86400])
def test_a_jump_is_said_once(jump_s):
    machine = Machine()
    machine.pass_s(5)
    machine.pass_s(60, jump_s)
    machine.pass_s(60)
    assert len(machine.said) == 1
    assert machine.clock.jumped == machine.said[0]
    assert "2031-05-01 00:01:05" in machine.said[0]


def test_small_corrections_sleep_and_long_waits_are_no_jumps():
    machine = Machine()
    for seconds, jump in ((1, 0.5), (3600, -20), (86400 * 30, 90), (0, 0)):
        machine.pass_s(seconds, jump)
    assert machine.said == []
    assert machine.clock.jumped == ""


def test_the_real_clocks_agree():
    said = []
    clock = WatchedClock(said.append)
    assert abs(clock() - utc_now()) < timedelta(seconds=5)
    assert steady_s() <= steady_s()
    clock()
    assert said == []
