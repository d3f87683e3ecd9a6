"""A picture and its line are kept together or not at all; no picture takes the memory."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
import textwrap
from datetime import timedelta

import pytest
from PIL import Image

from batches import PITCHED, plan
from databases import KINDS, store_of
from faults import disk_of
from mustwright.errors import InputError
from mustwright.services.batch.photos import add_photo, prepared
from mustwright.services.batch.record import start_batch
from mustwright.services.batch.repository import SameIdError
from mustwright.services.repository import UnwritableError


def png(width: int, height: int) -> bytes:
    out = io.BytesIO()
    Image.new("1", (width, height)).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("write", [1, 2, 3, 4])
def test_a_picture_and_its_line_are_kept_both_or_neither(kind, write, tmp_path):
    """Stopped at the line, at the count of the batch, at the picture, at the commit."""
    with store_of(kind, tmp_path, lambda: PITCHED + timedelta(days=1)) as store:
        ledger = store.ledger
        slug = start_batch(ledger, plan(), "Heather", now=PITCHED).slug
        with disk_of(store._engine) as disk:
            disk.fails_at = write
            with pytest.raises(UnwritableError):
                add_photo(ledger, slug, png(8, 8), at=PITCHED)
            disk.fails_at = 0
            assert ledger.photos(slug) == []
            assert len(ledger.log(slug)) == 1
            disk.count = 0
            entry = add_photo(ledger, slug, png(8, 8), at=PITCHED, id="a")
            assert disk.count == 4
        assert [p.id for p in ledger.photos(slug)] == [entry.what.photo]
        # The same form again writes neither a line nor a picture; another picture says so.
        assert add_photo(ledger, slug, png(8, 8), at=PITCHED, id="a") == entry
        with pytest.raises(SameIdError):
            add_photo(ledger, slug, png(9, 8), at=PITCHED, id="a")
        assert len(ledger.photos(slug)) == 1


@pytest.mark.parametrize(("width", "height"), [(8000, 6300), (60_000, 500), (26_000_001, 1)])
def test_too_many_pixels_are_refused_by_the_head_of_the_file(width, height):
    with pytest.raises(InputError, match="megapixels as PNG"):
        prepared(png(width, height))


@pytest.mark.thorough
@pytest.mark.skipif(sys.platform != "linux", reason="counts memory as Linux does")
@pytest.mark.parametrize(
    ("kind", "width", "height"), [("JPEG", 9000, 6000), ("PNG", 6400, 4000), ("WEBP", 4800, 3500)]
)
def test_the_largest_pictures_that_are_taken_need_little_memory(kind, width, height, tmp_path):
    """A 50-megapixel picture once took 1.3 GB."""
    path = tmp_path / "large"
    noise = Image.effect_noise((width // 16, height // 16), 40).resize((width, height), 0)
    noise.convert("RGB").save(path, kind, quality=20)
    script = textwrap.dedent("""
        import re, sys
        from pathlib import Path
        from PIL import Image, ImageOps
        from mustwright.services.batch.photos import prepared
        def peak():
            return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
        content = Path(sys.argv[1]).read_bytes()
        before = peak()
        prepared(content)
        print((peak() - before) // 1024)
    """)
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", script, str(path)], env=environment, text=True,
                          capture_output=True, timeout=120, check=False)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert int(re.search(r"\d+", done.stdout)[0]) < 350
