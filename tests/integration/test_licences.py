"""The list of licences: every package of the lock, and what its metadata says."""

from __future__ import annotations

import importlib.util
import re
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def licences():
    spec = importlib.util.spec_from_file_location("licences", ROOT / "scripts/licences.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_names_every_package_of_the_lock_and_no_other(licences):
    lock = (ROOT / "requirements.lock").read_text("utf-8")
    names = set(re.findall(r"(?m)^([a-z0-9._-]+)==", lock))
    rows = licences.rows_of(licences.PAGE.read_text("utf-8"))
    assert set(rows) == names
    for name, (releases, _) in rows.items():
        found = re.findall(rf"(?m)^{re.escape(name)}==([^\s;]+)", lock)
        assert releases.split(", ") == sorted(found), name


def test_the_page_says_what_the_installed_metadata_says(licences):
    lock = licences.LOCK.read_text("utf-8")
    page = licences.PAGE.read_text("utf-8")
    assert licences.page_for(lock, page) == page


def test_every_licence_is_known_and_lets_the_package_be_used(licences):
    """A package whose terms are not said, or are none of these, is looked at by a person first."""
    free = re.compile(
        r"(MIT|BSD|Apache|MPL|Mozilla|PSF|Python Software|LGPL-3|0BSD|Zlib|CC0|ISC|HPND)"
    )
    rows = licences.rows_of(licences.PAGE.read_text("utf-8"))
    odd = {n: said for n, (_, said) in rows.items() if not free.search(said) or "not said" in said}
    assert odd == {}


def test_a_new_package_or_release_is_noticed(licences):
    lock = licences.LOCK.read_text("utf-8")
    page = licences.PAGE.read_text("utf-8")
    more = lock + "pytest==1.0 \\\n    --hash=sha256:00\n"
    said = licences.rows_of(licences.page_for(more, page))
    assert said["pytest"] == ("1.0", metadata.metadata("pytest")["License-Expression"])
    assert licences.page_for(lock.replace("click==", "click==99."), page) != page
    assert licences.licence_of("no-such-package-here") is None
