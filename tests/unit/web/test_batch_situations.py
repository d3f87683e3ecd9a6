"""Situations in which parts of a batch once contradicted one another, by page and by JSON."""

from __future__ import annotations

import re
from datetime import UTC, timedelta

import pytest

from batch_pages import Cellar, words
from batches import STRONG, plan
from finished import dry_batch
from mustwright.batch.calendar import calendar_text
from mustwright.batch.entries import FeedGiven, Given
from mustwright.batch.finishing_record import Added, Poured, StepDone
from mustwright.finishing.liquid import mead
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.forecaster import work_out
from mustwright.services.batch.record import write

LANE = STRONG.replace("1.120", "1.100")


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


def begun(cellar, name, days, read, *, fed=True, sheet=LANE, **more):
    """A batch pitched so many days ago, read on days after the pitch."""
    of = plan(sheet)
    slug = cellar.start(name, 24 * days, plan=of).slug
    for feed in of.feeds if fed else ():
        items = tuple(Given(d.nutrient, d.grams, d.name) for d in feed.doses)
        at = cellar.now - timedelta(days=days) + timedelta(hours=20)
        write(cellar.ledger, slug, FeedGiven(items, feed.key), at=at)
    for day, gravity in read:
        cellar.read(slug, 24 * (days - day), gravity, **{"temperature_c": 20.0, **more})
    return slug


def told(client, slug):
    """The words of the page, and the JSON."""
    page = words(client.get(f"/batches/{slug}").text)
    return page, client.get(f"/api/batches/{slug}").json()


FALL = ((1, 1.095), (3, 1.070), (5, 1.040), (8, 1.010))


def test_a_dry_mead_at_1_000_is_at_its_end_and_not_stopped(client, cellar):
    slug = begun(cellar, "Lane", 29, (*FALL, (11, 1.001), *((d, 1.000) for d in range(14, 29, 3))))
    page, data = told(client, slug)
    assert data["assessment"]["phase"] in ("at its end", "finished")
    assert data["assessment"]["chance_stopped_short"] < 0.2
    assert data["assessment"]["end_gravity"]["high"] >= 1.0
    assert "Stopped short" not in page
    assert "restart" not in page.lower().replace("restart starter", "")
    assert data["restart"] is None


def test_old_knowledge_asks_for_a_reading_before_any_feed(client, cellar):
    slug = begun(cellar, "Lane", 9, ((1, 1.095),), fed=False)
    page, data = told(client, slug)
    assert data["next"]["sentence"].startswith("Read gravity and temperature now: ")
    assert "the last reading is 8 days old" in page
    assert "days late" not in page
    assert data["assessment"]["knowledge_age_h"] == pytest.approx(192)
    never = begun(cellar, "Never read", 9, (), fed=False)
    page, data = told(client, never)
    assert "nothing was read in the 9 days since the pitch" in page
    assert data["next"]["kind"] == "read"
    assert "Feed " not in data["next"]["sentence"]


STUCK = ((1, 1.095), (3, 1.070), (5, 1.045), (6, 1.040), (7, 1.040), (8, 1.040), (9, 1.040))


def test_a_stop_is_said_everywhere_and_nothing_is_foreseen(client, cellar):
    slug = begun(cellar, "Lane", 9.1, STUCK, ph=2.9, sheet=LANE.replace('"us"', '"home"'))
    page, data = told(client, slug)
    replan = words(client.get(f"/batches/{slug}/replan").text)
    due = words(client.get("/").text)
    assert data["assessment"]["phase"] == "stopped short"
    assert data["assessment"]["chance_stopped_short"] > 0.9
    assert "Restart it first: the ferment has stopped short" in replan
    assert "The plan still fits" not in replan
    assert "Nearly dry not until it ferments again" in page
    assert "stopped short" in due
    assert data["next"]["sentence"].startswith("Add ")
    assert "potassium bicarbonate" in data["next"]["sentence"]
    causes = [c["cause"] for c in data["diagnosis"]["causes"]]
    assert causes.index("ph_potassium") < causes.index("instrument")


def test_the_restart_is_known_once_it_is_logged(client, cellar):
    slug = begun(cellar, "Lane", 12.1, (*STUCK, (10, 1.040), (12, 1.040)), ph=3.5)
    assert "Set up the restart starter now" in told(client, slug)[0]
    cellar.event(slug, 0.5, "restart_begun")
    assert "Double the starter with" in told(client, slug)[1]["next"]["sentence"]
    cellar.event(slug, 0.2, "restarted")
    page, data = told(client, slug)
    assert data["next"]["sentence"].startswith("Read gravity tomorrow")
    assert "whether the restart has taken" in page
    assert "second reading" not in data["next"]["sentence"]
    assert data["assessment"]["restart"]["state"] == "combined"
    cellar.pass_hours(24)
    cellar.read(slug, 1, 1.040, temperature_c=22.0)
    assert "give up" in told(client, slug)[1]["next"]["sentence"]
    cellar.pass_hours(48)
    for ago, gravity in ((25, 1.036), (1, 1.029)):
        cellar.read(slug, ago, gravity, temperature_c=22.0)
    data = told(client, slug)[1]
    assert data["assessment"]["restart"]["state"] == "taken"
    assert data["assessment"]["phase"] in ("working", "slowing")
    shortest, longest = data["assessment"]["days_to_end"]
    assert 0 < shortest < longest < 60
    assert f"Nearly dry in {shortest:.0f} to {longest:.0f} days" in told(client, slug)[0]


