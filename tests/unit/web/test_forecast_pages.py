"""Forecasts on the pages: drawn to scale, said in words, and never waited for."""

from __future__ import annotations

import re
import threading
import time
import xml.etree.ElementTree as ET

import pytest

from mustwright.kinetics import ready
from mustwright.services import cached_forecasts
from mustwright.services.cached_forecasts import foreseen_comparison
from mustwright.services.demo import seed_demo
from mustwright.web.pages.compare import _curves
from mustwright.web.pictures.gravity import (
    ALONE,
    BESIDE,
    BESIDE_NARROW,
    Curve,
    alone,
    gravity_picture,
    hours_to_show,
)
from mustwright.web.pictures.side_by_side import common_axis, side_by_side

MUST = "/musts/dry-lane-mead"
NOTE = "The forecast is being compiled"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def client(client):
    seed_demo(client.app.state.compose.cellar)
    return client


@pytest.fixture
def compared(client):
    cellar = client.app.state.compose.cellar
    record = cellar.record("sheet", "dry-lane-mead")
    return foreseen_comparison(cellar, record.text, record.name)


def elements(markup, class_):
    root = ET.fromstring(str(markup))
    assert not [e for e in root.iter() if e.get("style")]
    return [e for e in root.iter() if (e.get("class") or "").split()[:1] == [class_]]


def points(path):
    return [tuple(map(float, p.split())) for p in path.get("d").strip("MZ").split("L")]


# While it is compiled ---------------------------------------------------------------------------


@pytest.mark.usefixtures("compiling")
@pytest.mark.parametrize("page", ["", "/compare", "/what-if", "/what-if?temperature=25&fragment=1"])
def test_pages_stand_and_say_so_while_the_forecast_is_compiled(client, page):
    answer = client.get(MUST + page)
    assert answer.status_code == 200
    assert answer.text.count(NOTE) == 1
    assert "nine in ten" not in answer.text
    assert client.get("/health").json()["forecast"] == "compiling"


@pytest.mark.usefixtures("compiling")
def test_a_request_does_not_wait_for_the_compiler(client, monkeypatch):
    client.get(MUST)
    held, let_go = threading.Event(), threading.Event()

    def slow(_folder):
        held.set()
        let_go.wait(20)

    monkeypatch.setattr(ready, "warm_up", slow)
    thread = ready.warm_up_behind()
    assert held.wait(5)
    began = time.perf_counter()
    assert NOTE in client.get(MUST).text
    assert time.perf_counter() - began < 1
    let_go.set()
    thread.join(5)


@pytest.mark.usefixtures("compiling")
def test_a_compiler_that_failed_is_told(client, monkeypatch):
    failed = threading.Event()
    failed.set()
    monkeypatch.setattr(ready, "_FAILED", failed)
    assert "could not be compiled" in client.get(MUST).text
    assert client.get("/health").json()["forecast"] == "failed"


def test_once_ready_the_note_is_gone(client):
    assert client.get("/health").json()["forecast"] == "ready"
    for page in ("", "/compare", "/what-if"):
        text = client.get(MUST + page).text
        assert NOTE not in text
        assert "nine in ten" in text


def test_a_page_that_was_worked_out_comes_at_once(client):
    """Processor time, which another process on the machine does not lengthen."""
    for page in ("", "/compare", "?protocol=staged_for_strong_musts"):
        client.get(MUST + page)
        began = time.process_time()
        assert "nine in ten" in client.get(MUST + page).text
        assert time.process_time() - began < 0.5


def test_pages_that_ask_at_once_share_one_forecast(client, monkeypatch):
    runs = []
    foresee = cached_forecasts.foresee_comparison

    def counted(result):
        runs.append(result.name)
        time.sleep(0.05)
        return foresee(result)

    monkeypatch.setattr(cached_forecasts, "foresee_comparison", counted)
    cellar = client.app.state.compose.cellar
    text = cellar.record("sheet", "dry-lane-mead").text + "# not seen before\n"
    asked = [
        threading.Thread(target=foreseen, args=(cellar, text, "Shared"))
        for foreseen in (cached_forecasts.foreseen_plan, foreseen_comparison) * 2
    ]
    for thread in asked:
        thread.start()
    for thread in asked:
        thread.join(60)
    assert runs == ["Shared"]


# What is said -----------------------------------------------------------------------------------


