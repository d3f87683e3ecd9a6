"""A newcomer's way through the pages, from the first must to the printed sheet."""

from __future__ import annotations

import io
import re

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from serving import serving, wait_for_forecast


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A cellar of this journey's own."""
    with serving(tmp_path_factory.mktemp("journey"), "--port", "0") as found:
        wait_for_forecast(found)
        yield found


def save(page):
    page.locator(".actions button").click()


def start_a_must(page, name):
    page.goto("/")
    page.get_by_role("link", name="Start a must").click()
    page.get_by_label("Name", exact=True).fill(name)
    page.get_by_label("Volume before pitching").fill("20 litre")
    page.get_by_label("Target", exact=True).fill("1.100")
    page.get_by_label("Ingredient", exact=True).first.fill("heather hony")
    generic = page.get_by_label(re.compile("Use generic kinds"))
    if generic.count():  # nothing is on the shelf yet
        generic.check()
    save(page)


@pytest.fixture(params=["with scripts", "without"])
def journey(request, watch):
    """The page, with or without scripts; a refused form answers 422, which the console notes."""
    watch.expect("422")
    return request.getfixturevalue("page" if request.param == "with scripts" else "plain_page")


def test_from_first_must_to_changed_shelf(journey, shoot, request):
    page = journey
    name = f"Heath {abs(hash(request.node.name)) % 100000}"
    start_a_must(page, name)

    # An error stands beside its field; nothing typed is lost.
    wrong = page.locator(".field.bad")
    assert wrong.count() == 1
    assert wrong.locator("input").input_value() == "heather hony"
    assert "What came: heather hony" in wrong.inner_text()
    assert page.get_by_label("Name", exact=True).input_value() == name
    assert page.get_by_label("Target", exact=True).input_value() == "1.100"
    shoot(page, "journey-error")
    wrong.locator("input").fill("heather honey")
    page.get_by_role("button", name="One more ingredient").click()
    assert page.get_by_role("group", name=re.compile("Ingredient")).count() == 3
    assert page.get_by_label("Ingredient", exact=True).first.input_value() == "heather honey"
    save(page)

    # The plan
    assert page.get_by_role("heading", level=1).inner_text() == name
    assert "Dry about day" in page.locator(".next").inner_text()
    assert "Mix " in page.locator(".steps").inner_text()
    plan_url = page.url.split("?")[0]
    page.get_by_role("heading", name=re.compile("^Feed 1")).click()
    first = page.locator(".doses summary").first
    assert not page.locator(".doses .how").first.is_visible()
    first.click()
    assert page.locator(".doses .how").first.is_visible()
    page.locator(".doses .how a[href*=working]").first.click()
    assert "All the working" in page.get_by_role("heading", level=1).inner_text()
    expect(page.locator("li:target")).to_have_count(1)

    # Rivals side by side
    page.goto(plan_url + "/compare")
    assert re.match(r"(Yes|No|Hardly, to finish): ", page.locator(".next .big").inner_text())
    page.get_by_role("link", name="All of them in figures").click()
    row = page.get_by_role("row", name=re.compile("Organic at onset, complex"))
    assert re.search(r"\d+", row.first.inner_text())
    before = page.locator("table.compare tbody th").count()

    # A protocol of one's own, with a mistake on the way
    page.goto("/protocols/halves_at_onset_and_third")
    page.get_by_role("link", name="Make my own from this").click()
    own = f"my_way_{abs(hash(request.node.name)) % 100000}"
    page.get_by_label("Short name").fill(own)
    page.get_by_label("Name: say what it does").fill(f"Early and late {own}")
    page.get_by_label("Share").first.fill("0.8")
    page.get_by_role("button", name="Save the protocol").last.click()
    assert "add up to 1" in page.locator("#stop").inner_text()
    page.get_by_label("Share").nth(1).fill("0.2")
    page.get_by_role("button", name="Save the protocol").last.click()
    assert page.url.endswith(own)
    assert "share = 0.8" in page.locator("pre").inner_text()

    page.goto(plan_url + "/compare/figures")
    assert page.locator("table.compare tbody th").count() == before + 2  # a row in each table
    page.get_by_role("link", name=f"Early and late {own}").first.click()
    assert f"Early and late {own}" in page.locator(".lede").inner_text()

    # The shelf runs low: the plan follows
    page.goto(plan_url + "?protocol=everything_at_pitch")
    held = page.locator(".facts dd").last.text_content()
    page.goto("/shelf/dap")
    stock = page.get_by_label("Stock").input_value()
    page.get_by_label("Stock").fill("2 g")
    save(page)
    page.goto(plan_url + "?protocol=everything_at_pitch")
    assert page.locator(".facts dd").last.text_content() != held
    assert "2.0 g" in page.locator(".doses").text_content()
    page.goto("/shelf/dap")
    page.get_by_label("Stock").fill(stock)
    save(page)
    page.goto(plan_url + "?protocol=everything_at_pitch")
    assert page.locator(".facts dd").last.text_content() == held

    # Put away, and brought back
    page.get_by_role("button", name="Delete this must").click()
    assert page.get_by_role("link", name=name, exact=True).count() == 0
    shoot(page, "journey-put-away")
    page.get_by_role("button", name="Bring it back").click()
    assert page.get_by_role("heading", level=1).inner_text() == name