def test_a_restart_that_never_takes_is_given_up(client, cellar):
    slug = begun(cellar, "Lane", 30, (*STUCK, (10, 1.040), (12, 1.040)), ph=3.5)
    cellar.event(slug, 24 * 15, "restarted")
    for ago in (24 * 10, 24 * 5, 2):
        cellar.read(slug, ago, 1.040, temperature_c=22.0)
    data = told(client, slug)[1]
    assert data["assessment"]["restart"]["state"] == "given up"
    assert data["next"]["sentence"].startswith("Stop the restart")


def test_three_readings_at_0_995_are_the_end_and_sorbate_is_not_refused_for_them(client, cellar):
    slug = begun(cellar, "Lane", 13.1, (*FALL, (11, 0.995), (12, 0.995), (13, 0.995)))
    page, data = told(client, slug)
    assert data["assessment"]["phase"] == "at its end"
    assert "still falls" not in page
    assert "two weeks at one gravity" in data["next"]["sentence"]
    form = client.get(f"/finish/sorbate?batch={slug}").text
    box = re.search(r'<input[^>]*name="fermenting"[^>]*>', form)
    assert box is None or "checked" not in box[0]


def test_after_sweetening_there_is_one_gravity_and_one_strength(client, cellar):
    slug = dry_batch(cellar)
    sweet = mead(1.0, 1.20, 0.0)
    poured = Poured(sweet.mass_g, sweet.extract_g, sweet.ethanol_g)
    honey = Added("honey", "Honey", sweet.mass_g, {"sugar": 450.0}, poured, 1.0)
    write(cellar.ledger, slug, StepDone("sweeten", added=(honey,)), at=cellar.now)
    page, data = told(client, slug)
    gravity, strength = data["state"]["gravity"], data["state"]["alcohol_pct"]
    assert gravity > 1.0
    assert data["assessment"]["gravity"] == gravity
    assert f"{strength:.1f} % vol" in page
    assert re.search(rf"Gravity {gravity:.3f}", page)
    bench = client.get(f"/finish/bottle?batch={slug}").text
    assert f'value="{float(f"{strength:.4g}"):g} %"' in bench
    assert f"{gravity:.3f}" in words(client.get("/batches").text)


def test_an_unfed_hot_ferment_gives_cause_to_worry_in_the_makers_degrees(client, cellar):
    sheet = LANE.replace("20 C", "65 F")
    read = ((1, 1.085), (2, 1.060), (3, 1.035))
    slug = begun(cellar, "Hot", 3.1, read, fed=False, sheet=sheet, temperature_c=25.56)
    page, data = told(client, slug)
    assert {"unplanned_warmth", "unfed"} <= {f["rule"] for f in data["findings"]}
    assert "78 °F in the must" in page
    assert "65 °F was planned" in page
    assert "No reading so far is a cause for concern" not in page


def test_the_calendar_lets_go_of_what_the_page_withdraws(client, cellar):
    read = ((1, 1.085), (2, 1.060), (3, 1.035))
    slug = begun(cellar, "Hot", 3.1, read, fed=False)
    page = told(client, slug)[0]
    assert "are withdrawn: more than 40 % of the sugar is gone" in page
    view = look(cellar.ledger, slug, cellar.now, UTC)
    calendar = calendar_text([view], "Lane", UTC).decode()
    feeds = re.findall(r"BEGIN:VEVENT.*?END:VEVENT", calendar, re.S)
    states = [re.search(r"STATUS:(\w+)", f)[1] for f in feeds if "next-check" not in f]
    assert set(states) == {"CANCELLED"}


def test_a_reading_of_3_20_is_at_the_floor_and_not_under_it(client, cellar):
    slug = begun(cellar, "Lane", 3.1, ((1, 1.095), (2, 1.085), (3, 1.070)), ph=3.2)
    page = told(client, slug)[0]
    assert "pH 3.20 was read; that is the floor" in page
    assert "under 3.2 yeast struggles." not in page


def test_a_corrected_reading_shows_both_figures(client, cellar):
    slug = begun(cellar, "Lane", 2.1, ((1, 1.104),), sample_c=15.0)
    page = told(client, slug)[0]
    assert "1.104 as read, 1.103 at 20 °C" in page


def test_nothing_due_lies_in_the_past(client, cellar):
    slug = begun(cellar, "Lane", 9, ((1, 1.095), (2, 1.090)), fed=False)
    cellar.now += timedelta(days=4)
    for text in (client.get("/").text, client.get("/batches").text):
        said = words(text)
        assert not re.search(r"(due|about) yesterday", said)
        assert "late)" not in said
    step = told(client, slug)[1]["next"]
    assert step["at"] >= cellar.now.isoformat()[:16]


