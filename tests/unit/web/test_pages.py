"""What the pages answer: whole, escaped, refused where they must be, and quick."""

from __future__ import annotations

import re

import pytest

from batch_pages import scripts_of_others
from mustwright.services.demo import seed_demo
from workings import whole_working


@pytest.fixture
def client(client):
    seed_demo(client.app.state.compose.cellar)
    return client


def typed(client, slug="dry-lane-mead", **changes):
    """The fields of a must's form, as a browser would send them."""
    page = client.get(f"/musts/{slug}/edit").text
    fields = {}
    import html

    form = page.split('<form method="post" action="/musts/', 1)[1].split("</form>")[0]
    for tag in re.findall(r"<input [^>]*>", form):
        name = re.search(r'name="([^"]*)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        if 'type="checkbox"' in tag or ('type="radio"' in tag and "checked" not in tag):
            continue
        if name:
            fields[html.unescape(name[1])] = html.unescape(value[1]) if value else ""
    for name, options in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        first = re.search(r'value="([^"]*)"', options)
        fields[name] = (chosen or first)[1]
    return {**fields, "do": "save", **changes}


@pytest.mark.parametrize(
    "path",
    ["/", "/musts/new", "/musts/dry-lane-mead", "/musts/hedgerow-berry/compare",
     "/musts/midwinter-sweet/working", "/musts/midwinter-sweet/edit", "/protocols",
     "/protocols/daily_taper_of_three", "/shelf", "/shelf/dap", "/convert", "/sources"],
)  # fmt: skip
def test_pages_have_no_inline_style_or_script(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    assert not re.search(r"<[^>]+\sstyle=", answer.text)
    assert scripts_of_others(answer.text) == []
    assert not re.search(r"<[^>]+\son\w+=", answer.text)


@pytest.mark.parametrize(
    "path",
    ["/musts/nobody", "/musts/nobody/compare", "/protocols/nobody", "/shelf/nobody",
     "/musts/nobody/edit", "/protocols/nobody/edit"],
)  # fmt: skip
def test_what_is_not_there_is_said_so(client, path):
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("page", ["", "/compare", "/working"])
def test_an_unknown_protocol_is_refused(client, page):
    assert client.get(f"/musts/dry-lane-mead{page}?protocol=nobody").status_code == 422


def test_an_untouched_form_saves_the_same_text(client):
    cellar = client.app.state.compose.cellar
    for record in cellar.records("sheet"):
        answer = client.post(f"/musts/{record.key}/edit", data=typed(client, record.key)
                             | shelf_of(client, record.key), follow_redirects=False)  # fmt: skip
        assert answer.status_code == 303, answer.text
        assert cellar.record("sheet", record.key).text == record.text


def shelf_of(client, slug):
    page = client.get(f"/musts/{slug}/edit").text
    return {"jar": re.findall(r'name="jar" value="([^"]*)" checked', page)}


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"volume": "-3 L"}, "volume", "above zero"),
        ({"volume": "a lot"}, "volume", "What came: a lot"),
        ({"target": "24"}, "target", "24 Bx"),
        ({"target": "60 %"}, "target", "0.3 to 22 %"),
        ({"temperature": "90 C"}, "temperature", "0 to 45"),
        ({"portion.0.kind": "gravel"}, "portion.0.kind", "known ingredient"),
        (
            {"portion.0.amount": "some", "portion.0.how": ""},
            "portion.0.amount",
            "What came: some",
        ),
        ({"portion.0.moisture_pct": "99"}, "portion.0.moisture_pct", "5 to 40"),
        ({"yeast_amount": "-1 g"}, "yeast_amount", "dry yeast"),
        ({"measured_ph": "12"}, "measured_ph", "2 to 8"),
        ({"name": "  "}, "name", "1 to 120"),
        ({"shelf": "own"}, "shelf", "at least one"),
        ({"scale": "3 L"}, "scale", "scale"),
    ],
)
def test_an_error_stands_beside_its_field_and_nothing_is_lost(client, changes, field, words):
    before = client.app.state.compose.cellar.record("sheet", "dry-lane-mead")
    sent = typed(client, **changes)
    answer = client.post("/musts/dry-lane-mead/edit", data=sent)
    assert answer.status_code == 422
    found = re.search(rf'id="{re.escape(field)}-wrong">([^<]*)<', answer.text)
    assert found, re.findall(r'class="wrong"[^>]*>[^<]*', answer.text)
    if field != "scale":
        assert words in found[1].replace("&#39;", "'")
    for name, value in changes.items():
        if name not in ("shelf", "portion.0.how"):
            assert f'name="{name}" value="{value}"' in answer.text
    assert client.app.state.compose.cellar.record("sheet", "dry-lane-mead") == before


def test_a_name_with_markup_is_shown_as_it_is(client):
    sent = typed(client, name='<b>"Heath" & co</b>')
    assert client.post("/musts/dry-lane-mead/edit", data=sent).status_code == 200
    for path in ("/", "/musts/dry-lane-mead", "/musts/dry-lane-mead/compare"):
        text = client.get(path).text
        assert "<b>" not in text
        assert "&lt;b&gt;" in text


