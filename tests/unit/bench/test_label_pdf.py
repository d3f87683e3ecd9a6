"""The sheet of labels: pages, text, QR code, and what it refuses."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date

import pypdf
import pytest

from mustwright.bench.label_pdf import label_sheet, labels_pdf
from mustwright.bench.step_table import run_step
from mustwright.errors import InputError

DAY = date(2026, 3, 1)
TYPED = {
    "volume": "19 L", "size": ["750 mL", "375 mL x 2"], "alcohol": "12.5 %", "so2": "40 mg/L",
    "name": "Dry Lane", "kind": "Honey wine", "batch": "dry lane", "profile": "us",
}  # fmt: skip


def pages(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def test_one_label_for_each_bottle_eight_to_a_page():
    done = run_step("bottle", TYPED, DAY)
    texts = pages(labels_pdf(done))
    count = int(done.bottle_count.value)
    assert len(texts) == -(-count // 8)
    assert sum(text.count("Dry Lane") for text in texts) == count
    for words in ("12.5 % alc. by vol.", "750 mL", "Contains sulfites", "Lot L26060-DRYLANE"):
        assert words in texts[0]
    assert "GOVERNMENT WARNING" in texts[0]


def test_the_first_words_of_the_warning_are_bold_and_it_is_never_small():
    facts = run_step("bottle", TYPED, DAY).labels[0]
    for contents in ("", "honey, water, yeast " * 20):  # so much that all else shrinks
        found = {}

        def seen(text, _matrix, _position, font, size, found=found):
            for words in ("GOVERNMENT WARNING", "According to"):
                if words in text:
                    found[words] = (font["/BaseFont"], size)

        pdf = label_sheet([(replace(facts, contents=contents), 1)], made=DAY)
        pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text(visitor_text=seen)
        assert found["GOVERNMENT WARNING"] == ("/Helvetica-Bold", 8)
        assert found["According to"] == ("/Helvetica", 8)


def test_the_same_labels_make_the_same_file():
    done = run_step("bottle", TYPED, DAY)
    assert labels_pdf(done, "https://example.org/batch/7") == labels_pdf(
        done, "https://example.org/batch/7"
    )
    assert labels_pdf(done) != labels_pdf(done, "https://example.org/batch/7")


def test_what_it_refuses():
    facts = run_step("bottle", TYPED, DAY).labels[0]
    with pytest.raises(InputError, match="western European"):
        label_sheet([(replace(facts, name="\u4e2d"), 1)], made=DAY)
    with pytest.raises(InputError, match="does not fit"):
        label_sheet([(replace(facts, contents="honey " * 600), 1)], made=DAY)
    with pytest.raises(InputError, match="a4, letter"):
        label_sheet([(facts, 1)], made=DAY, page="a0")
    with pytest.raises(InputError, match="1 to 2000"):
        label_sheet([], made=DAY)


def test_letter_paper_has_its_own_size():
    pdf = label_sheet([(run_step("bottle", TYPED, DAY).labels[0], 1)], made=DAY, page="letter")
    box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert float(box.width) == pytest.approx(612, abs=0.5)


def test_a_label_for_another_country_is_made_in_its_language():
    typed = TYPED | {"profile": "eu", "label_language": "DE"}
    text = " ".join(pages(labels_pdf(run_step("bottle", typed, DAY)))[0].split())
    for words in ("Enthält Sulfite", "12,5 % vol", "Los L26060-DRYLANE", "Abgefüllt"):
        assert words in text
    with pytest.raises(InputError) as refused:
        run_step("bottle", typed | {"label_language": "xx"}, DAY)
    assert refused.value.field == "label_language"
