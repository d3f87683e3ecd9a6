"""Musts and shelves to try things on, as data and as hypothesis strategies; all invented."""

from __future__ import annotations

import tomllib
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from mustwright.errors import validity_notes
from mustwright.figure import TYPED
from mustwright.nutrition.feeding_plan import FeedingPlan, Setting
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import Protocol, built_in_protocols, protocol_from
from mustwright.planning.must_setup import Ground, lay_ground
from mustwright.planning.sheet import sheet_from

EXAMPLES = Path(__file__).parent.parent / "examples"
SHEETS = sorted(p for p in EXAMPLES.glob("*.toml") if "[must]" in p.read_text(encoding="utf-8"))
PROTOCOLS = sorted(built_in_protocols())
ENDLESS = {
    "scale": "0.001 g",
    "dap": {"label_max_g_l": 50},
    "autolysed_yeast": {"label_max_g_l": 50},
    "complex_blend": {"label_max_g_l": 50},
    "rehydration_nutrient": True,
}


def sheet(
    gravity: str = "1.100",
    volume: str = "19 L",
    kind: str = "honey",
    more: tuple[dict[str, Any], ...] = (),
    **tables: Any,
) -> dict[str, Any]:
    """A sheet: so much must of a gravity from honey and water, with other tables as given."""
    must = {
        "volume": volume,
        "gravity": gravity,
        "temperature": tables.pop("temperature", "20 C"),
        "ingredient": [
            {"kind": kind, "amount": "solve"},
            *more,
            {"kind": "water", "amount": "fill"},
        ],
    }
    return {"must": must, **tables}


def ground(content: dict[str, Any]) -> Ground:
    """The must of a sheet, mixed and credited."""
    with validity_notes():
        return lay_ground(sheet_from(content))


def feeding(content: dict[str, Any], protocol: str | Protocol) -> tuple[FeedingPlan, Setting]:
    """The plan of one protocol on a sheet."""
    setting = ground(content).setting
    chosen = built_in_protocols()[protocol] if isinstance(protocol, str) else protocol
    return plan_feeding(setting, chosen), setting


def protocol(**changes: Any) -> Protocol:
    """A valid protocol of two feeds, changed as given."""
    return protocol_from({**protocol_data(), **changes})


def protocol_data() -> dict[str, Any]:
    """The data of a valid protocol of two feeds."""
    return {
        "id": "two_halves",
        "name": "Two halves",
        "account": "Half at pitch, half at a quarter of the sugar.",
        "assumes": ["It is a test."],
        "source": "invented for a test",
        "dose": {"basis": "demand", "credit": "typical"},
        "feed": [
            {"name": "First", "when": "pitch", "share": 0.5, "nutrients": ["any"]},
            {"name": "Second", "when": {"sugar_used": 0.25}, "share": 0.5, "nutrients": ["any"]},
        ],
    }


def grams_by_jar(plan: FeedingPlan) -> Counter[str]:
    """Grams of each jar over all feeds."""
    found: Counter[str] = Counter()
    for feed in plan.feeds:
        for item in feed.items:
            found[item.nutrient] += item.grams.value
    return found


def broken_limits(plan: FeedingPlan, setting: Setting) -> list[str]:
    """Every hard limit a plan breaks, reckoned here from label, stock and law and nothing else."""
    litres = setting.must.volume_l.value
    jars = {jar.id: jar for jar in setting.shelf.nutrients}
    given = grams_by_jar(plan)
    wake = setting.shelf.for_rehydration
    wake_g = setting.pitch.rehydration_nutrient_g.value
    broken = []
    for name, grams in given.items():
        jar = jars[name]
        label, stock = jar.label_max_g_l, jar.stock_g
        binds = label is not None and label.source == TYPED and not setting.labels_advise
        if binds and grams / litres > label.value * (1 + 1e-6):
            broken.append(f"label of {name}: {grams / litres} > {label.value} g/L")
        if stock is not None and grams > stock * (1 + 1e-6):
            broken.append(f"stock of {name}: {grams} > {stock} g")
    if wake is not None and wake.stock_g is not None and wake_g > wake.stock_g * (1 + 1e-9):
        broken.append(f"stock of {wake.id}: {wake_g} > {wake.stock_g} g")
    for limit in setting.profile.limits:
        amount = sum(limit.fraction_in(jars[name]) * grams for name, grams in given.items())
        if wake is not None:
            amount += limit.fraction_in(wake) * wake_g
        if amount / litres > limit.max_g_l * (1 + 1e-6):
            broken.append(f"{setting.profile.id} {limit.substance}: {amount / litres} g/L")
    return broken


@cache
def examples() -> dict[str, dict[str, Any]]:
    """Every example sheet, parsed, by name."""
    return {path.stem: tomllib.loads(path.read_text(encoding="utf-8")) for path in SHEETS}


# Strategies ----------------------------------------------------------------------------------

GRAVITIES = st.floats(1.02, 1.17).map(lambda g: f"{g:.4f}")
VOLUMES = st.floats(-1, 4).map(lambda e: f"{10**e:.4g} L")
STRAINS = st.sampled_from(
    ["low_demand_neutral", "medium_demand_all_round", "high_demand_aromatic", "very_high_demand"]
)
LAWS = st.sampled_from(["us", "eu", "home"])
SCALES = st.sampled_from(["0.001 g", "0.1 g", "1 g", "5 g"])


