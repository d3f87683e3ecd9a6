"""One must and one batch: page, JSON and command give the same figures and the same sentences."""

from __future__ import annotations

import csv
import html
import json
import re
from datetime import UTC, datetime, timedelta

import pytest
from starlette.testclient import TestClient

from batch_pages import unlinked
from cases import some_of
from mustwright.cli.main import run
from mustwright.compose import Compose
from mustwright.kinetics import ready
from mustwright.kinetics.ensemble_setting import MEMBERS
from mustwright.services.cached_forecasts import foreseen_plan
from mustwright.web.app import create_app

NOW = datetime(2031, 5, 4, 18, tzinfo=UTC)
ORIGIN = "http://127.0.0.1:8765"
SHELF = """
[shelf]
scale = "0.1 g"
dap = true
autolysed_yeast = true
complex_blend = true
"""
STRONG = f"""
[must]
volume = "19 L"
gravity = "1.135"
temperature = "19 C"
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
{SHELF}
"""
AMERICAN = f"""
[must]
volume = "5 gal"
gravity = "1.120"
temperature = "68 F"
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
amount = "0.25 oz"
{SHELF}
"""


class House:
    """A cellar with one must, and every way in to it."""

    def __init__(self, folder, client, capsys) -> None:
        self.folder, self.client, self._capsys = folder, client, capsys

    def keep(self, text: str) -> str:
        self.file = self.folder / "lane.toml"
        self.file.write_text(text)
        compose = self.client.app.state.compose
        return compose.cellar.save("sheet", None, text, None, "Lane").key

    def say(self, *words: object) -> str:
        assert run([str(w) for w in words]) == 0, words
        return self._capsys.readouterr().out

    def data(self, *words: object):
        return json.loads(self.say(*words, "--json"))

    def page(self, address: str) -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, address
        plain = re.sub(
            r'(<details class="fig">.*?</summary>).*?</details>',
            r"\1",
            unlinked(answer.text),
            flags=re.S,
        )
        bare = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", plain, flags=re.S)
        return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", bare)).split())

    def api(self, address: str):
        answer = self.client.get(f"/api{address}")
        assert answer.status_code == 200, address
        return answer.json()


@pytest.fixture
def house(tmp_path, monkeypatch, capsys):
    ready.warm_up()

    def opened(_database: str | None = None) -> Compose:
        return Compose(tmp_path / "home", clock=lambda: NOW, zone=UTC)

    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(Compose, "from_environment", opened)
    compose = opened()
    with TestClient(create_app(compose), base_url=ORIGIN) as client:
        client.headers["Origin"] = ORIGIN
        yield House(tmp_path, client, capsys)
    compose.close()


@pytest.fixture(params=some_of([STRONG, AMERICAN]), ids=some_of(["strong", "american"]))
def must(request, house):
    return house.keep(request.param)


# A must -----------------------------------------------------------------------------------------


@pytest.mark.thorough
def test_a_must_says_the_same_in_every_command(house, must):
    plan = house.data("plan", house.file, "--forecast")
    outcome, protocol = plan["outcome"], plan["protocol"]
    sticks, dry_days = outcome["chance_of_sticking"], outcome["days_to_dry"]
    compared = house.data("compare", house.file, "--forecast")["protocols"]
    among = next(one for one in compared if one["protocol"] == protocol)
    assert {**among["outcome"], "against_best": ""} == outcome
    assert among["acid"] == plan["acid"]

    told = house.data("forecast", house.file)
    assert told["members"] == MEMBERS
    assert told["chance_of_sticking"] == pytest.approx(sticks)
    middle = told["hours_to_dry"]["p50"]
    assert (middle is None) == (dry_days is None)
    assert middle is None or middle / 24 == pytest.approx(dry_days, rel=1e-5)
    feeds = [one["expected_h"] for one in plan["feeds"]]
    assert [one["expected_h"]["p50"] for one in told["feeds"]] == feeds
    below = plan["acid"]["chance_below_floor"]
    assert told["ph_trough"]["chance_below_floor"] == pytest.approx(below, abs=1e-3)

    house.data("batch", "start", must, "--pitched", NOW.isoformat(), "--protocol", protocol)
    model = house.data("batch", "show", "lane", "--forecast")["forecast"]["model"]
    assert model["chance_of_sticking"] == pytest.approx(sticks, abs=5e-5)
    assert model["hours_to_dry"]["p50"] == (middle and pytest.approx(middle, abs=0.05))
    assert [one["hours"]["p50"] for one in model["feeds"]] == pytest.approx(feeds, abs=0.05)
    assert model["ph"]["chance_low_ahead"] == pytest.approx(below, abs=1e-3)