def test_a_stale_version_is_refused_and_shows_both(client):
    sent = typed(client)
    client.post("/musts/dry-lane-mead/edit", data=sent | {"volume": "11 L"})
    answer = client.post("/musts/dry-lane-mead/edit", data=sent | {"volume": "12 L"})
    assert answer.status_code == 409
    assert 'value="12 L"' in answer.text
    assert "volume = &#34;11 L&#34;" in answer.text


@pytest.mark.parametrize(
    ("path", "what"),
    [("/musts/dry-lane-mead", "sheet"), ("/shelf/dap", "nutrient")],
)
def test_put_away_and_bring_back(client, path, what):
    cellar = client.app.state.compose.cellar
    key = path.rsplit("/", 1)[1]
    record = cellar.record(what, key)
    assert client.post(f"{path}/delete", data={"version": "99"}).status_code == 409
    away = client.post(f"{path}/delete", data={"version": str(record.version)})
    assert "Bring it back" in away.text
    assert client.get(path).status_code == 404
    assert client.post(f"{path}/restore").status_code == 200
    assert cellar.record(what, key).text == record.text


@pytest.mark.parametrize("version", ["", "x", "-1", "1" * 30])
def test_a_version_that_is_no_number_is_refused(client, version):
    answer = client.post("/musts/dry-lane-mead/delete", data={"version": version})
    assert answer.status_code == 422


def test_every_figure_of_the_plan_leads_to_a_step_that_is_there(client):
    plan = client.get("/musts/dry-lane-mead").text
    working = whole_working(client, "/musts/dry-lane-mead/working")
    steps = set(re.findall(r'id="w(\d+)"', working))
    linked = set(re.findall(r"#w(\d+)", plan))
    assert linked
    assert linked <= steps
    assert set(re.findall(r'href="[^"]*#w(\d+)"', working)) <= steps
    for step, place in re.findall(r"step=(\d+)#w(\d+)", plan):
        assert step == place
    for number, value in re.findall(
        r"<summary>([^<]*?)(?: <span.*?)?</summary>.*?Step (\d+) in", plan, re.S
    ):
        assert number
        assert value in steps


def test_figures_of_the_comparison_lead_to_the_same_figure_in_the_working(client):
    page = client.get("/musts/dry-lane-mead/compare/figures").text
    links = re.findall(
        r'href="\.\.(/working\?protocol=\w+)&amp;step=\d+#w(\d+)">([\d.]+)(?: %|\+)?</a>', page
    )
    assert len(links) > 40
    some = sorted({url for url, _, _ in links})[:2]
    pages = {url: whole_working(client, f"/musts/dry-lane-mead{url}") for url in some}
    for url, number, value in (link for link in links if link[0] in pages):
        step = re.search(rf'<li id="w{number}">.*?<strong>([\d.]+)', pages[url], re.S)
        assert step, (url, number)
        assert step[1] == value


def test_a_crafted_address_cannot_aim_the_undo_button(client):
    for path in ("/", "/shelf", "/protocols"):
        for gone in ("../shelf/dap", "x/../../y", "<b>", 'a" formaction="z'):
            text = client.get(path, params={"gone": gone}).text
            assert "Bring it back" not in text


def test_sources_named_on_a_plan_are_in_the_bibliography(client):
    text = client.get("/musts/dry-lane-mead").text + client.get("/shelf").text
    keys = set(re.findall(r'href="/sources#(\w+)"', text)) - {"safety", "forecast"}
    assert keys
    there = set(re.findall(r'<li id="(\w+)"', client.get("/sources").text))
    assert keys <= there


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("value=24+Bx", ["1.101", "263.8"]),
        ("value=5+US+gal", ["18.93 L"]),
        ("value=1.4915+nD", ["water of the honey"]),
        ("value=1.010&original=1.100", ["% vol"]),
        ("value=12+Bx&original=24+Bx&instrument=refractometer", ["% vol"]),
    ],
)
def test_a_reading_comes_back_on_every_scale(client, query, words):
    answer = client.get(f"/convert?{query}")
    assert answer.status_code == 200
    for word in words:
        assert word in answer.text


@pytest.mark.parametrize("value", ["soup", "-5 L of it", "<script>", "1e999"])
def test_a_reading_that_is_none_is_refused(client, value):
    answer = client.get("/convert", params={"value": value})
    assert answer.status_code == 422
    assert 'id="value-wrong"' in answer.text
    assert scripts_of_others(answer.text) == []


def test_a_second_view_plans_nothing_anew(client, monkeypatch):
    paths = ("/musts/dry-lane-mead", "/musts/dry-lane-mead/compare", "/")
    first = [client.get(path).text for path in paths]

    def never(*_args, **_more):
        raise AssertionError("planned again")

    monkeypatch.setattr("mustwright.planning.plan.plan_feeding", never)
    assert [client.get(path).text for path in paths] == first


def test_a_protocol_without_feeds_does_not_claim_to_fill_anything(client):
    assert "Feeds nothing; made for gravities" in client.get("/protocols").text
    assert "Fills what the must lacks" not in client.get("/protocols/no_feed").text