@st.composite
def jars(draw: st.DrawFn, name: str) -> object:
    """One jar: plenty, a stock, or label facts."""
    facts: dict[str, Any] = {}
    if draw(st.booleans()):
        facts["stock"] = f"{10 ** draw(st.floats(-1, 3)):.3g} g"
    if draw(st.booleans()):
        facts["label_max_g_l"] = round(10 ** draw(st.floats(-2, 0.7)), 4)
    if draw(st.booleans()):
        facts["price_per_kg"] = round(10 ** draw(st.floats(0, 2.5)), 2)
    if name == "my_own_mix":
        facts["amino_n_mg_g"] = draw(st.floats(0, 120))
        facts["ammonium_n_mg_g"] = draw(st.floats(0, 210))
    return facts or True


@st.composite
def shelves(draw: st.DrawFn) -> dict[str, Any]:
    """A shelf of some of the generic nutrients and perhaps one of the maker's own."""
    names = draw(
        st.sets(
            st.sampled_from(
                [
                    "dap",
                    "ammonium_sulfate",
                    "autolysed_yeast",
                    "inactivated_yeast",
                    "complex_blend",
                    "rehydration_nutrient",
                    "yeast_hulls",
                    "vitamin_mineral_mix",
                    "magnesium_sulfate",
                    "zinc_sulfate",
                    "thiamine",
                    "bee_pollen",
                    "potassium_bicarbonate",
                    "my_own_mix",
                ]
            ),
            min_size=1,
            max_size=6,
        )
    )
    return {name: draw(jars(name)) for name in sorted(names)} | {"scale": draw(SCALES)}


@st.composite
def sheets(draw: st.DrawFn) -> dict[str, Any]:
    """A sheet of honey and water with any shelf, yeast, law and volume."""
    return sheet(
        draw(GRAVITIES),
        draw(VOLUMES),
        shelf=draw(shelves()),
        yeast={"kind": draw(STRAINS)},
        legal={"profile": draw(LAWS)},
        temperature=f"{draw(st.floats(5, 35)):.1f} C",
    )


TRIGGERS = st.one_of(
    st.sampled_from(["pitch", "onset"]),
    st.floats(0.01, 0.99).map(lambda f: {"sugar_used": f}),
    st.integers(0, 400).map(lambda h: {"after_pitch": f"{h} h"}),
    st.integers(0, 10).map(lambda d: {"after_onset": f"{d} days"}),
    st.floats(0.1, 30).map(lambda b: {"brix_drop": f"{b:.3f} Bx"}),
    st.floats(0.001, 0.12).map(lambda g: {"gravity_drop": f"{g:.4f}"}),
    st.floats(0.05, 0.9).map(
        lambda f: {"first_of": [{"sugar_used": f}, {"after_pitch": "3 days"}]}
    ),
)
WORDS = st.sampled_from(
    [["any"], ["organic"], ["ammonium", "organic"], ["mineral"], ["dap", "complex"]]
)
RATES = st.dictionaries(
    st.sampled_from(["dap", "organic", "complex", "mineral", "magnesium_sulfate"]),
    st.one_of(st.just("0.5 g/L"), st.just(["1 g/US gal", "2 g/US gal"]), st.just("20 g/L")),
    min_size=1,
    max_size=2,
)


@st.composite
def protocols(draw: st.DrawFn) -> dict[str, Any]:
    """The data of a valid protocol of any basis."""
    basis = draw(st.sampled_from(["demand", "rate", "label"]))
    parts = draw(st.lists(st.integers(1, 9), min_size=1, max_size=6))
    feeds: list[dict[str, Any]] = []
    for i, part in enumerate(parts):
        feed: dict[str, Any] = {"name": f"Feed {i + 1}", "when": draw(TRIGGERS)}
        if basis == "rate":
            feed["rate"] = draw(RATES)
        else:
            feed |= {"share": part / sum(parts), "nutrients": draw(WORDS)}
        if draw(st.booleans()):
            feed["ammonium_share_max"] = draw(st.floats(0, 1))
        feeds.append(feed)
    conditions: dict[str, Any] = {}
    if draw(st.booleans()):
        conditions["ammonium_until_sugar_used"] = draw(st.floats(0.01, 1))
    if draw(st.booleans()):
        conditions["ammonium_until_alcohol"] = f"{draw(st.floats(0.1, 20)):.2f} %"
    if draw(st.booleans()):
        conditions["last_feed_without_ammonium_salt"] = True
    if draw(st.booleans()):
        conditions["nothing_after_sugar_used"] = draw(st.floats(0.01, 1))
    dose = {
        "basis": basis,
        "credit": draw(st.sampled_from(["none", "low", "typical"])),
        "fraction": draw(st.floats(0.05, 2)),
        "rule": draw(st.sampled_from(["strain", "brix_table", "floor_140", "measured_range"])),
        "ammonium_share_max": draw(st.sampled_from([0.0, 0.5, 0.8, 1.0])),
    }
    return {
        **protocol_data(),
        "id": "drawn_at_random",
        "dose": dose,
        "feed": feeds,
        "conditions": conditions,
    }
