"""A batch in a real browser, on a phone: from plan to stuck to rescue to dry; and its pages."""

from __future__ import annotations

import io
import re

import pytest
from pypdf import PdfReader

from batch_pages import NOW, Cellar
from every_page import BATCHES, stock
from mustwright.compose import Compose
from playing import playing
from screens import OUTSIDE, OVERLAPS, SMALL, UNFOLD, over_the_edge, too_much

PHONE = pytest.mark.parametrize("viewport", ["phone"], indirect=True)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A cellar whose clock the test sets, with batches in several states."""
    cellar = Cellar(Compose(tmp_path_factory.mktemp("batches")))
    with playing(cellar.compose) as address:
        stock(cellar)
        yield cellar, address


@pytest.fixture(scope="module")
def address(served):
    return served[1]


@pytest.fixture
def cellar(served):
    served[0].now = NOW
    return served[0]


PAGES = BATCHES | {"cellar-due": "/"}


@pytest.mark.usefixtures("cellar")
@pytest.mark.parametrize("name", PAGES)
def test_a_page_of_a_batch(page, axe, in_the_dark, shoot, name):
    answer = page.goto(PAGES[name])
    assert answer.status == 200
    assert too_much(page, answer) == []
    assert page.get_by_role("heading", level=1).count() == 1
    assert over_the_edge(page) <= 0
    assert axe(page) == []
    assert page.evaluate(OUTSIDE) == []
    assert page.evaluate(OVERLAPS) == []
    shoot(page, name)
    assert in_the_dark(page, name) == []
    page.evaluate(UNFOLD)
    assert over_the_edge(page) <= 0
    assert axe(page) == []
    if page.viewport_size["width"] == 390:
        assert page.evaluate(SMALL) == []


# Playing it -----------------------------------------------------------------------------------


class Maker:
    """Someone with a phone beside the fermenter, and a thermometer in Fahrenheit."""

    def __init__(self, page, cellar, slug: str) -> None:
        self.page, self.cellar, self.here = page, cellar, f"/batches/{slug}"

    def open(self) -> str:
        self.page.goto(self.here)
        return self.next()

    def next(self) -> str:
        return self.page.locator(".next .big").inner_text()

    def read(self, gravity: float, warm: float | None = None, ph: float | None = None) -> str:
        """One form, three fields, one button."""
        quick = self.page.locator("form.quick")
        quick.get_by_label("Gravity").fill(f"{gravity:.3f}")
        if warm is not None:
            quick.get_by_label("Must °F").fill(f"{warm * 1.8 + 32:.1f}")
        if ph is not None:
            quick.get_by_label("pH", exact=True).fill(f"{ph:g}")
        quick.get_by_role("button", name="Save the reading").click()
        assert "Written down." in self.page.locator(".notice").first.inner_text()
        return self.next()

    def after(self, hours: float, gravity: float, warm: float | None = None, ph=None) -> str:
        self.cellar.pass_hours(hours)
        self.open()
        return self.read(gravity, warm, ph)

    def happened(self, what: str, **more: str) -> None:
        self.page.get_by_text("Something happened", exact=True).click()
        form = self.page.locator("#event form")
        form.get_by_label("What happened").select_option(what)
        for label, value in more.items():
            form.get_by_label(label).fill(value)
        form.get_by_role("button", name="Save the event").click()

    def unfold(self, *names: str) -> None:
        for name in names:
            self.page.get_by_role("heading", name=name).click()

    def text(self, selector: str) -> str:
        return self.page.locator(selector).inner_text()


@pytest.fixture(params=["with scripts", "without"])
def phone(request, viewport):
    assert viewport == "phone"
    return request.getfixturevalue("page" if request.param == "with scripts" else "plain_page")


@PHONE
def test_a_whole_batch_from_plan_to_stuck_to_rescue_to_dry(phone, cellar, shoot, request):
    page = phone
    tag = "" if "with scripts" in request.node.name else "-plain"
    name = f"Long winter{tag}"

    def shot(what: str) -> None:
        shoot(page, f"whole-{what}{tag}")

    # From the plan
    page.goto("/musts/midwinter-sweet?protocol=staged_for_strong_musts")
    page.get_by_role("link", name="Start a batch from this plan").first.click()
    assert page.get_by_label("Pitched").input_value() == cellar.now.strftime("%Y-%m-%dT%H:%M")
    page.get_by_label("Name of the batch").fill(name)
    page.get_by_role("button", name="Start the batch").click()
    assert page.get_by_role("heading", level=1).inner_text() == name
    maker = Maker(page, cellar, page.url.rsplit("/", 1)[1])
    assert re.search(r"\d+(\.\d+)? g ", maker.next()), maker.next()
    assert " about " in maker.next()
    shot("1-started")

    # It begins; the first feed is due and goes in as planned, with one tap.
    maker.read(1.115, 20, 3.9)
    first = maker.after(20, 1.110, 20.5)
    assert first.startswith("Feed ")
    assert " now" in first
    shot("2-feed-due")
    page.get_by_role("button", name="Given as planned").click()
    assert "Fed:" in maker.text(".notice")
    maker.unfold("Feeds")
    assert "as planned" in maker.text(".feed-list li:first-child")
    maker.happened("stirred")

    # The second with other amounts; a slip in a reading is corrected.
    maker.after(24, 1.078, 21, 3.5)
    shot("3-slip")
    page.locator(".log details.change summary").first.click()
    page.locator(".log").get_by_role("link", name="Correct").first.click()
    page.get_by_label("Gravity").fill("1.098")
    page.get_by_role("button", name="Write the correction").click()
    assert "1.078" in page.locator(".log .history").first.text_content()
    assert "1.098" in maker.text(".log > li:first-child")
    maker.open()
    page.get_by_text("A feed with other amounts", exact=True).click()
    grams = page.locator("#feed input[name^=grams-]")
    filled = [g for g in grams.all() if g.input_value()]
    filled[0].fill("2")
    page.locator("#feed").get_by_role("button", name="Record this feed").click()
    maker.unfold("Feeds")
    assert "gave 2 g" in maker.text(".feed-list")
    shot("4-fed-otherwise")

    # It warms up and runs ahead of its feeds: the plan is changed on consent.
    maker.after(30, 1.068, 25.5)
    assert "changed plan" in maker.next() or page.get_by_text("no longer fits").count()
    page.get_by_role("link", name="See what would change").first.click()
    assert page.get_by_text("Before", exact=True).count() >= 1
    shot("5-replan")
    page.get_by_role("button", name="Use the new plan").click()
    assert "Plan 2" in maker.text(".notice")
    if page.get_by_role("button", name="Given as planned").count():
        page.get_by_role("button", name="Given as planned").click()

    # Then it slows down and stands still.
    maker.happened("moved", **{"Temperature, °F": "46", "Note": "cold snap"})
    for hours, gravity, warm in (
        (24, 1.058, 12), (24, 1.053, 9), (24, 1.051, 8), (24, 1.051, 8), (24, 1.051, 8),
        (24, 1.051, 8),
    ):  # fmt: skip
        maker.after(hours, gravity, warm)
    assert "stopped" in maker.next()
    maker.after(12, 1.051, 8, 3.3)
    assert "Stopped short" in maker.text(".glance")
    maker.unfold("Is it going well?", "What may be behind it", "If it stays as it is")
    assert "Stopped short" in maker.text(".findings")
    assert page.locator(".causes > li").count() >= 4
    assert "emperature" in maker.text("#causes ~ .causes > li:first-child strong")
    assert "Starter." in maker.text(".restart")
    assert "Double" in maker.text(".restart")
    assert maker.text("#worries + .findings").count("It is over when") >= 1
    shot("6-stuck")
    page.goto("/")
    assert name in page.locator(".today .strip").first.inner_text()
    shot("7-home")

    # The rescue
    maker.open()
    maker.happened("moved", **{"Temperature, °F": "72"})
    cellar.pass_hours(96)
    maker.open()
    maker.unfold("restart, step by step")
    page.get_by_role("button", name="Starter combined with the batch, now").click()
    assert "Restart starter combined" in maker.text(".notice")
    for hours, gravity in ((24, 1.047), (24, 1.041), (24, 1.034), (48, 1.021), (48, 1.010)):
        maker.after(hours, gravity, 22)
    assert "Stopped short" not in maker.text("article")
    shot("8-rescued")

    # Dry, and stable for two weeks
    for hours, gravity in ((72, 1.001), (96, 0.995), (168, 0.9945), (192, 0.9945), (192, 0.9945)):
        maker.after(hours, gravity, 20)
    assert "Rack it off" in maker.next()
    shot("9-dry")
    page.get_by_role("link", name="Finish: rack").click()
    page.get_by_role("button", name="Done: record it in the batch").click()
    assert "Racked:" in maker.text(".notice")
    maker.happened("bottled")
    assert maker.next() == "This batch is closed."
    shot("10-closed")
    page.goto("/batches")
    assert page.locator("#closed + ul").get_by_role("link", name=name, exact=True).count() == 1


@PHONE
def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_is_kept(phone, cellar, watch):
    watch.expect("422")
    page = phone
    maker = Maker(page, cellar, "heather")
    maker.open()
    quick = page.locator("form.quick")
    quick.get_by_label("Gravity").fill("1.9")
    quick.get_by_label("pH", exact=True).fill("3.5")
    quick.get_by_role("button", name="Save the reading").click()
    assert "Nothing was written" in maker.text("#stop")
    quick = page.locator("form.quick")
    assert quick.get_by_label("Gravity").input_value() == "1.9"
    assert quick.get_by_label("pH", exact=True).input_value() == "3.5"
    assert quick.locator(".bad").count() == 1
    assert "0.95 to 1.25" in quick.locator(".bad .wrong").inner_text()


@PHONE
def test_two_phones_on_one_entry_see_both(page, cellar, watch, shoot):
    watch.expect("409")
    id = cellar.read("waiting", 1, 1.119, temperature_c=19.0).id
    page.goto(f"/batches/waiting/entries/{id}")
    other = page.context.new_page()
    other.goto(f"/batches/waiting/entries/{id}")
    other.get_by_label("Gravity").fill("1.118")
    other.get_by_role("button", name="Write the correction").click()
    page.get_by_label("Must °C").fill("18")
    page.get_by_role("button", name="Write the correction").click()
    assert "1.118" in page.locator(".stop").inner_text()
    assert page.get_by_label("Must °C").input_value() == "18"
    assert page.get_by_label("Gravity").input_value() == "1.118"
    shoot(page, "batch-conflict")
    page.get_by_role("button", name="Write mine over it").click()
    said = page.locator(f"#e-{id}").inner_text()
    assert "1.118, must 18 °C" in said


@PHONE
def test_a_table_is_pasted_mapped_looked_at_and_written(phone, cellar, watch, shoot):
    watch.expect("422")
    page = phone
    slug = cellar.start("Pasted", 60).slug
    page.goto(f"/batches/{slug}/import")
    table = "Day;SG;T\n2031-05-03 08:00;1.110;20\n2031-05-04 08:00;1.099;21\n"
    page.get_by_label("or the table itself").fill(table)
    page.get_by_role("button", name="Look at it").click()
    page.get_by_label("When", exact=True).select_option("Day")
    page.get_by_label("Gravity or Brix").select_option("SG")
    page.get_by_label("Must temperature").select_option("T")
    page.get_by_role("button", name="Look at it").click()
    assert "2 new lines" in page.locator(".big").inner_text()
    shoot(page, "batch-import-looked")
    page.get_by_role("button", name="Write these lines").click()
    assert "2 lines imported" in page.locator(".notice").inner_text()
    assert "1.099, must 21 °C" in page.locator(".log").inner_text()


@PHONE
def test_a_photo_and_a_note_from_the_phone(phone, cellar, tmp_path, shoot):
    from PIL import Image

    Image.new("RGB", (1200, 900), "#a86a1c").save(tmp_path / "foam.jpg")
    page = phone
    page.goto("/batches/heather")
    page.get_by_text("A photo", exact=True).click()
    page.get_by_label("Picture", exact=True).set_input_files(tmp_path / "foam.jpg")
    page.get_by_label("What it shows").fill("first foam")
    page.get_by_role("button", name="Save the photo").click()
    picture = page.locator(".log img").first
    kept = page.request.get(picture.get_attribute("src"))
    assert kept.headers["content-type"] == "image/jpeg"
    assert picture.get_attribute("alt") == "first foam"
    page.get_by_text("A note", exact=True).click()
    page.locator("#note-text").fill("smells of apples")
    page.get_by_role("button", name="Save the note").click()
    assert "smells of apples" in page.locator(".log").inner_text()
    shoot(page, "batch-noted")
    page.locator(".notice").get_by_role("button", name="Undo").click()
    page.locator(".log .removed", has_text="smells of apples").first.wait_for()
    assert cellar.now == NOW


PAPER = {"A4": (595, 842), "Letter": (612, 792)}


@pytest.mark.usefixtures("cellar")
@pytest.mark.parametrize("viewport", ["laptop"], indirect=True)
@pytest.mark.parametrize("paper", PAPER)
def test_the_sheet_of_a_batch_on_paper(page, paper):
    page.emulate_media(color_scheme="dark", media="print")
    page.goto("/batches/heather/paper")
    pdf = page.pdf(format=paper, print_background=True)
    reader = PdfReader(io.BytesIO(pdf))
    wide, high = (round(float(side)) for side in reader.pages[0].mediabox[2:])
    assert abs(wide - PAPER[paper][0]) <= 1
    assert abs(high - PAPER[paper][1]) <= 1
    assert len(reader.pages) == 2
    first, second = (" ".join(p.extract_text().split()) for p in reader.pages)
    for words in ("Heather", "Next:", "One-third break", "Each 100 g of sugar", "Feeds"):
        assert words in first
    for words in ("Log", "date, time", "what was done"):
        assert words in second
    assert "Back to the batch" not in first
