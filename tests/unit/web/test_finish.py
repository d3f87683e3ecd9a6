"""The finishing bench in the browser, held against the command line."""

from __future__ import annotations

import html
import io
import json
import re
from urllib.parse import parse_qsl, urlencode, urlsplit

import pypdf
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from batch_pages import unlinked
from cases import cases
from finish_cases import CASES, LOTS, words_of
from mustwright.bench.field_text import printed, words
from mustwright.bench.liquid import FORM
from mustwright.bench.step_table import PAGES
from mustwright.cli.main import run
from mustwright.figure import Figure
from mustwright.services.demo import seed_demo
from mustwright.web.pages.render_values import cautions
from workings import whole_working

GOOD = {case: fields for case, (_, _, fields) in CASES.items()}


def address(slug, fields, path=""):
    return f"/finish/{slug}{path}?{urlencode(fields)}"


def plain(text):
    """The words of a page, with single spaces."""
    text = re.sub(r"</?a\b[^>]*>", "", text)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def figures(text):
    """Figures of the page by what they are called: value and unit as printed."""
    body = text.split('id="figures"', 1)[1].split("</dl>")[0]
    found = {}
    for name, value in re.findall(r"<dt>(.*?)</dt><dd>.*?<summary>(.*?)</summary>", body, re.S):
        found[html.unescape(name)] = plain(value.split("<span")[0])
    return found


def hidden(text):
    return dict(re.findall(r'<input type="hidden" name="(.*?)" value="(.*?)">', text))


def field(text, name):
    """The value an input holds."""
    found = re.search(rf'<input id="{re.escape(name)}" name="[^"]+" value="(.*?)"', text)
    assert found, name
    return html.unescape(found[1])


def wrong(text, name):
    """The error beside a field."""
    found = re.search(rf'<p class="wrong" id="{re.escape(name)}-wrong">(.*?)</p>', text)
    assert found, name
    return html.unescape(found[1])


# The bench ---------------------------------------------------------------------------------------


def test_the_bench_lists_the_steps_in_order_and_hands_the_liquid_on(client):
    liquid = {"volume": "19 L", "ph": "3.5", "alcohol": "12 %", "batch": "lane"}
    text = client.get(f"/finish?{urlencode(liquid)}").text
    places = [text.index(f'<a href="/finish/{slug}?') for slug in PAGES]
    assert places == sorted(places)
    for slug in PAGES:
        found = re.search(rf'<a href="/finish/{slug}\?(.*?)"', text)
        assert dict(parse_qsl(html.unescape(found[1]))) == liquid
    assert "In the vessel: volume 19 L, alcohol 12 % vol, pH 3.5, batch lane" in text


def test_a_bad_liquid_is_told_beside_the_field_and_kept(client):
    answer = client.get("/finish?volume=19+C&alcohol=12+%25")
    assert answer.status_code == 422
    assert "19 C" in wrong(answer.text, "volume")
    assert field(answer.text, "volume") == "19 C"
    assert field(answer.text, "alcohol") == "12 %"


def test_it_is_in_the_navigation_and_on_a_plan(client):
    assert '<a href="/finish">Finish</a>' in client.get("/").text
    seed_demo(client.app.state.compose.cellar)
    text = client.get("/musts/dry-lane-mead").text
    href = html.unescape(re.search(r'<a href="(/finish\?[^"]+)">Finish</a>', text)[1])
    fields = dict(parse_qsl(urlsplit(href).query))
    assert set(fields) == {"volume", "original", "profile"}
    assert "gravity" not in fields  # nobody has measured the mead yet
    assert client.get(href).status_code == 200


# Answers -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("slug", PAGES)
def test_an_empty_form_blames_nobody(client, slug):
    answer = client.get(f"/finish/{slug}")
    assert answer.status_code == 200
    assert 'role="alert"' not in answer.text
    assert PAGES[slug].heading in answer.text
    beside = plain(answer.text[answer.text.index('<button name="show"') :])
    assert PAGES[slug].cautions
    for name in PAGES[slug].cautions:
        assert cautions()[name] in beside


