"""The page of a batch: next step, writing it down, worries; and what is due on the first page."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import pytest
from PIL import Image

from batch_pages import Cellar, fields, scripts_of_others, words
from batches import WEAK, plan
from mustwright.batch.entries import Entry, Event, FeedGiven, Given, Photo, Reading
from mustwright.batch.log import standing
from mustwright.services.batch.record import write
from mustwright.services.demo import seed_demo
from mustwright.web.forms import batch_form
from mustwright.web.pictures.batch_line import thinned


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


def at(cellar, hours_ago):
    return (cellar.now - timedelta(hours=hours_ago)).strftime("%Y-%m-%dT%H:%M")


def at_now(cellar):
    return cellar.now.strftime("%Y-%m-%dT%H:%M")


def stands(cellar, slug):
    return [s for s in standing(cellar.ledger.log(slug)) if not s.removed]


def latest(cellar, slug):
    return cellar.ledger.log(slug)[-1]


# Starting -------------------------------------------------------------------------------------


def test_a_batch_starts_from_a_plan_with_the_shelf_of_the_cellar(client, cellar):
    seed_demo(cellar.compose.cellar)
    plan_page = client.get("/musts/dry-lane-mead?protocol=staged_for_strong_musts").text
    link = re.search(r'href="(/musts/dry-lane-mead/start\?[^"]*)"', plan_page)[1]
    form = fields(client.get(link).text, "/musts/dry-lane-mead/start")
    assert form["protocol"] == "staged_for_strong_musts"
    assert form["at"] == at(cellar, 0)
    answer = client.post("/musts/dry-lane-mead/start", data=form | {"at": at(cellar, 2)})
    assert answer.url.path == "/batches/dry-lane-mead"
    log = cellar.ledger.log("dry-lane-mead")
    assert log[0].what.plan.protocol == "staged_for_strong_musts"
    shelf = {record.key for record in cellar.compose.cellar.records("nutrient")}
    assert {jar.id for jar in log[0].what.plan.jars} <= shelf
    assert log[1].what == Event("pitched")
    assert log[1].at == cellar.now - timedelta(hours=2)


def test_a_batch_may_wait_for_its_yeast_and_is_pitched_with_one_tap(client, cellar):
    seed_demo(cellar.compose.cellar)
    form = fields(client.get("/musts/dry-lane-mead/start").text, "/musts/dry-lane-mead/start")
    page = client.post("/musts/dry-lane-mead/start", data=form | {"not_yet": "1"}).text
    assert "Rehydrate" in words(page)
    action = "/batches/dry-lane-mead/event"
    client.post(action, data=fields(page, action))
    assert latest(cellar, "dry-lane-mead").what == Event("pitched")


def test_a_wrong_start_keeps_what_was_typed(client, cellar):
    seed_demo(cellar.compose.cellar)
    form = {"name": "Mine", "protocol": "staged_for_strong_musts", "at": "2099-01-01T00:00"}
    answer = client.post("/musts/dry-lane-mead/start", data=form)
    assert answer.status_code == 422
    assert 'value="Mine"' in answer.text
    assert "2099-01-01T00:00" in answer.text
    assert "start-at-wrong" in answer.text
    assert cellar.ledger.batches() == []
    unknown = client.post("/musts/dry-lane-mead/start", data=form | {"at": "", "protocol": "none"})
    assert unknown.status_code == 422
    assert client.get("/musts/nobody/start").status_code == 404


def test_a_batch_may_follow_its_protocol_as_written(client, cellar):
    seed_demo(cellar.compose.cellar)
    form = fields(client.get("/musts/dry-lane-mead/start").text, "/musts/dry-lane-mead/start")
    assert "as_written" not in form
    client.post("/musts/dry-lane-mead/start", data=form | {"as_written": "1"})
    most = cellar.ledger.log("dry-lane-mead")[0].what.plan.most
    assert most
    assert all(one.advises for one in most if not one.key.startswith("limit:"))


# Writing down ---------------------------------------------------------------------------------


def test_a_reading_takes_three_fields_and_the_page_says_what_was_written(client, cellar):
    slug = cellar.start("Heather", 30).slug
    action = f"/batches/{slug}/reading"
    form = fields(client.get(f"/batches/{slug}").text, action)
    page = client.post(action, data=form | {"gravity": "1,098", "temperature": "21", "ph": "3.6"})
    written = latest(cellar, slug)
    assert written.what == Reading(gravity=1.098, temperature_c=21.0, ph=3.6)
    assert written.at == cellar.now
    assert "Written down. Read: 1.098, must 21 °C, pH 3.6" in words(page.text)
    assert "1.098" in re.search(r'<dd><details class="fig"><summary>([^<]*)', page.text)[1]


def test_a_reading_typed_with_a_wrong_year_is_said_not_to_count(client, cellar):
    slug = cellar.start("Heather", 30).slug
    action = f"/batches/{slug}/reading"
    form = fields(client.get(f"/batches/{slug}").text, action)
    page = words(client.post(action, data=form | {"gravity": "1.098", "at": at(cellar, 8760)}).text)
    warned = (
        "The reading of gravity 1.098 is dated 2030-05-04, 364 days before the pitch, and does "
        "not count. Check the date."
    )
    written = page.split("Written down.", 1)[1].split("Next", 1)[0]
    assert warned in written
    later = words(client.get(f"/batches/{slug}").text)
    assert f"A reading is dated long before the pitch : {warned}" in later
    client.headers["Accept-Language"] = "de"
    german = words(client.get(f"/batches/{slug}").text)
    assert "trägt das Datum 04.05.2030, 364 Tage vor der Hefegabe, und zählt nicht" in german


def test_a_second_tap_writes_nothing_and_other_figures_from_the_same_form_are_a_conflict(
    client, cellar
):
    """As in the interface for devices: an id that is kept and says otherwise is 409."""
    slug = cellar.start("Heather", 30).slug
    action = f"/batches/{slug}/reading"
    form = fields(client.get(f"/batches/{slug}").text, action) | {"gravity": "1.098"}
    client.post(action, data=form)
    cellar.now += timedelta(seconds=3)
    client.post(action, data=form)
    assert len(stands(cellar, slug)) == 3
    other = client.post(action, data=form | {"gravity": "1.097"})
    assert other.status_code == 409
    assert "sent before" in words(other.text)
    assert "Read: 1.098" in words(other.text)
    assert len(stands(cellar, slug)) == 3
    again = fields(other.text, action)
    assert again["gravity"] == "1.097"
    assert client.post(action, data=again).status_code == 200
    assert [s.what.gravity for s in stands(cellar, slug)[-2:]] == [1.098, 1.097]


@pytest.mark.parametrize(
    ("kind", "first", "second"),
    [
        ("note", {"text": "one"}, {"text": "two"}),
        ("event", {"what": "stirred"}, {"what": "degassed"}),
        ("feed", {f"{batch_form.GRAMS}dap": "2 g"}, {f"{batch_form.GRAMS}dap": "3 g"}),
    ],
)
def test_every_form_with_an_id_that_was_used_is_a_conflict(client, cellar, kind, first, second):
    slug = cellar.start("Heather", 30).slug
    action, at = f"/batches/{slug}/{kind}", {"id": "one-form", "at": at_now(cellar)}
    assert client.post(action, data=at | first).status_code == 200
    assert client.post(action, data=at | first).status_code == 200
    before = cellar.ledger.log(slug)
    assert client.post(action, data=at | second).status_code == 409
    assert cellar.ledger.log(slug) == before


def test_another_picture_or_caption_from_the_same_form_is_a_conflict(client, cellar):
    slug = cellar.start("Heather", 30).slug

    def send(colour: str, caption: str) -> int:
        out = io.BytesIO()
        Image.new("RGB", (9, 9), colour).save(out, "PNG")
        files = {"photo": ("a.png", out.getvalue())}
        data = {"id": "one-form", "caption": caption}
        return client.post(f"/batches/{slug}/photos", data=data, files=files).status_code

    assert send("red", "crown") == 200
    assert send("red", "crown") == 200
    assert send("blue", "crown") == 409
    assert send("red", "another") == 409
    assert len(cellar.ledger.photos(slug)) == 1


def test_a_clock_that_was_set_back_is_said_and_comes_first(client, cellar):
    """A clock before the pitch once said "pitch the yeast" of a batch in full ferment."""
    slug = cellar.start("Heather", 30).slug
    cellar.read(slug, 1, 1.1)
    cellar.pass_hours(-48)
    page = words(client.get(f"/batches/{slug}").text)
    assert "Set the clock of this machine" in page
    assert "Pitch" not in page.split("Next", 1)[1].split("Write", 1)[0]
    said = client.get(f"/api/batches/{slug}").json()
    assert said["findings"][0]["rule"] == "clock"
    assert "clock of this machine" in words(client.get("/").text)
    cellar.pass_hours(48)
    assert "clock of this machine" not in words(client.get(f"/batches/{slug}").text)


@pytest.mark.parametrize(
    ("instrument", "gravity", "unit", "temperature", "expected"),
    [
        ("hydrometer brix", "18.5", "F", "68", Reading(brix=18.5, temperature_c=20.0)),
        ("refractometer", "18.5", "C", "", Reading(brix=18.5, instrument="refractometer")),
        ("hydrometer", "1062", "C", "", Reading(gravity=1.062)),
        ("hydrometer", "15 Bx", "C", "19.5", Reading(brix=15.0, temperature_c=19.5)),
    ],
)
def test_readings_in_the_makers_units(
    client, cellar, instrument, gravity, unit, temperature, expected
):
    slug = cellar.start("Heather", 30).slug
    form = {"instrument": instrument, "gravity": gravity, "unit": unit, "temperature": temperature}
    client.post(f"/batches/{slug}/reading", data=form | {"at": at(cellar, 3)})
    written = latest(cellar, slug)
    assert written.what == expected
    assert written.at == cellar.now - timedelta(hours=3)
    again = fields(client.get(f"/batches/{slug}").text, f"/batches/{slug}/reading")
    assert again["instrument"] == instrument if gravity != "15 Bx" else "hydrometer brix"


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"gravity": "heavy"}, "gravity"),
        ({"gravity": "1.9"}, "gravity"),
        ({"ph": "99"}, "ph"),
        ({"temperature": "300"}, "temperature"),
        ({"gravity": "1.05", "at": "2099-01-01T00:00"}, "at"),
        ({"gravity": "1.050", "instrument": "refractometer"}, "gravity"),
        ({"gravity": "1.05", "instrument": "crystal"}, "instrument"),
        ({}, "gravity"),
    ],
)
def test_what_cannot_be_used_is_said_beside_its_field_and_kept(client, cellar, form, field):
    slug = cellar.start("Heather", 30).slug
    typed = {"note": "with a long & story"} | form
    answer = client.post(f"/batches/{slug}/reading", data=typed)
    assert answer.status_code == 422
    assert f'id="reading-{field}-wrong"' in answer.text
    kept = fields(answer.text, f"/batches/{slug}/reading")
    for name, value in typed.items():
        if name != "instrument" or value != "crystal":
            assert kept[name] == value
    assert len(stands(cellar, slug)) == 2


def test_a_due_feed_is_given_as_planned_with_one_tap_and_once(client, cellar):
    slug = cellar.start("Heather", 30).slug
    cellar.read(slug, 1, 1.116, temperature_c=20)
    page = client.get(f"/batches/{slug}").text
    assert "Given as planned" in words(page)
    action = f"/batches/{slug}/feed"
    form = fields(page, action) | {"do": "as planned"}
    planned = plan().feed(form["feed"])
    client.post(action, data=form)
    client.post(action, data=form)
    given = [s.what for s in stands(cellar, slug) if isinstance(s.what, FeedGiven)]
    assert [(i.nutrient, i.grams) for i in given[0].items] == [
        (d.nutrient, d.grams) for d in planned.doses
    ]
    assert len(given) == 1
    stale = client.post(action, data=form | {"id": "another"})
    assert stale.status_code == 422
    assert "given already" in words(stale.text)


def test_a_feed_with_other_amounts_or_skipped(client, cellar):
    slug = cellar.start("Heather", 30).slug
    action = f"/batches/{slug}/feed"
    form = fields(client.get(f"/batches/{slug}").text, action, -1)
    assert any(name.startswith("grams-") and value for name, value in form.items())
    wrong = client.post(action, data=form | {"grams-dap": "a pinch", "do": "give"})
    assert wrong.status_code == 422
    assert 'id="feed-grams-dap-wrong"' in wrong.text
    assert fields(wrong.text, action, -1)["grams-dap"] == "a pinch"
    empty = {name: "" if name.startswith("grams-") else value for name, value in form.items()}
    assert client.post(action, data=empty | {"do": "give"}).status_code == 422
    client.post(action, data=form | {"grams-dap": "2.5 g", "do": "give"})
    assert {i.nutrient: i.grams for i in latest(cellar, slug).what.items}["dap"] == 2.5
    client.post(action, data={"id": "s", "feed": "f2", "do": "skip"})
    assert latest(cellar, slug).what == FeedGiven((), "f2", True)
    page = words(client.get(f"/batches/{slug}").text)
    assert "gave 2.5 g" in page
    assert "Skipped Sun 4 May" in page


def test_a_carbonate_is_written_down_whether_or_not_it_is_on_the_shelf(client, cellar):
    slug = cellar.start("Heather", 30).slug
    action = f"/batches/{slug}/feed"
    form = fields(client.get(f"/batches/{slug}").text, action, -1)
    plain = {name: "" if name.startswith(("grams-", "feed")) else v for name, v in form.items()}
    client.post(action, data=plain | {"grams-potassium_bicarbonate": "4", "do": "give"})
    (given,) = latest(cellar, slug).what.items
    assert (given.nutrient, given.grams) == ("potassium_bicarbonate", 4)
    assert "4 g Potassium bicarbonate" in words(client.get(f"/batches/{slug}").text)


def test_ph_by_a_paper_strip_is_kept_said_and_offered_again(client, cellar):
    slug = cellar.start("Heather", 30).slug
    client.post(f"/batches/{slug}/reading", data={"ph": "3.5", "ph_by": "strip"})
    assert latest(cellar, slug).what == Reading(ph=3.5, ph_by="strip")
    page = client.get(f"/batches/{slug}").text
    assert "pH 3.5 by strip" in words(page)
    assert fields(page, f"/batches/{slug}/reading")["ph_by"] == "strip"
    wrong = client.post(f"/batches/{slug}/reading", data={"ph": "3.5", "ph_by": "tongue"})
    assert wrong.status_code == 422
    assert "Needs one of meter, strip. What came: tongue" in words(wrong.text)
    here = f"/batches/{slug}/entries/{latest(cellar, slug).id}"
    form = fields(client.get(here).text, here)
    assert form["ph_by"] == "strip"
    client.post(here, data=form | {"ph": "3.4", "ph_by": "meter"})
    assert stands(cellar, slug)[-1].what == Reading(ph=3.4)


@pytest.mark.usefixtures("forecasts")
def test_the_page_draws_ph_and_says_what_keeps_it(client, cellar):
    slug = cellar.sour()
    page = client.get(f"/batches/{slug}").text
    section = page[page.index('id="ph-ahead"') :]
    section = section[: section.index("</section>")]
    said = words(section)
    assert "pH is" in said
    assert re.search(r"the lowest pH ahead is (below )?[\d.]+ (to [\d.]+|or lower)", said)
    assert section.count("<circle") == 2 * 2, "two readings in two pictures"
    assert "pH along the batch: 2 readings" in section
    assert "below 2.9, likely to stall" in section
    assert "pH now with a meter" in said
    assert re.search(r"g of potassium bicarbonate .* is the smallest dose", said)
    assert "Foams in acid must" in said
    assert client.get(f"/api/batches/{slug}").json()["forecast"]["model"]["ph"]["readings"] == 1


def test_events_notes_and_photos(client, cellar):
    slug = cellar.start("Heather", 30).slug
    here = f"/batches/{slug}"
    moved = {"what": "moved", "temperature": "59", "unit": "F", "note": "cellar"}
    client.post(f"{here}/event", data=moved)
    assert latest(cellar, slug).what == Event("moved", 15.0, None, "cellar")
    assert client.post(f"{here}/event", data={"what": "drunk"}).status_code == 422
    client.post(f"{here}/note", data={"text": "smells of <b>heather</b>"})
    assert "smells of &lt;b&gt;heather" in client.get(here).text
    assert client.post(f"{here}/note", data={"text": " "}).status_code == 422
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "gold").save(out, "PNG")
    picture = {"photo": ("p.png", out.getvalue(), "image/png")}
    page = client.post(f"{here}/photos", data={"caption": "foam"}, files=picture).text
    kept = latest(cellar, slug).what
    assert isinstance(kept, Photo)
    assert f'src="{here}/photos/{kept.photo}"' in page
    answer = client.get(f"{here}/photos/{kept.photo}")
    assert answer.headers["content-type"] == "image/jpeg"
    bad = client.post(f"{here}/photos", files={"photo": ("p.png", b"no picture", "image/png")})
    assert bad.status_code == 422
    assert 'id="photo-photo-wrong"' in bad.text
    assert client.post(f"{here}/photos", data={"caption": "none"}).status_code == 422
    assert client.get(f"{here}/photos/nothing").status_code == 404


# The page -------------------------------------------------------------------------------------


def test_the_picture_shows_readings_forecast_and_feeds(client, cellar):
    slug = cellar.start("Heather", 70).slug
    for hours, gravity in ((50, 1.114), (26, 1.098), (2, 1.085)):
        cellar.read(slug, hours, gravity, temperature_c=20)
    cellar.feed(slug, 48, "f1")
    page = client.get(f"/batches/{slug}").text
    wide = re.search(r"<svg[^>]*batch-wide.*?</svg>", page, re.S)[0]
    assert wide.count('class="dot read"') == 3
    assert wide.count('class="error"') == 3
    assert 'class="fan c0"' in wide
    assert 'class="due"' in wide
    assert 'class="ammonium"' in wide
    assert "3 readings, the last 1.085" in wide


def test_a_stuck_batch_ranks_causes_and_gives_a_restart(client, cellar):
    slug = cellar.stuck()
    page = words(client.get(f"/batches/{slug}").text)
    assert "Stopped short" in page
    for heading in (
        "What may be behind it",
        "If it stays as it is: restart, step by step",
        "Starter.",
        "When to give up",
        "It is over when",
        "Thresholds and where they are from",
    ):
        assert heading in page
    scores = re.findall(r"(\d+) %", page[page.index("What may be behind it") :])
    assert int(scores[0]) >= int(scores[1])


def test_a_batch_older_than_any_clock_trigger_still_opens(client, cellar):
    slug = cellar.start("Forgotten", 24 * 90, plan=plan(WEAK, "label_rate_days_1_2_3")).slug
    assert client.get(f"/batches/{slug}").status_code == 200
    cellar.event(slug, 1, "bottled")
    page = client.get(f"/batches/{slug}")
    assert page.status_code == 200
    assert "never given" in words(page.text).lower()


@pytest.mark.parametrize(
    "path",
    ["", "/paper", "/record", "/labels", "/links", "/import", "/replan", "?log=all", "?wrote=zzz"],
)
def test_pages_of_a_batch_have_no_inline_style_or_script(client, cellar, path):
    slug = cellar.stuck()
    answer = client.get(f"/batches/{slug}{path}")
    assert answer.status_code == 200
    assert not re.search(r"<[^>]+\sstyle=", answer.text)
    assert scripts_of_others(answer.text) == []
    assert client.get(f"/batches/nobody{path}").status_code == 404


def test_home_puts_what_is_due_today_first_the_worst_on_top(client, cellar):
    seed_demo(cellar.compose.cellar)
    assert "Due today" not in client.get("/").text
    quiet = cellar.start("Quiet", 100).slug
    for hours, gravity in ((76, 1.110), (52, 1.095), (28, 1.082), (2, 1.070)):
        cellar.read(quiet, hours, gravity, temperature_c=20)
    for key in ("f1", "f2", "f3", "f4"):
        cellar.feed(quiet, 20, key)
    waits = cellar.start("Waits", None).slug
    stuck = cellar.stuck()
    page = client.get("/").text
    assert "not worked out yet" not in page
    places = [page.index(f'href="/batches/{slug}"') for slug in (stuck, waits)]
    assert places == sorted(places)
    assert places[-1] < page.index(">Musts<")
    last = page.index(f'href="/batches/{quiet}"')
    assert places[-1] < page.index("Nothing due today") < last < page.index(">Musts<")
    listed = client.get("/batches").text
    assert listed.index("Later") < listed.index(f'href="/batches/{quiet}"')


def test_batches_are_put_away_brought_back_renamed_and_listed_when_closed(client, cellar):
    slug = cellar.start("Heather", 30).slug
    here = f"/batches/{slug}"
    page = client.get(here).text
    client.post(f"{here}/rename", data=fields(page, f"{here}/rename") | {"name": "Heath & sky"})
    assert "Heath &amp; sky" in client.get(here).text
    stale = client.post(f"{here}/delete", data=fields(page, f"{here}/delete"))
    assert stale.status_code == 409
    assert "This is how it stands now" in words(stale.text)
    nameless = client.post(f"{here}/rename", data={"version": "3", "name": " "})
    assert nameless.status_code == 422
    assert "rename-name-wrong" in nameless.text
    fresh = client.get(here).text
    away = client.post(f"{here}/delete", data=fields(fresh, f"{here}/delete"))
    assert "was deleted" in away.text
    assert client.get(here).status_code == 404
    assert "Heath &amp; sky" in client.get("/batches").text
    assert client.post(f"{here}/restore").url.path == here
    cellar.event(slug, 0, "bottled")
    client.get(here)
    listed = client.get("/batches").text
    assert "Bottled or ended" in listed
    assert listed.index("Bottled or ended") < listed.index(f'href="{here}"')


def test_a_device_that_reads_every_hour_is_drawn_without_a_bar_for_each(client, cellar):
    slug = cellar.start("Hourly", 400).slug
    readings = [Reading(gravity=1.12 - 0.0003 * h, temperature_c=20.0) for h in range(390)]
    cellar.ledger.append(slug, [
        Entry(f"d{h}", cellar.now - timedelta(hours=399 - h), "device", what)
        for h, what in enumerate(readings)
    ])  # fmt: skip
    page = client.get(f"/batches/{slug}").text
    wide = re.search(r"<svg[^>]*batch-wide.*?</svg>", page, re.S)[0]
    assert 'class="error"' not in wide
    dots = re.search(r'<path d="([^"]*)" class="dots"', wide)[1]
    assert 100 <= dots.count("h0") <= 141
    assert page.count("<li id=") <= 12
    assert "All 392 entries" in page


@pytest.mark.parametrize("count", [0, 1, 2, 139, 140, 141, 5000])
def test_thinning_keeps_the_first_and_the_last(count):
    kept = thinned(count)
    assert len(kept) <= min(count, 142)
    assert kept[:1] == list(range(count))[:1]
    assert kept[-1:] == list(range(count))[-1:]
    assert kept == sorted(set(kept))
    if count <= 140:
        assert kept == list(range(count))


# Beyond law, labels, shelf ----------------------------------------------------------------------


def test_what_went_in_beyond_the_law_stands_above_everything_else(client, cellar):
    slug = cellar.start("Strong", 48).slug
    cellar.read(slug, 24, 1.100)
    write(
        cellar.ledger, slug, FeedGiven((Given("dap", 65.2, "DAP"),)),
        at=cellar.now - timedelta(hours=20),
    )  # fmt: skip
    page = client.get(f"/batches/{slug}").text
    named = page.index("than the law allows")
    assert "allows 0.96 g/L" in page
    assert named < page.index('id="next"')
    first = client.get("/").text
    assert "More ammonium phosphate than the law allows" in words(first)
