"""A picture of the batch: checked, turned upright, made smaller, and stripped of its metadata."""

from __future__ import annotations

import hashlib
import io
import threading
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import uuid4

from mustwright.batch.entries import Entry, Photo
from mustwright.errors import InputError
from mustwright.services.batch.record import YOU, new_id
from mustwright.services.batch.repository import Ledger, PhotoRecord
from mustwright.texts import say

if TYPE_CHECKING:
    from PIL import Image

LARGEST_BYTES = 15_000_000
# Known from the head of a file, before it is unpacked. A JPEG is unpacked at the size it is wanted
# in, or an eighth of its own; the others only whole, a WebP twice over.
MOST_PIXELS = {"JPEG": 110_000_000, "PNG": 26_000_000, "WEBP": 17_000_000}
SIDE = 1600
_one_at_a_time = threading.Lock()
FORMATS = ("JPEG", "PNG", "WEBP")
MOST_PHOTOS = 200


def add_photo(
    ledger: Ledger,
    slug: str,
    content: bytes,
    *,
    at: datetime,
    caption: str = "",
    who: str = YOU,
    id: str | None = None,
) -> Entry:
    """Keep a picture and write it into the log.

    Raises
    ------
    InputError
        If it is not a JPEG, PNG or WebP picture, or is too large.
    """
    if len(ledger.photos(slug)) >= MOST_PHOTOS:
        raise InputError(
            "photo",
            say("needs a batch with fewer than {most} pictures", most=MOST_PHOTOS),
            say("full"),
        )
    made, width, height = prepared(content)
    digest = hashlib.sha256(made).hexdigest()
    if (kept := _sent_before(ledger, slug, id, digest, caption)) is not None:
        return kept
    record = PhotoRecord(
        uuid4().hex, slug, "image/jpeg", width, height, len(made), digest, at, made
    )
    line = Entry(id or new_id(), at, who, Photo(record.id, caption))
    return ledger.append(slug, [line], photos=[record])[0]


def _sent_before(
    ledger: Ledger, slug: str, id: str | None, digest: str, caption: str
) -> Entry | None:
    """The line of a picture that was sent before under this id, if it is the same."""
    if id is None or ledger.holding([id]).get(id) != slug:
        return None
    kept = next((e for e in ledger.log(slug) if e.id == id), None)
    if kept is None or not isinstance(kept.what, Photo) or kept.what.caption != caption:
        return None
    return kept if ledger.photo(slug, kept.what.photo).sha256 == digest else None


def prepared(content: bytes) -> tuple[bytes, int, int]:
    """The picture as a JPEG of at most 1600 pixels a side, upright, without any metadata."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    if not 0 < len(content) <= LARGEST_BYTES:
        most = say("needs a picture of at most {most} MB", most=LARGEST_BYTES // 1_000_000)
        raise InputError("photo", most, say("{count} bytes", count=len(content)))
    try:
        with _one_at_a_time, Image.open(io.BytesIO(content), formats=FORMATS) as picture:
            _few_enough_pixels(picture)
            picture.draft("RGB", (SIDE, SIDE))
            picture.thumbnail((SIDE, SIDE))
            plain = ImageOps.exif_transpose(picture).convert("RGB")
    except InputError:
        raise
    except (UnidentifiedImageError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise InputError(
            "photo", say("needs a JPEG, PNG or WebP picture"), say("another file")
        ) from None
    except (OSError, SyntaxError, ValueError, EOFError, MemoryError):
        raise InputError(
            "photo", say("needs a picture that is whole"), say("a damaged one")
        ) from None
    clean = Image.new("RGB", plain.size)
    clean.paste(plain)  # pixels alone: no camera, no place, no thumbnail
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=82, optimize=True)
    return out.getvalue(), clean.width, clean.height


def _few_enough_pixels(picture: Image.Image) -> None:
    width, height = picture.size
    most = MOST_PIXELS.get(picture.format or "", 0)
    if width * height > most:
        needs = say(
            "needs at most {most} megapixels as {format}",
            most=most // 1_000_000,
            format=picture.format,
        )
        raise InputError("photo", needs, f"{width} x {height}")


def prepared_once(content: bytes) -> tuple[bytes, int, int]:
    """The same, but a picture that has been through this before stays as it is, to the byte."""
    from PIL import Image

    made, width, height = prepared(content)
    with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
        bare = not (set(picture.info) - {"jfif", "jfif_version", "jfif_unit", "jfif_density"})
        ours = picture.format == "JPEG" and picture.mode == "RGB" and max(picture.size) <= SIDE
        ends = content[:2] == b"\xff\xd8" and content[-2:] == b"\xff\xd9"
        comment = b"\xff\xe1" in content[:4096] or b"\xff\xfe" in content[:4096]
    return (content if bare and ours and ends and not comment else made), width, height
