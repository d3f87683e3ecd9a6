"""Bodies that are slow, many or endless are cut off, and others are still answered."""

from __future__ import annotations

import anyio
import pytest
from starlette.responses import PlainTextResponse

from mustwright.web.intake import BodyLimit, HeldBodies


async def answer(scope, receive, send):
    message = await receive()
    await PlainTextResponse(str(len(message["body"])))(scope, receive, send)


async def posted(limit: BodyLimit, parts, address: str = "192.0.2.1", length: int | None = None):
    """Send parts of a body, each after so many seconds; the status, or None before an answer."""
    waiting = list(parts)
    found = {}

    async def receive():
        if not waiting:
            await anyio.sleep_forever()
        seconds, part = waiting.pop(0)
        await anyio.sleep(seconds)
        return {"type": "http.request", "body": part, "more_body": bool(waiting) or part == b"."}

    async def send(message):
        if message["type"] == "http.response.start":
            found.update(status=message["status"], headers=dict(message["headers"]))

    headers = [] if length is None else [(b"content-length", str(length).encode())]
    scope = {"type": "http", "method": "POST", "path": "/batches", "headers": headers,
             "client": (address, 1), "query_string": b"", "scheme": "http",
             "server": ("192.0.2.7", 1)}  # fmt: skip
    await limit(scope, receive, send)
    return found


def test_a_body_that_stops_is_cut_off_and_its_connection_closed():
    limit = BodyLimit(answer, pause_s=0.05)
    found = anyio.run(posted, limit, [(0, b"."), (0, b"."), (9, b"x")])
    assert found["status"] == 408
    assert found["headers"][b"connection"] == b"close"


def test_a_body_that_drips_is_cut_off_in_all(monkeypatch):
    monkeypatch.setattr("mustwright.web.intake.FIRST_S", 0.2)
    found = anyio.run(posted, BodyLimit(answer), [(0.03, b".")] * 100)
    assert found["status"] == 408


def test_a_body_in_good_time_is_taken():
    found = anyio.run(posted, BodyLimit(answer), [(0.01, b"abc"), (0.01, b"def")])
    assert found["status"] == 200


@pytest.mark.parametrize(("addresses", "most"), [(1, 2), (40, 4)])
def test_unfinished_bodies_hold_so_much_and_no_more(addresses, most):
    """Forty of 14 MB each: two of one address are waited for, four in all; the others go."""
    limit = BodyLimit(answer, pause_s=0.5)
    found = []

    async def one(i: int) -> None:
        came = await posted(limit, [(0, b".")], f"192.0.2.{i % addresses}", 14_000_000)
        found.append(came["status"])

    async def all_at_once() -> None:
        async with anyio.create_task_group() as tasks:
            for i in range(40):
                tasks.start_soon(one, i)
            await anyio.sleep(0.1)
            elsewhere = await posted(limit, [(0, b"small")], "192.0.2.200", 5)
            assert elsewhere["status"] == 200

    anyio.run(all_at_once)
    assert found.count(408) == most
    assert found.count(503) == 40 - most


def test_room_is_given_back_whatever_happens():
    room = HeldBodies(in_all=10, of_one=10)

    def breaks() -> None:
        with room.kept("a", 10) as fits:
            assert fits
            raise ValueError("broken")

    for _ in range(5):
        with pytest.raises(ValueError, match="broken"):
            breaks()
    with room.kept("a", 6) as first, room.kept("a", 6) as second, room.kept("b", 4) as third:
        assert (first, second, third) == (True, False, True)


@pytest.mark.parametrize("length", ["-1", "1e3", "\u0661", "9" * 5000, "", "1_0"])
def test_an_odd_length_is_refused(length):
    async def ask():
        found = {}

        async def send(message):
            found.setdefault("status", message.get("status"))

        scope = {"type": "http", "method": "POST", "path": "/x", "query_string": b"",
                 "scheme": "http", "server": ("192.0.2.7", 1), "client": None,
                 "headers": [(b"content-length", length.encode("utf-8"))]}  # fmt: skip
        await BodyLimit(answer)(scope, anyio.sleep_forever, send)
        return found["status"]

    assert anyio.run(ask) == 413