@pytest.mark.parametrize("slug", PAGES)
def test_the_button_pressed_on_nothing_says_what_is_missing(client, slug):
    answer = client.get(f"/finish/{slug}?show=1")
    assert answer.status_code == 422
    assert "Something is missing or cannot be read" in answer.text
    assert ("Nothing was typed" in answer.text) != (slug in ("stable", "blend"))


@pytest.mark.parametrize("case", CASES)
def test_a_page_says_what_the_command_line_says(client, capsys, case):
    slug, _, fields = CASES[case]
    answer = client.get(address(slug, fields))
    assert answer.status_code == 200
    assert run([*words_of(case), "--json", "--explain"]) == 0
    told = json.loads(capsys.readouterr().out)
    page = unlinked(answer.text)
    shown = figures(page)
    compared = 0
    for name, value in told.items():
        working = told["working"].get(name)
        if working is None or (value == 0 and words(name) not in shown):
            continue
        assert shown[words(name)] == printed(Figure(value, working["unit"], "", "")), name
        compared += 1
    assert compared == len(shown) >= 1
    for kind in ("steps", "cautions", "notes"):
        for line in told[kind]:
            said = re.sub(r"finish (\w+)", r"the \1 step", line)
            assert plain(said) in plain(page), line
    assert run(words_of(case)) == 0
    first, _, *lines = capsys.readouterr().out.splitlines()
    assert f'<p class="big">{first}</p>' in html.unescape(page)
    in_text = dict(line.split(": ", 1) for line in lines if ": " in line)
    for name, value in shown.items():
        assert re.sub(r" \(.* to .*\)$", "", in_text[name]) == value, name
    for name, value in re.findall(r"<dt>([^<]*)</dt><dd>([^<]*)</dd>", page):
        assert f"{html.unescape(name)}: {html.unescape(value)}" in [ln.strip() for ln in lines]
    in_rows = [re.split(r"\s{2,}", line.strip()) for line in lines]
    for row in rows(answer.text):
        assert row in in_rows


def rows(text):
    """Every row of every table of the page: what stands in it, figures as printed."""
    bare = re.sub(r"<div class=\"how\">.*?</div>", "", text, flags=re.S)
    bare = re.sub(r"<span class=\"range\">.*?</span>", "", bare)
    found = re.findall(r"<tr role=\"row\">(.*?)</tr>", bare, re.S)
    cells = [re.findall(r"<t[hd] [^>]*>(.*?)</t[hd]>", row, re.S) for row in found]
    return [[plain(cell) for cell in row if plain(cell)] for row in cells]


@pytest.mark.parametrize("case", CASES)
def test_figures_lead_to_their_working(client, case):
    slug, _, fields = CASES[case]
    text = client.get(address(slug, fields)).text
    links = set(re.findall(r'<a href="([^"]+/working\?[^"]+)#(w\d+)"', text))
    assert links
    bare = {html.unescape(re.sub(r"[&?](?:amp;)?step=\d+$", "", href)) for href, _ in links}
    assert len(bare) == 1
    working = whole_working(client, bare.pop())
    for href, place in links:
        assert f'id="{place}"' in working
        assert href.endswith(f"step={place.removeprefix('w')}")
    href, place = next(iter(links))
    assert f'id="{place}"' in client.get(html.unescape(href)).text
    assert not re.search(r"\w\[", plain(working))  # places are said in words


def test_the_row_of_glasses_is_on_the_page(client):
    text = plain(client.get(address("sweeten", GOOD["sweeten"])).text)
    assert "6.5 mL" in text
    assert "33.24 g/L" in text
    assert "632 g" in text


def test_bottles_materials_and_label_are_on_the_page(client):
    text = plain(client.get(address("bottle", GOOD["bottle"])).text)
    for said in (
        "Size Count Filled",
        "750 mL",
        "20 bottles",
        "corks, screw caps",
        "L26060-DRYLANE",
        "GOVERNMENT WARNING",
        "still wine up to 16 % vol",
        "Honey wine (mead)",
    ):
        assert said in text, said


def test_what_bears_the_pressure_is_said_of_every_kind(client):
    fields = {**GOOD["carbonate"]}
    del fields["bottle"]
    text = plain(client.get(address("carbonate", fields)).text)
    assert "Fill only: sparkling wine bottle" in text
    assert "What holds the pressure" in text


