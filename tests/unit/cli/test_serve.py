"""Where the pages are served: this machine only, the first free port."""

from __future__ import annotations

import socket
from contextlib import closing

import pytest

from mustwright.cli import serve
from mustwright.cli.main import run
from mustwright.cli.network import lan_access
from mustwright.errors import InputError


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.1", "example.invalid", "::"])
def test_only_loopback_addresses_are_served(host, capsys):
    assert run(["serve", "--host", host]) == 2
    assert "loopback" in capsys.readouterr().err


def test_the_next_free_port_is_taken(monkeypatch):
    with closing(serve.listen("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        monkeypatch.setattr(serve, "FIRST_PORT", port)
        with closing(serve.listen("127.0.0.1", None)) as second:
            assert port < second.getsockname()[1] < port + serve.PORTS_TRIED


def test_a_port_asked_for_is_that_port_or_an_error():
    with closing(serve.listen("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match="free"):
            serve.listen("127.0.0.1", port)


def test_no_free_port_at_all_is_said(monkeypatch):
    with closing(serve.listen("127.0.0.1", 0)) as taken:
        monkeypatch.setattr(serve, "FIRST_PORT", taken.getsockname()[1])
        monkeypatch.setattr(serve, "PORTS_TRIED", 1)
        with pytest.raises(InputError, match="all in use"):
            serve.listen("127.0.0.1", None)


def test_the_socket_listens_before_the_address_is_printed():
    with (
        closing(serve.listen("127.0.0.1", 0)) as listener,
        closing(socket.create_connection(listener.getsockname(), timeout=2)) as caller,
    ):
        assert caller.getpeername() == listener.getsockname()


def test_answers_are_not_held_back_for_an_acknowledgement():
    """asyncio switches Nagle's algorithm off only where it knows the socket for TCP."""
    with (
        closing(serve.listen("127.0.0.1", 0)) as listener,
        closing(socket.create_connection(listener.getsockname(), timeout=2)),
        closing(listener.accept()[0]) as answering,
    ):
        assert answering.proto == socket.IPPROTO_TCP


def test_the_network_is_served_at_the_address_that_was_named():
    assert serve._bind(None, True) == "0.0.0.0"
    assert serve._bind("192.0.2.7", True) == "192.0.2.7"
    assert serve._bind("localhost", True) == "127.0.0.1"
    assert serve._bind("::1", True) == "::1"
    assert serve._bind(None, False) == "127.0.0.1"
    for odd in ("elsewhere.example", "", "192.0.2"):
        with pytest.raises(InputError, match="address of this machine"):
            serve._bind(odd, True)


def test_a_phone_is_shown_the_address_that_is_served():
    access = lan_access(8765, (), "192.0.2.7")
    assert access.address == "http://192.0.2.7:8765/"
    assert "192.0.2.7" in access.hosts
    assert lan_access(8765, (), "::1").address == "http://[::1]:8765/"