def test_two_who_change_one_must_both_keep_what_they_typed(page, watch):
    watch.expect("409")
    page.goto("/musts/dry-lane-mead/edit")
    other = page.context.new_page()
    other.goto("/musts/dry-lane-mead/edit")
    other.get_by_label("Volume before pitching").fill("18 L")
    save(other)
    page.get_by_label("Ferment temperature").fill("16 C")
    save(page)
    assert page.get_by_label("Ferment temperature").input_value() == "16 C"
    assert 'volume = "18 L"' in page.locator(".stop pre").inner_text()
    save(page)
    page.goto("/musts/dry-lane-mead/text")
    text = page.locator("textarea").input_value()
    assert 'temperature = "16 C"' in text
    page.locator("textarea").fill(text.replace('"16 C"', '"18 C"').replace('"18 L"', '"19 L"'))
    save(page)


def test_form_and_text_are_one_sheet(plain_page):
    page = plain_page
    page.goto("/musts/hedgerow-berry/text")
    text = page.locator("textarea").input_value()
    page.locator("textarea").fill(text.replace("[yeast]", "# mine to remember\n[yeast]", 1))
    save(page)
    page.goto("/musts/hedgerow-berry/edit")
    page.get_by_role("heading", name="Yeast").click()
    page.get_by_label("Dry yeast").fill("21 g")
    save(page)
    page.goto("/musts/hedgerow-berry/text")
    changed = page.locator("textarea").input_value()
    assert "# mine to remember" in changed
    assert changed.replace("21 g", "20 g").replace("# mine to remember\n", "", 1) == text
    page.locator("textarea").fill(text)
    save(page)


PAPER = {"A4": (595, 842), "Letter": (612, 792)}


@pytest.mark.parametrize("viewport", ["laptop"], indirect=True)
@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("protocol", ["everything_at_pitch", "staged_for_strong_musts"])
def test_the_printed_sheet(page, paper, protocol):
    page.emulate_media(color_scheme="dark", media="print")
    page.goto(f"/musts/dry-lane-mead?protocol={protocol}")
    ground = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    assert ground == "rgb(255, 255, 255)"
    pdf = page.pdf(format=paper, print_background=True)
    reader = PdfReader(io.BytesIO(pdf))
    wide, high = (round(float(side)) for side in reader.pages[0].mediabox[2:])
    assert abs(wide - PAPER[paper][0]) <= 1
    assert abs(high - PAPER[paper][1]) <= 1
    assert 1 <= len(reader.pages) <= 3
    text = " ".join(" ".join(p.extract_text() for p in reader.pages).split())
    for words in ("Dry lane mead", "Rehydrate the yeast and pitch", "Feed 1", "gave", "Pitched on",
                  "erupt", "label of the product"):  # fmt: skip
        assert words in text
    for words in ("Show it by another protocol", "Delete this must", "Needed and supplied"):
        assert words not in text
