"""Keys for devices and calendars: shown once, kept as a hash, ended at will."""

from __future__ import annotations

import hashlib
import secrets
from uuid import uuid4

from mustwright.errors import InputError
from mustwright.services.batch.repository import Ledger, TokenRecord
from mustwright.texts import say

DEVICE, CALENDAR = "device", "calendar"
PURPOSES = (DEVICE, CALENDAR)


def hash_of(secret: str) -> str:
    """What is kept of a secret; it is 256 bits of chance, so a plain hash cannot be run back."""
    return hashlib.sha256(secret.encode()).hexdigest()


def new_token(
    ledger: Ledger, batch: str | None, purpose: str, label: str
) -> tuple[TokenRecord, str]:
    """A new token and its secret, which is shown now and never again.

    Parameters
    ----------
    batch : str or None
        The batch it is for; None, for a calendar only, means all of them.
    """
    if purpose not in PURPOSES:
        raise InputError(
            "purpose", say("needs one of {purposes}", purposes=", ".join(PURPOSES)), purpose
        )
    if purpose == DEVICE and batch is None:
        raise InputError("batch", say("needs the batch that the device reads"), say("none"))
    if not label.strip() or len(label) > 80:
        raise InputError("label", say("needs a name of 1 to 80 characters"), label)
    secret = secrets.token_urlsafe(32)
    record = ledger.add_token(uuid4().hex[:12], batch, purpose, label.strip(), hash_of(secret))
    return record, secret


def token_of(ledger: Ledger, secret: str, purpose: str, batch: str | None) -> TokenRecord | None:
    """The token of a secret, where it is for this purpose and batch and was not ended."""
    if not 20 <= len(secret) <= 200:
        return None
    record = ledger.token_of(hash_of(secret))
    if record is None or record.purpose != purpose or record.batch != batch:
        return None
    return record
