"""A full cellar to measure: batches at every age, musts, a shelf and the maker's own protocols.

Everything in it is invented, and the same each time.
"""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

from mustwright.batch.entries import Entry, Event, PlanAdopted, Reading
from mustwright.data import text_of
from mustwright.kinetics.pace import usual_pace
from mustwright.services.batch.record import new_id, plan_of
from mustwright.services.batch.tokens import new_token
from mustwright.services.demo import demo_nutrients
from mustwright.store.cellar_store import CellarStore

SHEET = """
[must]
volume = "19 L"
temperature = "20 C"
[measured]
gravity = "{gravity}"
"""
MUST = """
[must]
volume = "{litres} L"
gravity = "{gravity:.3f}"
temperature = "{celsius} C"
[[must.ingredient]]
kind = "{honey} honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
[legal]
profile = "home"
"""
OWN_PROTOCOLS = ("thirds_on_days_0_2_4", "organic_only_by_sugar")
POSTED_TO, BOTTLED = 200, 12


def now() -> datetime:
    return datetime.now(UTC)


def seed(store: CellarStore, batches: int, readings: int) -> list[tuple[str, str]]:
    """Batches at every age, read hourly by a device, the last dozen of many bottled.

    Returns
    -------
    list of (str, str)
        Slug and token of those that are posted to.
    """
    from mustwright.batch.corrected_readings import must_course

    chance = random.Random(4)
    gravities = ("1.080", "1.100", "1.120", "1.140")
    plans = [
        plan_of(SHEET.format(gravity=g), "falling_parts_by_sugar_or_day", {}) for g in gravities
    ]
    tokens = []
    for number in range(batches):
        plan = chance.choice(plans)
        is_bottled = number >= max(batches - BOTTLED, POSTED_TO)
        age_h = 24 * 40 if is_bottled else chance.uniform(12, 24 * 40)
        start = now() - timedelta(hours=age_h)
        pace = usual_pace(plan.must.brix, 20, 150)
        course = must_course(plan.must)
        entries = [
            Entry(new_id(), start, "seed", PlanAdopted(plan)),
            Entry(new_id(), start, "seed", Event("pitched")),
        ]
        for k in range(readings):
            h = age_h * (k + 1) / (readings + 1)
            gravity = float(course.gravity_at(pace.sugar_used_at(h))) + chance.gauss(0, 0.001)
            what = Reading(gravity=round(gravity, 4), instrument="sensor", temperature_c=20.5)
            entries.append(Entry(f"s{k}", start + timedelta(hours=h), "device: seed", what))
        if is_bottled:
            entries.append(Entry(new_id(), now(), "seed", Event("bottled")))
        record = store.ledger.start(f"Batch {number}", "", entries)
        if number < POSTED_TO:
            tokens.append((record.slug, new_token(store.ledger, record.slug, "device", "d")[1]))
    return tokens


def seed_musts(store: CellarStore, musts: int) -> list[str]:
    """Musts of many kinds, the shelf and the protocols they are planned with; their keys."""
    chance = random.Random(6)
    for identity, text in demo_nutrients():
        store.save("nutrient", identity, text, None)
    for name in OWN_PROTOCOLS:
        own = text_of(f"protocols/{name}").replace(f'id = "{name}"', f'id = "own_{name}"')
        store.save("protocol", f"own_{name}", own, None)
    keys = []
    for number in range(musts):
        text = MUST.format(
            litres=chance.choice((5, 10, 19, 23, 60)),
            gravity=chance.uniform(1.075, 1.130),
            celsius=chance.randint(16, 24),
            honey=chance.choice(("clover", "wildflower", "heather")),
        )
        keys.append(store.save("sheet", None, text, None, f"Must {number}").key)
    return keys
