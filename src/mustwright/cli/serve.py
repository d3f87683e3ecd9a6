"""Open the web pages on this machine."""

from __future__ import annotations

import gc
import os
import socket
from ipaddress import ip_address

import click

from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import command
from mustwright.errors import InputError
from mustwright.texts import say

FIRST_PORT = 8765
PORTS_TRIED = 20
EVERYWHERE = "0.0.0.0"
LOOPBACK = {"127.0.0.1": "127.0.0.1", "localhost": "127.0.0.1", "::1": "::1"}


@command()
@click.option("--port", type=click.IntRange(0, 65535), help="Port; 0 takes any free one.")
@click.option(
    "--host",
    help="Address to listen at: a loopback one (127.0.0.1 if not given); with --lan, any of this"
    " machine (all of them if not given).",
)
@click.option("--no-seed", is_flag=True, help="Leave an empty cellar empty: no demo musts.")
@click.option("--lan", is_flag=True, help="Open to the local network too, behind a passphrase.")
@click.option("--new-passphrase", is_flag=True, help="With --lan: ask for another passphrase.")
@click.option("--name", "names", multiple=True, help="With --lan: another name of this machine.")
@click.option(
    "--certificate", metavar="FILE", help="With --lan: serve https with this certificate."
)
@click.option("--key", metavar="FILE", help="The private key of the certificate (PEM).")
@click.option("--database", metavar="URL", help="A PostgreSQL address to keep the cellar in.")
def serve(
    port: int | None,
    host: str | None,
    no_seed: bool,
    lan: bool,
    new_passphrase: bool,
    names: tuple[str, ...],
    certificate: str | None,
    key: str | None,
    database: str | None,
) -> None:
    """Open the web pages on this machine, or, with --lan, on the local network."""
    bind, pair = _bind(host, lan), _pair(certificate, key, lan)
    one_thread_for_algebra()
    from mustwright.compose import Compose
    from mustwright.services.demo import seed_demo

    compose = Compose.from_environment(database)
    if lan:
        from mustwright.cli.network import ask_passphrase

        ask_passphrase(compose.ledger, new_passphrase)
    listener = listen(bind, port)
    from mustwright.web.server import ToldToStop, run

    if not no_seed:
        seed_demo(compose.cellar)
    here = "127.0.0.1" if bind == EVERYWHERE else bind
    shown = f"[{here}]" if ":" in here else here
    scheme = "https" if pair else "http"
    address = f"{scheme}://{shown}:{listener.getsockname()[1]}/"
    access = None
    told = ToldToStop()
    echo(say("Mustwright is open at {address} (Ctrl-C closes it)", address=address))
    if lan:
        from mustwright.cli.network import lan_access, show_code

        access = lan_access(listener.getsockname()[1], names, bind, is_secure=pair is not None)
        show_code(access)
    compose.begin_forecasting()
    collect_seldom()
    run(compose, listener, told, access, pair)


def _bind(host: str | None, lan: bool) -> str:
    """The address to listen at."""
    if not lan:
        if host is not None and host not in LOOPBACK:
            raise InputError(
                "host",
                say("needs a loopback address ({addresses})", addresses=", ".join(LOOPBACK)),
                host,
            )
        return LOOPBACK[host or "127.0.0.1"]
    if host is None:
        return EVERYWHERE
    try:
        return str(ip_address(LOOPBACK.get(host, host)))
    except ValueError:
        raise InputError("host", say("needs an address of this machine"), host) from None


def _pair(certificate: str | None, key: str | None, lan: bool) -> tuple[str, str] | None:
    """The certificate and its key, if https is asked for; they have to belong together."""
    if certificate is None and key is None:
        return None
    if not lan:
        raise InputError("--certificate", say("needs --lan; this machine needs none"), certificate)
    if certificate is None or key is None:
        missing = "--key" if key is None else "--certificate"
        raise InputError(missing, say("needs to be given too: https takes both"), say("nothing"))
    import ssl

    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except (OSError, ssl.SSLError) as error:
        needs = say("needs a certificate and its key as PEM files")
        raise InputError("--certificate", needs, f"{certificate}: {error}") from None
    return certificate, key


def one_thread_for_algebra() -> None:
    """Keep the linear algebra of NumPy and SciPy from starting threads of its own.

    Matrices here have some twenty rows. Threads that wait for more of them spin meanwhile, which
    took as much of the processor as the pages did. Only before either is imported.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def collect_seldom() -> None:
    """Look for cycles of garbage less often.

    Python looks through everything it holds each time, a tenth of a second in a full cellar, while
    every request waits; with these thresholds 95 % of the answers of a full cellar came within
    95 ms instead of 230 (see the page on load).
    """
    gc.set_threshold(20_000, 20, 100)


def listen(host: str, port: int | None) -> socket.socket:
    """A listening socket on `port`, or on the first free one where none is asked for."""
    wanted = range(FIRST_PORT, FIRST_PORT + PORTS_TRIED) if port is None else (port,)
    for candidate in wanted:
        try:
            return _listen_on(host, candidate)
        except OSError:
            continue
    if port is None:
        requirement = say(
            "needs a free port from {first} to {last}", first=wanted[0], last=wanted[-1]
        )
        raise InputError("port", requirement, say("all in use"))
    raise InputError("port", say("needs a port that is free and allowed"), port)


def _listen_on(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # The protocol is named so that asyncio knows it for TCP and sends each part of an answer at
    # once; otherwise the second part waits 40 ms for the browser to acknowledge the first.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen(128)
    except OSError:
        listener.close()
        raise
    return listener