# Refusals and errors -----------------------------------------------------------------------------

BAD = [
    ("sulfite", {"ph": "9"}, "ph", "2.6 to 4.5"),
    ("sulfite", {"volume": "19 C"}, "volume", "19 C"),
    ("sulfite", {"volume": "lots"}, "volume", "lots"),
    ("sulfite", {"alcohol": "99 %"}, "alcohol", "0 to 20"),
    ("sulfite", {"stock": "90 %"}, "stock", "0.1 to 30"),
    ("sulfite", {"profile": "mars"}, "profile", "eu, home, us"),
    ("sulfite", {"salt": "table"}, "salt", "potassium, sodium"),
    ("stable", {"reading": "2026-01-04 0.998\nyesterday"}, "reading", "yesterday"),
    ("stable", {"reading": "2026-01-04 0.998"}, "reading", "two readings"),
    ("stable", {"original": "0.9"}, "original", "0.9"),
    ("rack", {"lees_depth": "2"}, "lees_depth", "2 cm"),
    ("rack", {"vessel": "5 L"}, "vessel", "at least"),
    ("sorbate", {"molecular": "9"}, "molecular", "0 to 5"),
    ("sweeten", {"to": "very"}, "to", "very"),
    ("sweeten", {"to": "0.990"}, "to", "above what it has now"),
    ("sweeten", {"with": "gravel"}, "with", "gravel"),
    ("acid", {"to_acidity": "3 g/L"}, "to_acidity", "wrong way"),
    ("buffer", {"titration": "0.5 g/L"}, "titration", "0.5 g/L: 3.41"),
    ("fruit", {"amount": "2 L"}, "amount", "2 L"),
    ("spice", {"dose": "900 g/L"}, "dose", "0, to 50"),
    ("blend", {"lot.2.alcohol": "much"}, "lot.2.alcohol", "much"),
    ("blend", {"lot.1.gravity": "1.9"}, "lot.1.gravity", "1.9"),
    ("blend", {"lot.2.gravity": "0.95"}, "lot.2.gravity", "9 % vol"),
    ("blend", {"lot.1.least": "30 L"}, "lot.1.least", "30"),
    ("blend", {"target.alcohol": "strong"}, "target.alcohol", "strong"),
    ("blend", {"target.acidity": "5 g/L"}, "lot.1.name", "acidity"),
    ("blend", {"volume": "90 L"}, "volume", "what can go in"),
    ("carbonate", {"co2": "5 g/L"}, "co2_volumes", "one target"),
    ("carbonate", {"temperature": "90 C"}, "temperature", "-2 to 40"),
    ("carbonate", {"bottle": "vase"}, "bottle", "vase"),
    ("bottle", {"size": "750 mL x 90"}, "size", "at most"),
    ("bottle", {"bottled": "soon"}, "bottled", "2026-03-01"),
    ("bottle", {"name": "中"}, "name", "western European"),
    ("bottle", {"link": "x" * 400}, "link", "300"),
]  # fmt: skip


@pytest.mark.parametrize(("case", "change", "name", "said"), BAD)
def test_an_error_stands_beside_its_field_and_nothing_typed_is_lost(
    client, case, change, name, said
):
    slug, _, good = CASES[case]
    typed = {**good, **change}
    answer = client.get(address(slug, {**typed, "show": "1"}))
    assert answer.status_code == 422
    assert said in wrong(answer.text, name)
    assert f'href="#{name}"' in answer.text or name in ("name", "link")
    for kept, value in typed.items():
        if f'<input id="{kept}"' in answer.text:
            assert field(answer.text, kept) == value.replace("\n", "; ")
        else:
            assert html.escape(value, quote=False) in answer.text or value in answer.text


