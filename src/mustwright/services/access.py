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

PASSPHRASE = "passphrase"
SHORTEST, LONGEST = 10, 200
SESSION_LASTS = timedelta(days=30)
FREE_TRIES, LONGEST_WAIT_S = 5, 900.0
MOST_ADDRESSES = 2000


def set_passphrase(ledger: Ledger, passphrase: str) -> None:
    """Keep the Argon2 hash of a passphrase; every session ends."""
    from argon2 import PasswordHasher

    if not SHORTEST <= len(passphrase) <= LONGEST:
        needs = f"needs a passphrase of {SHORTEST} to {LONGEST} characters"
        raise InputError("passphrase", needs, f"{len(passphrase)} characters")
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


def form_token(secret: str) -> str:
    """What the forms of a session carry to prove that they come from our pages."""
    return hmac.new(secret.encode(), b"mustwright form", hashlib.sha256).hexdigest()


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


class Patience:
    """Slows down guessing: five tries are free, then each doubles the wait.

    Parameters
    ----------
    clock : callable
        Seconds that only go forward [s].
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._failed: dict[str, tuple[int, float]] = {}
        self._lock = threading.Lock()

    def wait_s(self, address: str) -> float:
        """Seconds until this address may try again; 0 when it may."""
        with self._lock:
            _, until = self._failed.get(address, (0, 0.0))
            return max(until - self._clock(), 0.0)

    def failed(self, address: str) -> None:
        """Note a wrong guess."""
        with self._lock:
            count = self._failed.get(address, (0, 0.0))[0] + 1
            over = count - FREE_TRIES
            wait = 0.0 if over < 0 else min(2.0 ** min(over, 20) * 5.0, LONGEST_WAIT_S)
            if len(self._failed) >= MOST_ADDRESSES and address not in self._failed:
                self._failed.pop(next(iter(self._failed)))
            self._failed[address] = (count, self._clock() + wait)

    def succeeded(self, address: str) -> None:
        """Forget what an address got wrong."""
        with self._lock:
            self._failed.pop(address, None)
