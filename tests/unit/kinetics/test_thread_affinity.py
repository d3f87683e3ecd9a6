"""Threads that hand over share a core; runs of the model get all of them."""

import os
import threading

import pytest

from mustwright.kinetics import thread_affinity

pytestmark = pytest.mark.skipif(
    not hasattr(os, "sched_getaffinity") or len(os.sched_getaffinity(0)) < 2,
    reason="one core, or a system where a process cannot choose",
)


@pytest.fixture
def free(monkeypatch):
    """Nobody is kept to a core before; the thread of the test stays free whatever happens."""
    monkeypatch.setattr(thread_affinity, "_every", set())
    before = os.sched_getaffinity(0)
    yield before
    os.sched_setaffinity(0, before)


def test_kept_threads_and_those_they_start_share_one_core(free):
    seen, kept, done = [], threading.Event(), threading.Event()

    def child():
        seen.append(os.sched_getaffinity(0))
        with thread_affinity.every_core():
            seen.append(os.sched_getaffinity(0))
        seen.append(os.sched_getaffinity(0))

    def parent():
        kept.wait(10)
        started = threading.Thread(target=child)
        started.start()
        started.join(10)
        done.wait(10)

    thread = threading.Thread(target=parent)
    thread.start()
    thread_affinity.keep_to_one_core([thread])
    kept.set()
    done.set()
    thread.join(10)
    one = {max(free)}
    assert seen == [one, free, one]
    assert os.sched_getaffinity(0) == free


def test_without_anyone_kept_every_core_changes_nothing(free):
    with thread_affinity.every_core():
        assert os.sched_getaffinity(0) == free
    assert thread_affinity._every == set()


def test_a_thread_that_has_ended_is_passed_over(free):
    thread = threading.Thread(target=lambda: None)
    thread.start()
    thread.join()
    thread_affinity.keep_to_one_core([thread])
    assert os.sched_getaffinity(0) == free


def test_where_it_is_not_allowed_all_goes_on_as_before(free, monkeypatch):
    def refused(*_):
        raise PermissionError

    monkeypatch.setattr(os, "sched_setaffinity", refused)
    thread_affinity.keep_to_one_core([threading.main_thread()])
    with thread_affinity.every_core():
        assert os.sched_getaffinity(0) == free
    monkeypatch.undo()
