"""Open to the local network: the passphrase, the names we answer to, and a code for the phone."""

from __future__ import annotations

import os
import re
import socket
import sys
from ipaddress import ip_address
from typing import TYPE_CHECKING

import click

from mustwright.cli.speech import echo, in_language
from mustwright.errors import InputError
from mustwright.texts import say

if TYPE_CHECKING:
    from mustwright.services.batch.repository import Ledger
    from mustwright.web.access import Access

VARIABLE = "MUSTWRIGHT_PASSPHRASE"
_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]{0,251}[A-Za-z0-9])?")


def ask_passphrase(ledger: Ledger, anew: bool) -> None:
    """Make sure there is a passphrase: from the environment, or typed twice if none exists."""
    from mustwright.services.access import has_passphrase, is_passphrase, set_passphrase

    given = os.environ.get(VARIABLE, "")
    if given:
        if anew or not is_passphrase(ledger, given):
            set_passphrase(ledger, given)
        return
    if has_passphrase(ledger) and not anew:
        return
    if not sys.stdin.isatty():
        needs = say(
            "needs a passphrase: open it once in a terminal, or set {variable}", variable=VARIABLE
        )
        raise InputError("--lan", needs, say("none kept"))
    typed = click.prompt(
        in_language(say("Passphrase for the network")), hide_input=True, confirmation_prompt=True
    )
    set_passphrase(ledger, str(typed))


def lan_access(
    port: int, names: tuple[str, ...], bind: str = "0.0.0.0", *, is_secure: bool = False
) -> Access:
    """Locked pages, asked for by loopback, by this machine's address, or by one of its names.

    Parameters
    ----------
    bind : str
        The address they are served at; all of this machine where it is not one of them.
    is_secure : bool
        Whether they are served by https.
    """
    from mustwright.web.access import LOOPBACK_HOSTS, Access

    for name in names:
        if not _NAME.fullmatch(name):
            raise InputError("--name", say("needs a host name or address"), name)
    is_one = not ip_address(bind).is_unspecified
    here = bind if is_one else lan_address()
    here = f"[{here}]" if ":" in here else here
    own = socket.gethostname().lower()
    hosts = [*LOOPBACK_HOSTS, here, own, f"{own.split('.')[0]}.local", *names]
    shown = names[0] if names else here
    address = f"{'https' if is_secure else 'http'}://{shown}:{port}/"
    every = tuple(dict.fromkeys(h for h in hosts if h))
    return Access(True, every, address, is_secure=is_secure)


def lan_address() -> str:
    """The address at which other machines find this one; loopback if there is none.

    Asking for a route sends nothing.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address reserved for documentation (RFC 5737)
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def show_code(access: Access) -> None:
    """Print the address and, if the terminal can show it, the code that opens it."""
    address = access.address
    echo(say("On the phone: {address} (the code below, then the passphrase)", address=address))
    if not access.is_secure:
        echo(
            say(
                "Plain http: anyone in the same network can listen, and a phone "
                "keeps no pages for where there is no network. --certificate and "
                "--key change both."
            )
        )
    encoding = (sys.stdout.encoding or "").lower()
    if encoding.startswith("utf"):
        import io

        import segno

        out = io.StringIO()
        segno.make(address, error="m").terminal(out, compact=True)
        echo(out.getvalue())