def test_the_plan_says_when_it_is_dry_and_what_is_not_claimed(client):
    text = client.get(MUST).text
    section = text.split('id="will"')[1].split("</section>")[0]
    assert re.search(r"Dry about.*<summary>\d+\.\d days", section, re.S)
    assert re.search(r"stops short in.*<summary>\d+ %", section, re.S)
    assert "Only four honey musts were in the fit" in section
    assert 'href="/sources#forecast"' in section
    about = client.get("/sources").text.split('id="forecast"')[1].split("</section>")[0]
    assert "Only four honey musts were in the fit" in about
    for key in ("Reiter2021", "Harle2020", "Valle2024"):
        assert f'href="/sources#{key}"' in about


def test_every_protocol_is_held_against_the_best(client, compared):
    text = client.get(f"{MUST}/compare").text
    assert text.count("<small>recommended</small>") == 1
    held = text.count("<small>Against the recommended one: ")
    alike = text.count("<small>no real difference from the recommended one</small>")
    assert held > 0
    assert alike == sum(group == 1 for group in compared.ranked.groups) - 1
    assert held + alike == len(compared.plans) - 1
    for name in ("Dry after, days", "Sticks", "Nitrogen left, mg N/L", "Warmest, °C", "Cost"):
        assert text.count(f'data-is="{name}"') == len(compared.plans)


def test_water_has_nothing_to_ferment(client):
    cellar = client.app.state.compose.cellar
    text = '[must]\nvolume = "5 L"\n[[must.ingredient]]\nkind = "water"\namount = "5 L"\n'
    cellar.save("sheet", "water", text, None, "Water")
    assert "There is no sugar to ferment" in client.get("/musts/water").text
    assert client.get("/musts/water/compare").status_code == 200
    answer = client.get("/musts/water/what-if")
    assert answer.status_code == 422
    assert "needs sugar" in answer.text


# Pictures ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("layout", [BESIDE, BESIDE_NARROW])
def test_gravity_and_feeds_share_one_line_of_time(compared, layout):
    narrow = layout.kind == "narrow"
    plans = compared.plans
    thirds = [outcome.third_h for outcome in compared.outcomes]
    curves = _curves(compared.every(), compared.suits_best, [])
    hold = hours_to_show(curves[0].outcome)
    axis = common_axis(plans, thirds, narrow, hold)
    assert axis.end_h >= hold
    above = gravity_picture(curves, 0.995, axis, layout, "k")
    below = side_by_side(plans, thirds, compared.suits_best, narrow, hold)
    days = {float(e.get("x1")) for e in elements(above, "grid") if e.get("x1") == e.get("x2")}
    stems = {float(e.get("x1")) for e in elements(below, "spine")}
    assert stems == {axis.start} == {min(days)}
    wide = [ET.fromstring(str(p)).get("viewBox").split()[2] for p in (above, below)]
    assert wide[0] == wide[1]
    lines = [e for e in elements(above, "curve") if e.tag.endswith("path")]
    assert len(lines) == len(plans)
    assert {points(e)[0][0] for e in lines} == {axis.start}
    assert {points(e)[-1][0] for e in lines} == {axis.end}


def test_many_are_grey_and_few_have_colour_and_dash(client, compared):
    def drawn(query=""):
        text = client.get(f"{MUST}/compare{query}").text
        wide = re.search(r'<svg [^>]*aria-labelledby="will-wide-title".*?</svg>', text, re.S)[0]
        svg = wide.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
        paths = [e.get("class") for e in ET.fromstring(svg).iter() if e.tag == f"{SVG}path"]
        return sorted(c for c in paths if "curve" in c), sorted(c for c in paths if "fan" in c)

    lines, bands = drawn()
    assert lines == ["curve c0"] + ["curve other"] * (len(compared.plans) - 1)
    assert bands == ["fan c0"]
    other = next(p.protocol for p in compared.plans if p.protocol != compared.suits_best)
    lines, bands = drawn(f"?beside={other}")
    assert lines[:2] == ["curve c0", "curve c1"]
    assert bands == ["fan c0", "fan c1"]
    five = "&".join(f"protocol={p.protocol}" for p in compared.plans[:5])
    lines, bands = drawn(f"?{five}")
    assert lines == [f"curve c{k}" for k in range(5)]
    assert bands == ["fan c0"]
    three = "&".join(f"protocol={p.protocol}" for p in compared.plans[:3])
    assert drawn(f"?{three}")[1] == ["fan c0", "fan c1", "fan c2"]