def test_no_salt_is_named_where_the_law_leaves_none_of_it(client, cellar):
    slug = begun(cellar, "Lane", 9.1, STUCK, ph=2.9)
    page, data = told(client, slug)
    advice = "Add no salt, give no ammonium, and blend it with a less sour mead, or thin it"
    assert data["next"]["sentence"].startswith(advice)
    assert page.count(advice) >= 2, "next step and worries say the same"
    assert "5.0 g/L" in data["next"]["caution"]
    assert not re.search(r"[Aa]dd [\d.]+ g of", page)


def test_a_salt_that_went_in_is_not_asked_for_again(client, cellar):
    slug = begun(cellar, "Lane", 9.1, STUCK, ph=2.9, sheet=LANE.replace('"us"', '"home"'))
    dose = r"[Aa]dd ([\d.]+) g of potassium bicarbonate now"
    page, _ = told(client, slug)
    grams = set(re.findall(dose, page))
    assert len(grams) == 1, "one dose in next step, worries and restart"
    assert set(re.findall(dose, words(client.get("/batches").text))) == grams
    assert "half a day now" not in words(client.get("/batches").text)
    given = (Given("potassium_bicarbonate", float(grams.pop())),)
    write(cellar.ledger, slug, FeedGiven(given), at=cellar.now)
    page, data = told(client, slug)
    assert data["next"]["sentence"].startswith("Read pH and gravity ")
    assert not re.search(dose, page)


def test_what_stopped_short_falls_by_nothing_on_its_own_page(client, cellar):
    slug = begun(cellar, "Lane", 9.1, STUCK[:6], ph=3.5)
    page, data = told(client, slug)
    assert data["assessment"]["phase"] == "stopped short"
    assert "no fall seen for 2 days" in page
    assert "Falls by" not in page


@pytest.mark.usefixtures("forecasts")
def test_a_forecast_does_not_outlive_the_stop_that_contradicts_it(client, cellar):
    slug = begun(cellar, "Lane", 9.1, STUCK[:4], ph=3.5)
    cellar.now -= timedelta(days=3)
    work_out(cellar.ledger, slug, cellar.now)
    before = told(client, slug)[0]
    assert "Nearly dry not before" not in before
    cellar.now += timedelta(days=3)
    for ago, gravity in ((50, 1.040), (26, 1.040), (2, 1.040)):
        cellar.read(slug, ago, gravity, temperature_c=20.0, ph=3.5)
    work_out(cellar.ledger, slug, cellar.now)
    page, data = told(client, slug)
    assert data["assessment"]["phase"] == "stopped short"
    assert "Nearly dry not until it ferments again" in page
    assert "fermentation has stopped: no forecast until it works again" in page
    low, high = data["forecast"]["low"][-1], data["forecast"]["high"][-1]
    assert low < 1.040 < high
    assert high - low < 0.01, "the line ahead stays where it was read"


@pytest.mark.usefixtures("forecasts")
def test_a_salt_dose_stays_while_a_newer_forecast_is_being_worked_out(client, cellar):
    slug = cellar.sour()
    dose = r"[\d.]+ g of potassium bicarbonate \([\d.]+ g/L\)"
    before = re.search(dose, told(client, slug)[0])
    assert before is not None
    cellar.read(slug, 0.1, 1.060, temperature_c=20.5)
    again = re.search(dose, told(client, slug)[0])
    assert again is not None, "a reading of gravity alone does not take the dose away"
    assert again[0] == before[0]
    cellar.event(slug, 0.05, "ph_adjusted")
    assert re.search(dose, told(client, slug)[0]) is None, "what was dosed for is no longer there"


@pytest.mark.parametrize(("days", "waits"), [(3, True), (40, False)])
def test_a_forgotten_batch_is_read_first_and_no_feed_is_held_out_for_ever(
    client, cellar, days, waits
):
    page, data = told(client, begun(cellar, "Forgotten", days, [(0.75, 1.097)], fed=False))
    assert data["next"]["sentence"].startswith("Read gravity and temperature now")
    assert ("the next feed waits for one" in data["next"]["sentence"]) is waits
    assert ("Feed 1 was given as planned" in page) is waits
    assert "Alcohol when last read, about" in page


def test_a_dry_batch_whose_feeds_were_not_written_down_is_asked_about_them_and_fed_no_more(
    client, cellar
):
    read = [(0.75, 1.097), (4, 1.062), (7, 1.030), (11, 1.008)]
    page, data = told(client, begun(cellar, "Unwritten", 11, read, fed=False))
    (missed,) = [f for f in data["findings"] if f["rule"] == "unfed"]
    assert missed["check"].startswith("Were feeds given and not recorded?")
    assert "Feed nothing more" in missed["do"]
    assert "are withdrawn" in page
    assert "give a little" not in page
    assert "stop short" not in data["next"]["sentence"]