@pytest.mark.thorough
def test_the_pages_of_a_must_say_what_the_command_says(house, must):
    plan = house.data("plan", house.file, "--forecast")
    protocol = plan["protocol"]
    sticks = f"{100 * plan['outcome']['chance_of_sticking']:.0f} %"
    below = f"{100 * plan['acid']['chance_below_floor']:.0f} %"
    shown = foreseen_plan(house.client.app.state.compose.cellar, house.file.read_text(), "Lane")
    assert shown.outcome
    assert shown.acid
    assert shown.outcome.chance_of_sticking.value == pytest.approx(
        plan["outcome"]["chance_of_sticking"], rel=1e-6
    )
    assert shown.outcome.residual_yan_mg_l.value == pytest.approx(
        plan["outcome"]["residual_yan_mg_l"], rel=1e-6
    )
    assert shown.acid.chance_below_floor.value == pytest.approx(
        plan["acid"]["chance_below_floor"], rel=1e-6
    )
    text = house.say("plan", house.file, "--forecast")
    assert f"stops short in {sticks} of runs" in text
    page = house.page(f"/musts/{must}")
    assert re.search(rf"it stops short in {sticks} of runs", page)
    assert f"crash risk {plan['acid']['risk']}, {below}" in page
    assert f"crash risk {plan['acid']['risk']} ({below} under" in text
    changed = house.page(f"/musts/{must}/what-if")
    assert re.search(rf"Stops short {sticks}", changed)
    assert f"the same {MEMBERS} runs" in changed
    side = house.page(f"/musts/{must}/compare/figures?protocol={protocol}&acid=yes")
    assert "Stops short" in side
    # Both musts may pass the limit of their yeast: wherever it stops short, it stops sweet too.
    sweet = f"{100 * plan['outcome']['stops_sweet']:.0f} %"
    assert plan["outcome"]["stops_sweet"] > 0.1
    assert f"stops sweet at its yeast’s limit in {sweet} and" in page.partition("Mix")[0]
    assert f"Stops sweet at its yeast's limit: {sweet} of runs" in text
    assert f"Stops sweet {sweet}" in changed
    assert f", sweet at its yeast’s limit in {sweet}." in house.page(f"/musts/{must}/compare")
    assert f"({'sweet ' + sweet})" in side
    assert "the share that ends sweet, at the alcohol limit of its yeast" in side
    assert sticks in side
    assert below in side


TWO_JARS = "[shelf]\ndap = true\nautolysed_yeast = true\n"


AIMED = [("1.120", "few_feeds"), ("1.100", "security"), ("1.150", "security")]


@pytest.mark.thorough
@pytest.mark.parametrize(("gravity", "aim"), AIMED)
def test_page_plan_and_comparison_recommend_the_same(house, gravity, aim):
    text = STRONG.replace("1.135", gravity).replace(SHELF, TWO_JARS)
    must = house.keep(f'{text}[goal]\naim = "{aim}"\n')
    pick = house.data("plan", house.file)
    assert pick["aim"] == aim
    beside = house.data("compare", house.file)
    assert beside["suits_best"] == pick["protocol"]
    assert house.data("forecast", house.file, "--members", 32)["protocol"] == pick["protocol"]
    page = house.page(f"/musts/{must}")
    assert f"{pick['protocol_name']} recommended" in page
    assert f"Take {pick['protocol_name']} for" in house.page(f"/musts/{must}/compare")
    assert pick["protocol_name"] in house.page("/")
    groups = {one["protocol"]: one["group"] for one in beside["protocols"]}
    assert groups[pick["protocol"]] == pick["group"] == 1
    for one in beside["protocols"]:
        assert set(one["as_written"]) >= {"feeds", "breaches"}


@pytest.mark.thorough
def test_acid_of_a_must_is_the_same_on_page_and_command(house, must):
    found = house.data("acidity", house.file)
    trough = found["trough"]
    page = house.page(f"/musts/{must}/acidity")
    below = f"{100 * trough['chance_below_floor']:.0f} %"
    assert re.search(rf"crash risk {trough['risk']}, {below} of falling below", page)
    text = house.say("acidity", house.file)
    assert f"Lowest pH: {trough['band']['words']}" in text
    assert f"{found['members']} possible musts" in page
    assert found["members"] == MEMBERS


# A batch ----------------------------------------------------------------------------------------


def ago(hours: float) -> str:
    return (NOW - timedelta(hours=hours)).isoformat()


@pytest.fixture
def american(house):
    """An American's batch, slow and sour, with a line of every kind in its log."""
    house.keep(AMERICAN)
    house.say("batch", "start", "lane", "--pitched", ago(240))
    house.say("batch", "event", "lane", "moved", "--temperature", "66 F", "--at", ago(230))
    feed = house.data("batch", "show", "lane")["feeds"][0]["key"]
    house.say("batch", "feed", "lane", "--feed", feed, "--at", ago(220))
    for hours, gravity in ((190, "1.098"), (140, "1.080"), (90, "1.066"), (48, "1.057")):
        house.say(
            "batch", "read", "lane", gravity, "--temperature", "62 F", "--ph", "3.05",
            "--at", ago(hours),
        )  # fmt: skip
    house.say("batch", "read", "lane", "1.0485", "--temperature", "70 F", "--at", ago(1))
    house.say("batch", "note", "lane", "smells of plums", "--at", ago(1))
    return house


