"""A cellar in which every page has something to show: demo musts, batches in each state."""

from __future__ import annotations

from batch_pages import Cellar
from finish_cases import CASES, form_address
from finished import dry_batch

MUSTS = {
    "musts": "/",
    "all-musts": "/musts?q=mead&sort=name",
    "new-must": "/musts/new",
    "new-must-text": "/musts/new/text",
    "plan": "/musts/dry-lane-mead",
    "plan-fruit": "/musts/hedgerow-berry",
    "plan-us-units": "/musts/midwinter-sweet?protocol=staged_for_strong_musts",
    "needs": "/musts/dry-lane-mead/needs",
    "acidity": "/musts/dry-lane-mead/acidity",
    "acidity-asked": "/musts/hedgerow-berry/acidity?ph=3.5&by=strip&salt=potassium_carbonate",
    "compare": "/musts/dry-lane-mead/compare",
    "compare-fruit": "/musts/hedgerow-berry/compare",
    "compare-figures": "/musts/dry-lane-mead/compare/figures",
    "compare-acid": "/musts/midwinter-sweet/compare/figures?acid=yes",
    "compare-feeds": "/musts/dry-lane-mead/compare/feeds",
    "compare-some": "/musts/hedgerow-berry/compare?protocol=everything_at_pitch"
    "&protocol=two_feeds_for_fruit",
    "compare-beside": "/musts/dry-lane-mead/compare?beside=label_rate_days_1_2_3",
    "what-if": "/musts/dry-lane-mead/what-if?temperature=26&nitrogen=100&gravity=1.12",
    "tailor": "/musts/dry-lane-mead/tailor",
    "edit": "/musts/hedgerow-berry/edit",
    "edit-text": "/musts/hedgerow-berry/text",
    "rehydrate": "/musts/dry-lane-mead/rehydrate?began=00:10",
    "first-must": "/musts/new/first",
}
BATCHES = {
    "batches": "/batches",
    "batches-sought": "/batches?state=all&sort=gravity",
    "batch": "/batches/heather",
    "batch-stuck": "/batches/old-lime",
    "batch-ahead": "/batches/quick",
    "batch-ph": "/batches/sour",
    "batch-waiting": "/batches/waiting",
    "batch-dry": "/batches/lane",
    "batch-closed": "/batches/cellared",
    "batch-back": "/batches/cellared/back",
    "batch-replan": "/batches/quick/replan",
    "batch-paper": "/batches/heather/paper",
    "batch-record": "/batches/heather/record",
    "batch-labels": "/batches/heather/labels",
    "batch-links": "/batches/heather/links",
    "batch-import": "/batches/heather/import",
    "batch-start": "/musts/dry-lane-mead/start",
    "batch-finish": "/finish?batch=lane",
}
SHELF = {
    "protocols": "/protocols",
    "protocol": "/protocols/daily_taper_of_three",
    "own-protocol": "/protocols/new?like=falling_parts_by_sugar_or_day",
    "shelf": "/shelf",
    "jar": "/shelf/complex_blend",
    "new-jar": "/shelf/new",
    "convert": "/convert?value=1.010&original=1.100&temperature=24+C",
    "units": "/units",
    "sources": "/sources",
    "kept": "/kept",
    "glossary": "/glossary",
    "handbook": "/handbook",
}
FINISHING = {
    "finish": "/finish?volume=19+L&gravity=0.998&alcohol=12+%25&ph=3.5&batch=lane",
    "finish-empty": "/finish",
    **{f"finish-{case}": form_address(case) for case in CASES},
}
LEARNING = {
    "learn": "/learn",
    "house": "/house",
    "trials": "/trials",
    "new-trial": "/trials/new",
    "tastings": "/tastings",
    "new-tasting": "/tastings/new",
}
# Working is shown part by part; here it is asked for the part with a step in it.
WORKING = {
    "working": "/musts/dry-lane-mead/working",
    "working-step": "/musts/dry-lane-mead/working?step=40",
    "acidity-working": "/musts/dry-lane-mead/acidity/working?step=1",
    "finish-sulfite-working": form_address("sulfite", "/working"),
}
# To be read like a book, as long as it is.
TO_READ = ("glossary", "handbook")
# Without batches, and all there is.
CELLAR = MUSTS | SHELF | FINISHING | LEARNING | WORKING
PAGES = CELLAR | BATCHES


def stock(cellar: Cellar) -> None:
    """Batches in every state a batch can be in."""
    heather = cellar.start("Heather", 40, sheet="dry-lane-mead").slug
    for hours, gravity in ((39, 1.120), (22, 1.116), (1, 1.108)):
        cellar.read(heather, hours, gravity, temperature_c=20.5, ph=3.6)
    cellar.feed(heather, 20, "f1")
    cellar.event(heather, 10, "stirred")
    cellar.stuck()
    cellar.ahead()
    cellar.start("Waiting", None)
    old = cellar.start("Cellared", 24 * 70).slug
    cellar.read(old, 24 * 50, 1.010)
    cellar.event(old, 24, "bottled")
    cellar.sour()
    dry_batch(cellar)