def test_bands_hold_their_middle_and_are_drawn_to_scale(compared):
    outcome = compared.outcomes[0]
    picture = alone([Curve("x", outcome, 0, 2)], 0.995, "k")
    outer, inner = (points(e) for e in elements(picture, "fan"))
    middle = points(elements(picture, "curve")[0])
    n = len(middle)
    for k in range(n):
        high, low = outer[k][1], outer[-1 - k][1]
        assert high <= inner[k][1] <= middle[k][1] <= inner[-1 - k][1] <= low
    g, dry = outcome.gravity, float(elements(picture, "dry")[0].get("y1"))
    per = (dry - middle[0][1]) / (g.p50[0] - 0.995)
    for k in range(n):
        assert dry - middle[k][1] == pytest.approx(per * (g.p50[k] - 0.995), abs=0.2)
    assert middle[-1][0] == ALONE.width - 8
    assert len(elements(picture, "dot")) == len(outcome.feeds_h)


# What if ----------------------------------------------------------------------------------------


def test_the_form_stands_alone_and_the_script_is_a_file(client):
    text = client.get(f"{MUST}/what-if").text
    assert re.findall(r"<script[^>]*>", text) == ['<script src="/static/what_if.js" defer>']
    assert '<script src="/static/what_if.js" defer></script>' in text
    assert not re.search(r"<[^>]+\s(style|on\w+)=", text)
    assert client.get("/static/what_if.js").status_code == 200
    ranges = re.findall(r'<input type="range"[^>]*>', text)
    assert len(ranges) == 4
    assert all(" hidden " in one and " name=" not in one for one in ranges)
    assert "Nothing is changed yet" in text


def test_a_change_shows_both_and_the_difference(client):
    text = client.get(f"{MUST}/what-if?temperature=26&pitch=10&gravity=&nitrogen=").text
    assert "Must temperature 26 °C instead of 18" in text
    assert re.search(r"Against the plan: dry about [\d.]+ days sooner", text)
    assert 'value="26"' in text
    assert text.count("<td><details") == 12


def test_the_fragment_is_the_answer_alone(client):
    answer = client.get(f"{MUST}/what-if?temperature=26&fragment=1")
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert "<form" not in answer.text
    assert "Against the plan" in answer.text
    whole = client.get(f"{MUST}/what-if?temperature=26").text
    assert answer.text.strip() in whole


@pytest.mark.parametrize(
    ("query", "field", "words"),
    [
        ({"temperature": "99"}, "temperature", "0 to 45"),
        ({"pitch": "<b>"}, "pitch", "What came: &lt;b&gt;"),
        ({"nitrogen": "-4"}, "nitrogen", "0 to 1000"),
        ({"gravity": "2"}, "gravity", "1.005 to"),
    ],
)
def test_wrong_input_stands_beside_its_field(client, query, field, words):
    answer = client.get(f"{MUST}/what-if", params=query)
    assert answer.status_code == 422
    wrong = re.search(rf'id="{field}-wrong">([^<]*)<', answer.text)
    assert words in wrong[1]
    assert "<b>" not in answer.text
    assert client.get(f"{MUST}/what-if", params={**query, "fragment": "1"}).status_code == 422


def test_an_unknown_protocol_or_must_is_refused(client):
    assert client.get(f"{MUST}/what-if?protocol=nobody").status_code == 422
    assert client.get("/musts/nobody/what-if").status_code == 404


def test_redrawing_is_quick(client):
    client.get(f"{MUST}/what-if")
    seconds = []
    for k in range(5):
        began = time.perf_counter()
        client.get(f"{MUST}/what-if?temperature={20 + k}.5&fragment=1")
        seconds.append(time.perf_counter() - began)
    assert min(seconds) < 0.15


def test_the_risk_of_a_ph_crash_comes_when_asked_for(client):
    ready.warm_up()
    plain = client.get(f"{MUST}/compare").text
    asked = client.get(f"{MUST}/compare?acid=yes").text
    assert "pH under 3.2" not in plain
    assert f'href="{MUST}/compare?acid=yes"' in plain
    assert "pH under 3.2" in asked
    assert f'href="{MUST}/compare?acid=yes"' not in asked
    assert '<input type="hidden" name="acid" value="yes">' in asked