def logged(text: str) -> list[str]:
    """What the log lines of `batch show` say, without moment, id and writer."""
    lines = text[text.index("Log\n") :].splitlines()[1:]
    return [re.sub(r"^ *\S+ \S+ +\w{8} +", "", one).removesuffix(" (you)") for one in lines]


def test_a_log_line_reads_the_same_everywhere(american):
    whole = logged(american.say("batch", "show", "lane"))
    assert not any(re.search(r"\d °?C\b", line) for line in whole)
    page = american.page("/batches/lane?log=all")
    stands_for = [line.partition(" [")[2].removesuffix("]") for line in whole]
    assert sum(bool(one) for one in stands_for) >= 2, (
        "readings off the calibration say both figures"
    )
    assert all(one in page for one in stands_for)
    said = [
        line.partition(" [")[0] for line in whole
    ]  # a table has what was read, not what it means
    assert "Read: 1.0485, must 70 °F" in said
    for line in said:
        title, _, detail = line.partition(": ")
        assert title in page
        assert detail in page, line
    table = american.folder / "log.csv"
    table.write_text(american.say("batch", "export", "lane", "--csv"))
    every = csv.DictReader(table.read_text().splitlines())
    rows = [{**row, "id": ""} for row in every if row["kind"] == "reading"]
    with table.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    preview = american.say("batch", "import", table, "--into", "lane", "--preview")
    for line in (one for one in said if one.startswith("Read: ")):
        assert line in preview
    form = {"text": table.read_text(), "do": "look"}
    shown = american.client.post("/batches/lane/import", data=form)
    assert "Read: 1.0485, must 70 °F" in html.unescape(shown.text)


def test_the_sheet_to_print_is_in_the_makers_unit(american):
    paper = american.page("/batches/lane/paper")
    assert "Must temperature 68 °F" in paper
    assert "instrument, °F must °F" in paper
    assert "°C" not in paper.partition("Watch out")[0]


def test_a_batch_stands_the_same_on_page_json_and_command(american):
    command = american.data("batch", "show", "lane", "--forecast")
    served = american.api("/batches/lane")
    assert served == command
    next_step = command["next"]["sentence"]
    assert american.say("batch", "next", "lane").splitlines()[0] == next_step
    page, watch = american.page("/batches/lane"), american.say("batch", "watch", "lane")
    assert next_step.rstrip(".") in page
    assert next_step in american.page("/batches/lane/paper")
    assert command["findings"]
    for one in command["findings"]:
        for words in (one["title"], one["evidence"], one["do"]):
            assert words in page, words
            assert words in watch, words
    sticks = f"{100 * command['forecast']['model']['chance_of_sticking']:.0f}"
    shown = american.say("batch", "show", "lane")
    assert f"{sticks} % chance of stopping short" in shown
    assert f"Forecast: {command['forecast']['by']}" in shown
    assert command["forecast"]["by"] in page


