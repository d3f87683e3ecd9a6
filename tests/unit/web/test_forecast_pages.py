"""Forecasts on the pages: drawn to scale, said in words, and never waited for."""

from __future__ import annotations

import re
import threading
import time
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from batch_pages import scripts_of_others, unlinked, words
from mustwright.kinetics import ready, simulate
from mustwright.planning.levers import chances_to_finish, hardly_matters
from mustwright.planning.ranking import ALIKE
from mustwright.services import cached_forecasts
from mustwright.services.cached_forecasts import foreseen_comparison
from mustwright.services.demo import seed_demo
from mustwright.web.pages.compare_view import bundles_of, matters, told_once
from mustwright.web.pictures.bundles import apart, bundles_picture
from mustwright.web.pictures.fewer_points import SEEN_PX, needed_points
from mustwright.web.pictures.gravity import (
    ALONE,
    BESIDE,
    BESIDE_NARROW,
    STYLES,
    Curve,
    alone,
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
        let_go.wait(60)

    monkeypatch.setattr(ready, "warm_up", slow)
    thread = ready.warm_up_behind()
    assert held.wait(5)
    assert NOTE in client.get(MUST).text
    assert thread.is_alive()  # held still: the page did not wait for it
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


@pytest.fixture
def runs(monkeypatch):
    """How many plans are run at each call of the model."""
    begun, real = [], simulate.run_plans

    def counted(members, conditions, plans, *more):
        begun.append(len(plans))
        return real(members, conditions, plans, *more)

    monkeypatch.setattr(simulate, "run_plans", counted)
    return begun


def test_a_page_that_was_worked_out_runs_nothing_again(client, runs):
    for page in ("", "/compare", "?protocol=staged_for_strong_musts"):
        client.get(MUST + page)
        runs.clear()
        assert "nine in ten" in client.get(MUST + page).text
        assert runs == []


@pytest.mark.thorough
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
    text = unlinked(client.get(MUST).text)
    section = text.split('id="will"')[1].split("</details>\n\n")[0]
    assert re.search(
        r"Dry about day \d+ \(\d+ to (over )?\d+ where it gets there\); stops short in \d+ %", text
    )
    assert re.search(r"Dry about.*<summary>\d+ days", section, re.S)
    assert re.search(r"stops short in.*<summary>\d+ %", section, re.S)
    assert "The model was fitted on only four honey musts" in section
    assert 'href="/sources#forecast"' in section
    about = client.get("/sources").text.split('id="forecast"')[1].split("</details>")[0]
    assert "The model was fitted on only four honey musts" in about
    for key in ("Reiter2021", "Harle2020", "Valle2024"):
        assert f'href="/sources#{key}"' in about


def test_every_protocol_is_held_against_the_best(client, compared):
    text = client.get(f"{MUST}/compare/figures").text
    assert text.count("<small>recommended</small>") == 1
    alike = text.count("<small>no real difference from the recommended one</small>")
    held = text.count("<small>Against the recommended one: ")
    told = [one.outcome.against_best for one in compared.best_first()[1:] if one.group > 1]
    assert alike == sum(group == 1 for group in compared.ranked.groups) - 1
    assert held == sum(not words.startswith("no ") for words in told) > 0
    for name in ("Dry after, days", "Stops short", "Sugar left, g/L", "Cost", "Short, mg N/L"):
        assert text.count(f'data-is="{name}"') == len(compared.plans)


def test_page_and_command_tell_the_same_plans_alike(compared):
    told = compared.best_first()[1:]
    assert {one.outcome.against_best == ALIKE for one in told} == {True, False}
    for one in told:
        assert (one.outcome.against_best == ALIKE) == (one.group == 1), one.plan.protocol


def test_every_plan_that_falls_short_is_counted(client, compared):
    text = client.get(f"{MUST}/compare").text
    short = sum(verdict.faults[0] for verdict in compared.verdicts)
    assert short > 1
    said = f"{short} of {len(compared.plans)} give too little nitrogen on this must."
    assert said in words(text)
    shown = text.split('id="hungry"')[1].split("</details>")[0]
    assert shown.count("<li>") == short
    all_short = tuple(replace(v, faults=(True, *v.faults[1:])) for v in compared.verdicts)
    assert matters(replace(compared, verdicts=all_short)).startswith("No protocol is enough")


def test_what_is_the_same_for_all_is_told_once(client, compared):
    text = client.get(f"{MUST}/compare/figures").text
    warmest = {round(one.peak_temperature_c.value, 1) for one in compared.outcomes}
    assert len(warmest) == 1
    assert f"warmest, °C {warmest.pop()}" in words(text)
    assert 'data-is="Warmest, °C"' not in text
    one = text.split("The same for all of them")[0].count("<tr")
    assert one == len(compared.plans) + 1
    assert told_once([]) == ([], [])


def test_the_comparison_says_whether_it_matters(client, compared):
    alike = sum(group == 1 for group in compared.ranked.groups)
    said = matters(compared)
    assert hardly_matters(compared)
    low, high = (f"{100 * chance:.0f}" for chance in chances_to_finish(compared))
    assert said.startswith("Hardly, to finish: all that feed enough get dry in ")
    assert f"{low} to {high} %" in said or (low == high and f"in {low} %" in said)
    assert said.endswith("differ most in lowest pH.")
    assert said in words(client.get(f"{MUST}/compare").text)
    assert "the protocol hardly matters" in words(client.get(MUST).text)
    like = [p for p, g in zip(compared.plans, compared.ranked.groups, strict=True) if g == 1]
    same = compared.only([p.protocol for p in like])
    assert matters(same) == f"No: all {alike} end as well as each other."
    assert matters(compared.only([like[0].protocol])) == "Only one protocol is compared."
    worst = compared.best_first()[-1].plan.protocol
    two = compared.only([compared.plans[compared.ranked.pick].protocol, worst])
    wide = replace(two, verdicts=(two.verdicts[0], two.verdicts[0]))  # as if both fed enough
    assert matters(wide).startswith("Yes: none of the other 1")


def test_what_differs_most_has_one_name_whether_or_not_yeast_may_stop_sweet(compared):
    losses = [
        replace(one, inputs={**one.inputs, "most gas at once": 10.0 * i})
        for i, one in enumerate(compared.ranked.losses)
    ]
    gassy = replace(compared, ranked=replace(compared.ranked, losses=tuple(losses)))
    sweet = [replace(o, stops_sweet=replace(o.stops_sweet, value=0.5)) for o in gassy.outcomes]
    told = matters(replace(gassy, outcomes=tuple(sweet)))
    assert "or stop sweet at the yeast’s limit" in told
    for one in (told, matters(gassy)):
        assert one.endswith("They differ most in highest gas rate.")


def test_water_has_nothing_to_ferment(client):
    cellar = client.app.state.compose.cellar
    text = '[must]\nvolume = "5 L"\n[[must.ingredient]]\nkind = "water"\namount = "5 L"\n'
    cellar.save("sheet", "water", text, None, "Water")
    assert "There is no sugar to ferment" in client.get("/musts/water").text
    for page in ("", "/figures", "/feeds"):
        assert client.get(f"/musts/water/compare{page}").status_code == 200
    assert client.get("/musts/water/needs").status_code == 200
    answer = client.get("/musts/water/what-if")
    assert answer.status_code == 422
    assert "needs sugar" in answer.text


# Pictures ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("layout", [BESIDE, BESIDE_NARROW])
def test_gravity_and_feeds_share_one_line_of_time(compared, layout):
    narrow = layout.kind == "narrow"
    every = compared.best_first()
    thirds = [one.outcome.third_h for one in every]
    plans = [one.plan for one in every]
    hold = hours_to_show(every[0].outcome)
    axis = common_axis(plans, thirds, narrow, hold)
    assert axis.end_h >= hold
    above = bundles_picture(bundles_of(every, []), 0.995, axis, layout, "k")
    below = side_by_side(plans[:1], thirds[:1], compared.suits_best, narrow, axis.end_h)
    days = [
        float(place) for place in re.findall(r"M([\d.]+) ", elements(above, "grid")[0].get("d"))
    ]
    stems = {float(e.get("x1")) for e in elements(below, "spine")}
    assert stems == {axis.start} == {min(days)}
    wide = [ET.fromstring(str(p)).get("viewBox").split()[2] for p in (above, below)]
    assert wide[0] == wide[1]
    lines = [e for e in elements(above, "curve") if e.get("data-curve")]
    assert [e.get("data-curve") for e in lines].sort() == [p.protocol for p in plans].sort()
    assert len(lines) == len(plans)
    assert {points(e)[0][0] for e in lines} == {axis.start}
    assert {points(e)[-1][0] for e in lines} == {axis.end}


def test_plans_that_make_no_real_difference_are_one_bundle(client, compared):
    def drawn(query=""):
        text = client.get(f"{MUST}/compare{query}").text
        wide = re.search(r'<svg [^>]*aria-labelledby="will-wide-title".*?</svg>', text, re.S)[0]
        svg = wide.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
        paths = [e for e in ET.fromstring(svg).iter() if e.tag == f"{SVG}path"]
        lines = [e.get("class") for e in paths if e.get("data-curve")]
        bands = [e.get("class") for e in paths if e.get("class").startswith("fan c")]
        envelopes = [e.get("class") for e in paths if "bundle" in e.get("class")]
        return lines, bands, envelopes

    groups = compared.ranked.groups
    lines, bands, envelopes = drawn()
    assert len(lines) == len(compared.plans)
    assert lines.count("curve member") == len(groups) - len(set(groups))
    styles = [line for line in lines if line != "curve member"]
    assert len(set(styles)) == len(styles) == len(set(groups))  # told apart by dash and colour
    assert bands == ["fan c0"]
    assert len(envelopes) == sum(groups.count(g) > 1 for g in set(groups))
    text = client.get(f"{MUST}/compare").text
    for number in range(1, len(set(groups)) + 1):
        assert f"<strong>{number}</strong>" in text
        assert f'class="t strong">{number}</text>' in text
    other = compared.best_first()[-1].plan.protocol
    assert (
        drawn(f"?beside={other}")[1] == [f"fan c{len(set(groups)) - 1}", "fan c0"]
        or len(set(groups)) > STYLES
    )
    shown = client.get(f"{MUST}/compare?beside={other}").text
    assert re.search(rf'data-curve="{other}" aria-current="true"', shown)
    three = "&".join(f"protocol={p.protocol}" for p in compared.plans[:3])
    assert len(drawn(f"?{three}")[1]) == 3


def test_values_behind_the_picture_are_those_of_the_forecast(client, compared):
    text = client.get(f"{MUST}/compare").text
    rows = re.findall(r'<tr data-curve="(\w+)"><th scope="row">[^<]*</th>(.*?)</tr>', text)
    assert [key for key, _ in rows] == [one.plan.protocol for one in compared.best_first()]
    hours = [float(h) for h in re.findall(r'<th scope="col" data-at="([\d.]+)">', text)]
    for (_, cells), one in zip(rows, compared.best_first(), strict=True):
        told = [float(v) for v in re.findall(r"<td>([\d.]+)</td>", cells)]
        middle = np.interp(hours, one.outcome.times_h, one.outcome.gravity.p50)
        assert told == pytest.approx(list(middle), abs=0.00051)


def test_bands_hold_their_middle_and_are_drawn_to_scale(compared):
    outcome = compared.outcomes[0]
    picture = alone([Curve("x", outcome, 0, 2)], 0.995, "k")
    outer, inner = (points(e) for e in elements(picture, "fan"))
    middle = points(elements(picture, "curve")[0])
    for k in range(len(middle)):
        high, low = outer[k][1], outer[-1 - k][1]
        assert high <= inner[k][1] <= middle[k][1] <= inner[-1 - k][1] <= low
    g, dry = outcome.gravity, float(elements(picture, "dry")[0].get("y1"))
    per = (dry - middle[0][1]) / (g.p50[0] - 0.995)
    start, end, _, last, *_ = map(float, ET.fromstring(str(picture)).get("data-axis").split())
    for x, y in middle:
        hours = (x - start) / (end - start) * last
        expected = np.interp(hours, outcome.times_h, g.p50)
        assert dry - y == pytest.approx(per * (expected - 0.995), abs=0.2)
    assert len(middle) < sum(t <= last for t in outcome.times_h)
    assert middle[-1][0] == ALONE.width - 8
    assert len(elements(picture, "dot")) == len(outcome.feeds_h)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 60])
