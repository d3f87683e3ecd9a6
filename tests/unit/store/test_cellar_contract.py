"""Every cellar keeps records alike, in a file, in PostgreSQL or in memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest

from databases import KINDS, store_of
from fake_cellar import FakeCellar
from mustwright.errors import ConflictError
from mustwright.services.repository import Cellar, MissingRecordError


@pytest.fixture
def clock() -> Callable[[], datetime]:
    ticks = iter(datetime(2031, 5, 1, tzinfo=UTC) + timedelta(minutes=m) for m in range(10_000))
    return lambda: next(ticks)


@pytest.fixture(params=[*KINDS, "memory"])
def cellar(request: pytest.FixtureRequest, tmp_path: Path, clock) -> Iterator[Cellar]:
    if request.param == "memory":
        yield FakeCellar(clock)
        return
    with store_of(request.param, tmp_path, clock) as store:
        yield store


@pytest.fixture(params=["sheet", "protocol", "nutrient"])
def kind(request: pytest.FixtureRequest, cellar: Cellar) -> SimpleNamespace:
    """The five calls of one kind of record, under short names."""
    name = request.param

    def save(key, text, version):
        return cellar.save(name, key, text, version, key.title() if name == "sheet" else "")

    return SimpleNamespace(
        all=partial(cellar.records, name),
        one=partial(cellar.record, name),
        save=save,
        delete=partial(cellar.delete, name),
        restore=partial(cellar.restore, name),
    )


def test_a_new_record_has_version_one_and_is_read_back(kind):
    saved = kind.save("heather", "a = 1", None)
    assert (saved.text, saved.version) == ("a = 1", 1)
    assert saved.updated_at.utcoffset() == timedelta(0)
    assert kind.one("heather") == saved
    assert kind.all() == [saved]


def test_a_change_counts_the_version_up_and_moves_the_time(kind):
    first = kind.save("heather", "a = 1", None)
    second = kind.save("heather", "a = 2", first.version)
    assert (second.text, second.version) == ("a = 2", 2)
    assert second.updated_at > first.updated_at


def test_a_stale_change_is_refused_and_writes_nothing(kind):
    first = kind.save("heather", "a = 1", None)
    second = kind.save("heather", "a = 2", first.version)
    with pytest.raises(ConflictError):
        kind.save("heather", "a = 3", first.version)
    with pytest.raises(ConflictError):
        kind.delete("heather", first.version)
    assert kind.one("heather") == second


def test_new_where_one_is_kept_is_refused(kind):
    kind.save("heather", "a = 1", None)
    with pytest.raises(ConflictError):
        kind.save("heather", "a = 2", None)


def test_deleted_is_gone_until_restored(kind):
    first = kind.save("heather", "a = 1", None)
    kind.delete("heather", first.version)
    assert kind.all() == []
    with pytest.raises(MissingRecordError):
        kind.one("heather")
    back = kind.restore("heather")
    assert back.text == "a = 1"
    assert kind.one("heather") == back
    with pytest.raises(ConflictError):
        kind.save("heather", "a = 2", first.version)


def test_restoring_what_is_not_deleted_changes_nothing(kind):
    first = kind.save("heather", "a = 1", None)
    assert kind.restore("heather") == first


def test_the_id_of_a_deleted_record_can_be_used_again(kind):
    first = kind.save("heather", "a = 1", None)
    kind.delete("heather", first.version)
    again = kind.save("heather", "a = 2", None)
    assert again.text == "a = 2"
    assert again.version > first.version
    assert kind.all() == [again]


def test_what_was_never_kept_is_missing(kind):
    for ask in (
        lambda: kind.one("nobody"),
        lambda: kind.delete("nobody", 1),
        lambda: kind.restore("nobody"),
        lambda: kind.save("nobody", "a = 1", 3),
    ):
        with pytest.raises(MissingRecordError, match="nobody"):
            ask()


def test_lists_are_in_the_order_of_the_key(kind):
    for key in ("sage", "heather", "thyme"):
        kind.save(key, "", None)
    assert [record.key for record in kind.all()] == ["heather", "sage", "thyme"]


def test_a_slug_is_made_from_the_name_and_never_taken_twice(cellar):
    first = cellar.save("sheet", None, "", None, "Heather, spring")
    cellar.delete("sheet", first.key, first.version)
    second = cellar.save("sheet", None, "", None, "Heather: spring")
    assert (first.key, second.key) == ("heather-spring", "heather-spring-2")


def test_a_sheet_keeps_its_slug_when_renamed(cellar):
    first = cellar.save("sheet", None, "", None, "Heather")
    second = cellar.save("sheet", first.key, "", first.version, "Ling")
    assert (second.key, second.name) == ("heather", "Ling")


def test_a_flag_stays_set(cellar):
    assert not cellar.has_flag("once")
    cellar.set_flag("once")
    cellar.set_flag("once")
    assert cellar.has_flag("once")
    assert not cellar.has_flag("other")