REFUSED = [
    ("sorbate", {"malolactic": "yes"}, "malolactic", "geranium"),
    ("sorbate", {"fermenting": "yes"}, "fermenting", "does not stop a ferment"),
    ("sweeten", {"stabilised": "no"}, "stabilised", "burst bottles"),
    ("sweeten", {"stabilised": "alcohol"}, "tolerance", "highest alcohol"),
    ("carbonate", {"fermentable": "8 g/L"}, "fermentable", "living yeast"),
    ("carbonate", {"stabilised": "pasteurised"}, "stabilised", "living yeast"),
    ("carbonate", {"bottle": "wine"}, "bottle", "olds 0.15 bar"),
    ("carbonate", {"profile": "us"}, "co2_volumes", "3.92 g/L"),
    ("sulfite", {"ph": "4.5"}, "molecular", "200 mg/L"),
    ("bottle", {"co2": "6 g/L"}, "co2", "still drink"),
    ("bottle", {"alcohol": "14.5 %", "kind": "Honey wine"}, "kind", "14 % vol"),
]


@pytest.mark.parametrize(("case", "change", "name", "said"), REFUSED)
def test_a_refusal_is_as_clear_as_an_answer(client, case, change, name, said):
    slug, _, good = CASES[case]
    answer = client.get(address(slug, {**good, **change}))
    assert answer.status_code == 422
    assert "This is not possible" in answer.text
    assert said in wrong(answer.text, name)
    assert 'id="answer"' not in answer.text


