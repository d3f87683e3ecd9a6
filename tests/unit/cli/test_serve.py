"""Where the pages are served: this machine only, the first free port."""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import ssl
import subprocess
import sys
from contextlib import closing

import pytest

from mustwright.cli import serve
from mustwright.cli.main import run
from mustwright.cli.network import lan_access
from mustwright.errors import InputError
from serving import serving


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


# https ------------------------------------------------------------------------------------------


@pytest.fixture
def pair(tmp_path):
    """A certificate that signs itself, good for a test."""
    if shutil.which("openssl") is None:
        pytest.skip("needs openssl to make a certificate")
    certificate, key = tmp_path / "own.pem", tmp_path / "own.key"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
         "-nodes", "-keyout", key, "-out", certificate, "-days", "2", "-subj", "/CN=127.0.0.1",
         "-addext", "subjectAltName=IP:127.0.0.1"],
        check=True, capture_output=True,
    )  # fmt: skip
    return str(certificate), str(key)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--certificate", "a.pem", "--key", "a.key"], "needs --lan"),
        (["--lan", "--certificate", "a.pem"], "https takes both"),
        (["--lan", "--key", "a.key"], "https takes both"),
        (["--lan", "--certificate", "a.pem", "--key", "a.key"], "PEM files"),
    ],
)
def test_half_a_pair_is_refused_before_anything_is_opened(options, words, capsys):
    assert run(["serve", *options]) == 2
    assert words in capsys.readouterr().err


def test_a_pair_that_belongs_together_is_taken(pair):
    assert serve._pair(*pair, True) == pair
    with pytest.raises(InputError, match="PEM files"):
        serve._pair(pair[1], pair[0], True)


def test_over_https_the_address_says_so():
    assert lan_access(9, ("lane.local",), is_secure=True).address == "https://lane.local:9/"


def test_pages_are_answered_over_https_with_a_cookie_for_it_alone(pair, tmp_path, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_PASSPHRASE", "heather and gorse")
    options = ("--lan", "--host", "127.0.0.1", "--port", "0", "--no-seed",
               "--certificate", pair[0], "--key", pair[1])  # fmt: skip
    trust = ssl.create_default_context(cafile=pair[0])
    with serving(tmp_path / "home", *options) as address:
        assert address.startswith("https://127.0.0.1:")
        host, port = address.removeprefix("https://").split(":")
        with closing(http.client.HTTPSConnection(host, int(port), context=trust)) as asked:
            asked.request(
                "POST", "/login", "passphrase=heather+and+gorse",
                {"Origin": address, "Content-Type": "application/x-www-form-urlencoded"},
            )  # fmt: skip
            answer = asked.getresponse()
            assert answer.status == 303
            assert "secure" in answer.headers["set-cookie"].lower()


def test_linear_algebra_is_told_to_start_no_threads_before_it_is_there(monkeypatch):
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "")
    monkeypatch.delenv("OPENBLAS_NUM_THREADS")
    serve.one_thread_for_algebra()
    assert os.environ["OPENBLAS_NUM_THREADS"] == "1"
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "3")
    serve.one_thread_for_algebra()
    assert os.environ["OPENBLAS_NUM_THREADS"] == "3", "whoever runs it may choose"
    loads = "import sys, mustwright.cli.main, mustwright.cli.serve; print('numpy' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", loads], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "False"
