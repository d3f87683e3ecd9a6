"""Who may come in: the passphrase of the local network, sessions, a wait after wrong guesses."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta

from mustwright.errors import InputError
from mustwright.services.batch.repository import Ledger
from mustwright.texts import say

PASSPHRASE = "passphrase"
SHORTEST, LONGEST = 10, 200
SESSION_LASTS = timedelta(days=30)
FREE_TRIES, LONGEST_WAIT_S = 5, 900.0
MOST_ADDRESSES = 2000
EVERYONE = ""  # all addresses together
FREE_TRIES_OF_ALL, LONGEST_WAIT_OF_ALL_S, FORGOTTEN_S = 20, 60.0, 3600.0


def set_passphrase(ledger: Ledger, passphrase: str) -> None:
    """Keep the Argon2 hash of a passphrase; every session ends."""
    from argon2 import PasswordHasher

    if not SHORTEST <= len(passphrase) <= LONGEST:
        needs = say(
            "needs a passphrase of {shortest} to {longest} characters",
            shortest=SHORTEST,
            longest=LONGEST,
        )
        raise InputError("passphrase", needs, say("{count} characters", count=len(passphrase)))
    ledger.keep_setting(PASSPHRASE, PasswordHasher().hash(passphrase))
    ledger.end_sessions()


def has_passphrase(ledger: Ledger) -> bool:
    """Whether there is one."""
    return ledger.setting(PASSPHRASE) is not None


def is_passphrase(ledger: Ledger, typed: str) -> bool:
    """Whether it is the right one."""
    from argon2 import PasswordHasher
    from argon2.exceptions import InvalidHashError, VerificationError

    kept = ledger.setting(PASSPHRASE)
    if kept is None or len(typed) > LONGEST:
        return False
    try:
        return PasswordHasher().verify(kept, typed)
    except (VerificationError, InvalidHashError):
        return False


def open_session(ledger: Ledger, now: datetime) -> str:
    """A new session; its secret goes into a cookie, its hash into the store."""
    secret = secrets.token_urlsafe(32)
    ledger.add_session(_hash(secret), now + SESSION_LASTS)
    return secret


def is_session(ledger: Ledger, secret: str) -> bool:
    """Whether a cookie's secret is that of a session that lasts."""
    return 20 <= len(secret) <= 200 and ledger.session_ends(_hash(secret)) is not None


def close_session(ledger: Ledger, secret: str) -> None:
    """End a session."""
    ledger.end_sessions(_hash(secret))


def close_others(ledger: Ledger, secret: str, now: datetime) -> None:
    """End every session but this one."""
    ends_at = ledger.session_ends(_hash(secret))
    ledger.end_sessions()
    if ends_at is not None and ends_at > now:
        ledger.add_session(_hash(secret), ends_at)


def form_token(secret: str) -> str:
    """What the forms of a session carry to prove that they come from our pages."""
    return hmac.new(secret.encode(), b"mustwright form", hashlib.sha256).hexdigest()


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


class Patience:
    """Slows down guessing: five tries are free, then each doubles the wait.

    A try is counted before it is tested, so that many at once are no more than one after the
    other. All addresses together have a wait of their own, shorter than that of one: who has many
    addresses gets little more, and cannot keep the maker out for long.

    Parameters
    ----------
    clock : callable
        Seconds that only go forward [s].
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._tried: dict[str, tuple[int, float]] = {}
        self._lock = threading.Lock()

    def admit(self, address: str) -> float:
        """Seconds until this address may try; 0 when it may now, which counts as a wrong guess.

        `succeeded` takes that back.
        """
        with self._lock:
            now = self._clock()
            if (wait := self._wait_s(address, now)) > 0:
                return wait
            self._count(address, FREE_TRIES, LONGEST_WAIT_S, now)
            self._count(EVERYONE, FREE_TRIES_OF_ALL, LONGEST_WAIT_OF_ALL_S, now)
            return 0.0

    def succeeded(self, address: str) -> None:
        """Forget what an address got wrong."""
        with self._lock:
            self._tried.pop(address, None)
            count, until = self._tried.get(EVERYONE, (0, 0.0))
            self._tried[EVERYONE] = max(count - 1, 0), until

    def wait_s(self, address: str) -> float:
        """Seconds until this address may try; 0 when it may. Counts nothing."""
        with self._lock:
            return self._wait_s(address, self._clock())

    def _wait_s(self, address: str, now: float) -> float:
        until = max(self._tried.get(one, (0, 0.0))[1] for one in (address, EVERYONE))
        return max(until - now, 0.0)

    def _count(self, address: str, free: int, longest_s: float, now: float) -> None:
        count, until = self._tried.get(address, (0, 0.0))
        if address == EVERYONE and now - until > FORGOTTEN_S:
            count = 0
        over = count + 1 - free
        wait = 0.0 if over < 0 else min(2.0 ** min(over, 20) * 5.0, longest_s)
        if len(self._tried) >= MOST_ADDRESSES and address not in self._tried:
            self._tried.pop(next(a for a in self._tried if a != EVERYONE))
        self._tried[address] = (count + 1, now + wait)