@pytest.mark.parametrize(("case", "change", "_name", "_said"), REFUSED)
def test_the_command_line_refuses_the_same(capsys, case, change, _name, _said):
    words_typed = words_of(case)
    for name, value in change.items():
        flag = f"--{name.replace('_', '-')}"
        if flag in words_typed and value != "yes":
            words_typed[words_typed.index(flag) + 1] = value
        else:
            words_typed += [flag] if value == "yes" else [flag, value]
    assert run([*words_typed, "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["error"]["field"] == _name


def test_an_address_that_only_fills_the_form_is_blamed_for_what_is_wrong_in_it(client):
    assert client.get("/finish/sulfite?volume=19+L").status_code == 200
    answer = client.get("/finish/sulfite?volume=19+L&ph=9&alcohol=12+%25")
    assert answer.status_code == 422
    assert wrong(answer.text, "ph")


def test_other_addresses(client):
    assert client.get("/finish/polish").status_code == 404
    assert client.get("/finish/polish/working").status_code == 404
    assert client.get(f"/finish/sulfite?volume={'9' * 9000}").status_code == 422
    assert client.get("/finish/sulfite/working").status_code == 422


def test_a_blend_out_of_reach_is_an_answer(client):
    fields = {**LOTS, "target.alcohol": "18 %", "show": "1"}
    answer = client.get(address("blend", fields))
    assert answer.status_code == 200
    assert "Cannot be met with these parts; this is the nearest blend" in answer.text


# What is carried along ---------------------------------------------------------------------------


def test_empty_fields_leave_the_address(client):
    answer = client.get(
        "/finish/sulfite?volume=19+L&ph=3.5&alcohol=12+%25&free=&stock=&batch=lane&show=1",
        follow_redirects=False,
    )
    assert answer.status_code == 303
    query = dict(parse_qsl(urlsplit(answer.headers["location"]).query, keep_blank_values=True))
    assert query == {
        "volume": "19 L", "ph": "3.5", "alcohol": "12 %", "batch": "lane", "show": "1"
    }  # fmt: skip


def test_a_step_hands_its_result_to_the_next_and_keeps_the_batch(client):
    text = client.get(address("sulfite", {**GOOD["sulfite"], "batch": "lane"})).text
    assert hidden(text)["batch"] == "lane"
    onward = html.unescape(re.search(r'class="button" href="(/finish/sorbate\?[^"]+)"', text)[1])
    handed = dict(parse_qsl(urlsplit(onward).query))
    assert handed["batch"] == "lane"
    assert handed["profile"] == "eu"
    assert handed["molecular"] == "0.8 mg/L"
    assert 35 < float(handed["total"].split()[0]) < 70
    text = client.get(onward).text
    assert "Dissolve 2.8 g" in text
    onward = html.unescape(re.search(r'class="button" href="(/finish/sweeten\?[^"]+)"', text)[1])
    last = dict(parse_qsl(urlsplit(onward).query))
    assert last["stabilised"] == "sulfite+sorbate"
    assert last["total"] == handed["total"]
    assert float(last["potassium"].split()[0]) > float(handed["potassium"].split()[0])


def test_the_liquid_fills_fields_of_another_name(client):
    text = client.get("/finish/bottle?volume=19+L&total=40+mg/L&gas=2+g/L").text
    assert (field(text, "so2"), field(text, "co2")) == ("40 mg/L", "2 g/L")
    text = client.get("/finish/carbonate?volume=19+L&residual_sugar=30+g/L").text
    assert field(text, "fermentable") == "30 g/L"
    text = client.get("/finish/blend?volume=19+L&alcohol=12+%25&gravity=1.000&batch=lane").text
    assert (field(text, "lot.1.name"), field(text, "lot.1.volume")) == ("lane", "19 L")
    assert field(text, "volume") == ""


def test_sweetened_and_unprotected_mead_is_not_primed(client):
    text = client.get(address("sweeten", GOOD["sweeten"])).text
    links = re.findall(r'<a href="(/finish/\w+\?[^"]+)"', text)
    onward = [html.unescape(one) for one in links if "residual_sugar" in one]
    handed = dict(parse_qsl(urlsplit(onward[0]).query))
    answer = client.get(address("carbonate", {**handed, "temperature": "20 C", "co2_volumes": "2"}))
    assert answer.status_code == 422
    assert "living yeast" in wrong(answer.text, "fermentable")


# Labels ------------------------------------------------------------------------------------------


def test_the_label_sheet_is_downloaded(client):
    text = client.get(address("bottle", {**GOOD["bottle"], "link": "http://10.0.0.2/lane"})).text
    href = html.unescape(re.search(r'href="(/finish/bottle/labels\.pdf\?[^"]+)"', text)[1])
    answer = client.get(href)
    assert answer.headers["content-type"] == "application/pdf"
    assert 'filename="labels-L26060-DRYLANE.pdf"' in answer.headers["content-disposition"]
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    assert len(pages) == 4
    assert sum(page.extract_text().count("Dry Lane") for page in pages) == 31


def test_no_sheet_where_it_cannot_be_printed_but_the_count_still_stands(client):
    fields = {**GOOD["bottle"], "name": "中"}
    answer = client.get(address("bottle", fields))
    assert "31 bottles" in answer.text
    assert "No label sheet:" in answer.text
    assert "labels.pdf" not in answer.text
    assert client.get(address("bottle", fields, "/labels.pdf")).status_code == 422


# Fuzz --------------------------------------------------------------------------------------------

TEXTS = st.sampled_from([
    "19 L", "0.998", "1.015", "12 %", "20 C", "3.5", "0.8", "honey", "2 kg", "5 g/L", "60 mg/L",
    "-1", "0", "1e9", "1e-9", "nan", "inf", "eu", "us", "no", "yes", "alcohol", "750 mL x 3",
    "raspberry", "water", "1 bar", "3 cm", "2026-03-01 1.001", "7 d: 1.000", "0.5 g/L: 3.4",
    "12 to 14 %", "tartaric", "tannin", "spice", "keg", "lot 1", "a=b, c", "é中\x00", "x" * 600,
    "<b>", "'\"&", "9999-12-31 1.0\n0001-01-01 1.0", "1e400",
])  # fmt: skip
ANY = st.one_of(TEXTS, st.text(max_size=12), st.floats().map(str), st.integers().map(str))


def every_name(slug):
    lots = ["lot.1.volume", "lot.2.name", "lot.2.gravity", "lot.6.alcohol", "lot.7.name", "lot.x.y"]
    known = [ask.name for part in FORM for ask in part.fields]
    return [*PAGES[slug].names, *(lots if slug == "blend" else []), *known, "gas", "sorbic", "odd"]


@pytest.mark.parametrize("case", CASES)
@given(data=st.data())
@cases(40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_is_typed_the_page_stands(client, case, data):
    slug, _, good = CASES[case]
    names = st.sampled_from(every_name(slug))
    typed = {**good, **data.draw(st.dictionaries(names, ANY, max_size=4))}
    if data.draw(st.booleans()):
        typed["show"] = "1"
    query = urlencode(typed, errors="replace")
    answer = client.get(f"/finish/{slug}?{query}")
    assert answer.status_code in (200, 422)
    path = data.draw(st.sampled_from(["", f"/{slug}/working", "/bottle/labels.pdf"]))
    assert client.get(f"/finish{path}?{query}").status_code in (200, 422)