@pytest.mark.thorough
def test_a_batch_starts_alike_past_a_protocol_that_cannot_be_read(house):
    slug = house.keep(AMERICAN)
    house.client.app.state.compose.cellar.save("protocol", "torn", "feeds = 3", None)
    house.say("batch", "start", slug, "--name", "By hand", "--pitched", ago(0))
    form = {"name": "By page", "protocol": "", "at": NOW.strftime("%Y-%m-%dT%H:%M")}
    answer = house.client.post(f"/musts/{slug}/start", data=form, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    by_hand, by_page = (house.api(f"/batches/{one}") for one in ("by-hand", "by-page"))
    for same in ("state", "next", "feeds", "findings", "forecast"):
        assert by_hand[same] == by_page[same], same
    plan = house.data("plan", house.file)
    assert [f["name"] for f in by_hand["feeds"]] == [f["name"] for f in plan["feeds"]]


# After a blend ----------------------------------------------------------------------------------


def test_after_a_blend_there_is_one_strength_and_one_volume(house):
    house.keep(STRONG.replace("1.135", "1.100"))
    house.say("batch", "start", house.file, "--pitched", "2031-03-01 18:00")
    course = {"03-03": 1.090, "03-08": 1.040, "03-15": 1.005, "04-01": 0.997, "04-10": 0.997,
              "04-20": 0.997, "04-30": 0.997}  # fmt: skip
    for day, gravity in course.items():
        house.say("batch", "read", "lane", gravity, "--at", f"2031-{day} 18:00",
                  "--temperature", "20 C")  # fmt: skip
    other = "name=old sweet, volume=6 L, alcohol=11 %, gravity=1.030"
    blended = house.data("finish", "blend", "--batch", "lane", "--lot", "batch=lane", "--lot",
                         other, "--target", "gravity=1.006", "--record")  # fmt: skip
    litres, alcohol = blended["volume_l"], blended["alcohol_pct"]
    one_truth = house.data("batch", "show", "lane")
    of, state = one_truth["assessment"], one_truth["state"]
    assert of["volume_l"] == pytest.approx(litres, abs=0.01)
    assert of["alcohol_pct"] == state["alcohol_pct"] == pytest.approx(alcohol, abs=0.02)
    assert of["gravity"] == state["gravity"] == pytest.approx(1.006, abs=0.0002)
    assert state["phase"] == of["phase"] == "finished"
    assert of["chance_finished"] == 0, "another mead's sugar is in it, and nothing stops the yeast"
    assert of["sugar_left_g_l"]["p95"] > 15
    litres, alcohol = of["volume_l"], of["alcohol_pct"]  # the bench had started from four figures
    strong, volume = f"{alcohol:.1f} % vol", f"{litres:.2f}".rstrip("0") + " L"
    page, said = house.page("/batches/lane"), house.say("batch", "show", "lane")
    for text in (page, said):
        assert strong in text
        assert volume in text
        assert "1.006" in text
    assert "lane finished 1.006" in house.page("/batches")
    assert "lane (finished 1.006)" in house.say("batch", "list")
    bench = house.client.get("/finish/bottle?batch=lane").text
    typed = dict(re.findall(r'name="(volume|alcohol)"[^>]*value="([^"]*)"', bench))
    assert typed == {"volume": f"{litres:.4g} L", "alcohol": f"{alcohol:.4g} %"}
    done = house.data("finish", "bottle", "--batch", "lane", "--stabilised", "pasteurised",
                      "--record")  # fmt: skip
    label = f"{round(10 * alcohol) / 10:.1f} % vol"
    assert label in json.dumps(done)
    lot = house.page(re.search(r'href="(/lots/[^"]+)"', house.client.get("/batches/lane").text)[1])
    assert f"Alcohol {label}" in lot
    assert f"; {label};" in lot
    assert f"about {strong}" in house.page("/batches")


def test_a_forgotten_batch_claims_nothing_and_asks_for_a_reading(house):
    house.keep(STRONG)
    house.say("batch", "start", house.file, "--pitched", "2031-04-25 18:00")
    page, said = house.page("/batches/lane"), house.say("batch", "show", "lane")
    sentence = house.data("batch", "next", "lane")["next"]["sentence"]
    assert sentence.startswith("Read gravity and temperature now: nothing was read in the 9 days")
    assert sentence in page
    assert sentence in said
    assert "Sugar left not known" in page
    assert "Alcohol not known" in page
    assert "Nearly dry not known: read gravity first" in page
    assert "Once a new reading shows that it is due" in page
    assert not re.search(r"Due (now|today|tomorrow)", page)
    assert "sugar and alcohol not known" in said
    assert "Likely causes" not in house.say("batch", "watch", "lane")
    left = house.data("batch", "show", "lane")["assessment"]["sugar_left_g_l"]
    assert left["p05"] < 20 < 250 < left["p95"]
    calendar = house.client.get("/api/batches/lane/calendar.ics").text
    titles = re.findall(r"^SUMMARY:(.*?)\r?$", calendar, re.M)
    assert titles == ["lane: Read gravity and temperature"]


def test_a_restart_is_in_the_makers_own_units(house):
    house.keep(AMERICAN)
    house.say("batch", "start", house.file, "--pitched", "2031-04-20 18:00")
    for day, gravity in enumerate((1.110, 1.080, 1.050, 1.040, 1.040, 1.040, 1.040)):
        house.say("batch", "read", "lane", gravity, "--at", f"2031-04-{22 + day} 18:00",
                  "--temperature", "70 F", "--ph", "3.6")  # fmt: skip
    house.say("batch", "read", "lane", 1.040, "--temperature", "70 F", "--ph", "3.6")
    for text in (house.page("/batches/lane"), house.say("batch", "watch", "lane")):
        steps = text[text.index("Starter") :]
        assert "16 US fl oz of the stuck mead and 16 US fl oz of water" in steps
        assert "95 °F to 104 °F" in steps
        assert not re.search(r"\d L\b", steps[: steps.index("ive up")])
    house.say("batch", "event", "lane", "restart_begun")
    assert "with 1 US qt of the mead" in house.say("batch", "next", "lane")
    house.say("batch", "event", "lane", "racked", "--litres", "4.5 gal")
    for text in (house.page("/batches/lane"), house.say("batch", "show", "lane")):
        assert "4.5 US gal" in text