def test_points_left_out_are_not_missed(count):
    x = np.arange(count) * 5.0
    rows = [100 * np.exp(-x / 80), 100 * np.exp(-x / 60) + 3 * np.sin(x)]
    kept = needed_points(x, rows, 2.0)
    assert kept[:1] == list(range(count))[:1]
    assert kept[-1:] == list(range(count))[-1:]
    for row in rows if count else ():
        drawn = np.interp(x, x[kept], row[kept])
        assert np.max(np.abs(drawn - row)) * 2.0 <= SEEN_PX
    assert count < 60 or len(needed_points(x, rows[:1], 2.0)) < 20


def test_numbers_at_the_ends_of_lines_stand_apart():
    placed = apart([100.0, 101.0, 50.0, 199.0], 15.0, 200.0)
    assert placed == [100.0, 115.0, 50.0, 199.0]
    crowded = sorted(apart([198.0, 199.0, 200.0], 15.0, 200.0))
    assert crowded == [170.0, 185.0, 200.0]


# What if ----------------------------------------------------------------------------------------


def test_the_form_stands_alone_and_the_script_is_a_file(client):
    text = client.get(f"{MUST}/what-if").text
    assert scripts_of_others(text) == []
    scripts = re.findall(r'<script src="/static/(\w+).js" defer></script>', text)
    assert {"picture", "what_if"} <= set(scripts)
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
    assert answer.text.strip() in unlinked(whole)


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


def test_redrawing_runs_the_changed_must_alone(client, runs):
    """How long it takes: benchmarks/pages.py."""
    client.get(f"{MUST}/what-if")
    runs.clear()
    client.get(f"{MUST}/what-if?temperature=23.5&fragment=1")
    assert runs == [1]


def test_the_risk_of_a_ph_crash_comes_when_asked_for(client):
    ready.warm_up()
    plain = client.get(f"{MUST}/compare/figures").text
    asked = client.get(f"{MUST}/compare/figures?acid=yes").text
    assert "pH under 3.2" not in plain
    assert 'href="?acid=yes"' in plain
    assert "pH under 3.2" in asked
    assert 'href="?acid=yes"' not in asked
    assert f'href="{MUST}/compare/figures?acid=yes"' in client.get(f"{MUST}/compare").text
