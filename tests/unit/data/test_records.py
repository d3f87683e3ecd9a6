"""The data records: every number has a source, every ingredient adds up, every name is its own."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

import periodictable
import pytest

from mustwright import data

PARTS = (
    "water_pct",
    "fructose_pct",
    "glucose_pct",
    "sucrose_pct",
    "maltose_pct",
    "higher_sugars_pct",
    "sorbitol_pct",
    "dissolved_other_pct",
    "insoluble_pct",
)
INGREDIENT_FIGURES = {
    *PARTS,
    "refuse_pct",
    "potassium_mg_kg",
    "sodium_mg_kg",
    "calcium_mg_kg",
    "magnesium_mg_kg",
    "phosphorus_mg_kg",
    "zinc_mg_kg",
    "total_n_mg_kg",
    "ammonium_n_mg_kg",
    "amino_n_mg_kg",
    "thiamine_mg_kg",
    "pantothenate_mg_kg",
    "biotin_mg_kg",
    "ph",
    "titratable_acid_meq_kg",
    "alkalinity_meq_kg",
    "fermentable_pct_of_sugars",
    "juice_yield_l_kg",
}
FORMS = {
    "honey",
    "fruit",
    "dried fruit",
    "juice",
    "concentrate",
    "syrup",
    "sugar",
    "grain",
    "water",
}
NUTRIENT_FIGURES = {
    "ammonium_n_mg_g",
    "amino_n_mg_g",
    "potassium_mg_g",
    "magnesium_mg_g",
    "zinc_mg_g",
    "phosphorus_mg_g",
    "thiamine_mg_g",
    "pantothenate_mg_g",
    "biotin_mg_g",
    "label_max_g_l",
}
LIMITED = {"ammonium_phosphate", "ammonium_sulfate", "thiamine_hydrochloride", "yeast_cell_walls"}
MARKS = ("common practice, no source", "from memory", "arithmetic", "assumed:")
STRAIN_CODE = re.compile(r"\b[A-Z]{1,3}-?\d{2,4}\b")
FILES = (
    "finishing", "nutrients", "requirements", "demand", "strains", "pitch", "cautions", "acids",
)  # fmt: skip

RECORDS = [r for content in data.folder("ingredients").values() for r in content["record"]]
NUTRIENTS = {r["id"]: r for r in data.load("nutrients")["nutrient"]}
LIMIT_FILES = data.folder("limits")


def by_id(record: dict[str, Any]) -> str:
    return record["id"]


def tables(value: Any, where: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every table in a record, however deep, with its place."""
    if isinstance(value, dict):
        yield where, value
        for key, inner in value.items():
            yield from tables(inner, f"{where}.{key}")
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from tables(inner, f"{where}[{number}]")


def everything() -> Iterator[tuple[str, dict[str, Any]]]:
    for name, content in data.folder("ingredients").items():
        yield from tables(content, name)
    for name, content in LIMIT_FILES.items():
        yield from tables(content, name)
    for name in FILES:
        yield from tables(data.load(name), name)


def honest(source: str) -> bool:
    """Begins with a whole bibliography key, or with one of the allowed marks."""
    key = re.match(r"\w+", source)
    return source.startswith(MARKS) or (key is not None and key[0] in data.load("bibliography"))


def typical(record: dict[str, Any], name: str) -> float:
    return float(record["figures"][name]["typical"])


def highest(figure: dict[str, Any]) -> float:
    return float(figure.get("high", figure["typical"]))


def plain(name: str) -> str:
    return " ".join(name.lower().replace("_", " ").replace("-", " ").replace(",", " ").split())


def nitrogen_mg_g(formula: str) -> float:
    compound = periodictable.formula(formula)
    nitrogen = periodictable.N
    return 1000 * compound.atoms[nitrogen] * nitrogen.mass / compound.mass


def test_enough_kinds_of_everything() -> None:
    forms = Counter(r["form"] for r in RECORDS)
    assert forms["honey"] >= 16
    assert forms["fruit"] + forms["dried fruit"] + forms["juice"] + forms["concentrate"] >= 30
    assert {r["form"] for r in RECORDS} == FORMS


@pytest.mark.parametrize("record", RECORDS, ids=by_id)
def test_parts_of_an_ingredient_make_up_the_whole(record: dict[str, Any]) -> None:
    assert sum(typical(record, part) for part in PARTS) == pytest.approx(100, abs=0.01)
    assert all(typical(record, part) >= 0 for part in PARTS)


@pytest.mark.parametrize("record", RECORDS, ids=by_id)
def test_figure_names_come_from_the_closed_list(record: dict[str, Any]) -> None:
    assert set(record["figures"]) <= INGREDIENT_FIGURES
    assert set(record["figures"]) >= {
        *PARTS,
        "potassium_mg_kg",
        "magnesium_mg_kg",
        "ammonium_n_mg_kg",
        "amino_n_mg_kg",
        "fermentable_pct_of_sugars",
    } - ({"magnesium_mg_kg"} if record["form"] == "sugar" else set())


def test_honey_and_fruit_state_all_their_nitrogen() -> None:
    bare = {r["form"] for r in RECORDS if "total_n_mg_kg" not in r["figures"]}
    assert not bare & {"honey", "fruit", "dried fruit"}


@pytest.mark.parametrize(
    "record", [r for r in RECORDS if "total_n_mg_kg" in r["figures"]], ids=by_id
)
def test_assimilable_nitrogen_stays_below_all_nitrogen(record: dict[str, Any]) -> None:
    figures = record["figures"]
    ceiling = figures["total_n_mg_kg"]
    pools = (figures["ammonium_n_mg_kg"], figures["amino_n_mg_kg"])
    assert sum(p["typical"] for p in pools) <= ceiling["typical"]
    assert all(highest(p) <= highest(ceiling) for p in pools)


def test_ranges_hold_their_typical_value() -> None:
    seen = 0
    for where, table in everything():
        if "typical" not in table:
            continue
        seen += 1
        assert table.get("low", table["typical"]) <= table["typical"], where
        assert table["typical"] <= table.get("high", table["typical"]), where
    assert seen > 1000


def test_every_source_is_a_document_or_an_honest_mark() -> None:
    seen = 0
    for where, table in everything():
        if "source" in table:
            seen += 1
            assert honest(table["source"]), f"{where}: {table['source']}"
        assert "typical" not in table or "source" in table, where
    assert seen > 1000


def test_a_key_that_is_not_in_the_bibliography_is_no_source() -> None:
    assert not honest("Nobody1999 table 3")
    assert not honest("USDA2015b")
    assert honest("USDA2015 NDB 09003")


@pytest.mark.parametrize(
    "records", [RECORDS, list(NUTRIENTS.values()), data.load("strains")["strain"]]
)
def test_a_name_belongs_to_one_record(records: list[dict[str, Any]]) -> None:
    owners: dict[str, str] = {}
    for record in records:
        for name in {plain(n) for n in (record["id"], record["name"], *record["aliases"])}:
            assert owners.setdefault(name, record["id"]) == record["id"], name
    assert len({r["id"] for r in records}) == len(records)


def test_aliases_are_typed_as_people_type_them() -> None:
    for record in (*RECORDS, *NUTRIENTS.values(), *data.load("strains")["strain"]):
        assert all(a == a.lower().strip() for a in record["aliases"]), record["id"]
        assert re.fullmatch(r"[a-z][a-z0-9_]*", record["id"])
    known = {plain(n): r["id"] for r in RECORDS for n in (r["id"], *r["aliases"])}
    assert known["raspberries"] == "raspberry"
    assert known["cider"] == "apple_juice"
    assert known["wildflower honey"] == "honey_generic"
    assert known["table sugar"] == "cane_sugar"


def test_no_letter_and_digit_codes_of_strains_or_products() -> None:
    assert STRAIN_CODE.search("AB-123")
    assert STRAIN_CODE.search("K99")
    for record in (*RECORDS, *NUTRIENTS.values(), *data.load("strains")["strain"]):
        for text in (record["id"], record["name"], *record["aliases"]):
            assert not STRAIN_CODE.search(text.upper()), text


def test_raisins_are_next_to_nothing_as_a_nutrient() -> None:
    raisin = next(r for r in RECORDS if r["id"] == "raisin")
    pools = typical(raisin, "ammonium_n_mg_kg") + typical(raisin, "amino_n_mg_kg")
    assert 8 <= 0.030 * pools <= 14  # mg N/L at 30 g/L; "about 10" is common practice


def test_raisins_are_bought_without_anything_to_throw_away() -> None:
    raisin = next(r for r in RECORDS if r["id"] == "raisin")
    assert typical(raisin, "refuse_pct") == 0


@pytest.mark.parametrize(
    ("identity", "formula"),
    [("dap", "(NH4)2HPO4"), ("ammonium_sulfate", "(NH4)2SO4")],
)
def test_ammonium_salts_hold_the_nitrogen_of_their_formula(identity: str, formula: str) -> None:
    held = NUTRIENTS[identity]["ammonium_n_mg_g"]["typical"]
    assert held == pytest.approx(nitrogen_mg_g(formula), abs=0.05)
    assert "amino_n_mg_g" not in NUTRIENTS[identity]


@pytest.mark.parametrize(
    ("identity", "figure", "formula", "element"),
    [
        ("dap", "phosphorus_mg_g", "(NH4)2HPO4", "P"),
        ("potassium_bicarbonate", "potassium_mg_g", "KHCO3", "K"),
        ("potassium_carbonate", "potassium_mg_g", "K2CO3", "K"),
        ("magnesium_sulfate", "magnesium_mg_g", "MgSO4(H2O)7", "Mg"),
        ("zinc_sulfate", "zinc_mg_g", "ZnSO4(H2O)7", "Zn"),
    ],
)
def test_salts_hold_the_metal_of_their_formula(
    identity: str, figure: str, formula: str, element: str
) -> None:
    compound = periodictable.formula(formula)
    atom = getattr(periodictable, element)
    expected = 1000 * compound.atoms[atom] * atom.mass / compound.mass
    assert NUTRIENTS[identity][figure]["typical"] == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize("nutrient", NUTRIENTS.values(), ids=by_id)
def test_nutrients_use_the_closed_names(nutrient: dict[str, Any]) -> None:
    figures = {k for k, v in nutrient.items() if isinstance(v, dict) and k != "contains"}
    assert figures <= NUTRIENT_FIGURES
    assert "label_max_g_l" in figures
    assert nutrient["use"] in {"rehydration", "ferment", "any"}
    assert set(nutrient["contains"]) <= LIMITED
    assert all(0 < share <= 1 for share in nutrient["contains"].values())
    assert nutrient["caution"]
    assert nutrient["note"]


@pytest.mark.parametrize("nutrient", NUTRIENTS.values(), ids=by_id)
def test_ammonium_is_declared_as_a_limited_salt(nutrient: dict[str, Any]) -> None:
    """Else a plan could pass the legal limit of ammonium salts unseen."""
    held = nutrient.get("ammonium_n_mg_g", {"typical": 0})["typical"]
    salts = nutrient["contains"]
    covered = salts.get("ammonium_phosphate", 0) * nitrogen_mg_g("(NH4)2HPO4")
    covered += salts.get("ammonium_sulfate", 0) * nitrogen_mg_g("(NH4)2SO4")
    assert covered == pytest.approx(held, rel=1e-3)
    if nutrient["use"] == "rehydration":
        assert held == 0


def test_legal_limits_as_printed() -> None:
    limits = {
        (profile, one["substance"]): (one["max"], one["unit"])
        for profile, content in LIMIT_FILES.items()
        for one in content["limit"]
    }
    pound_g, us_gallon_l = 453.59237, 3.785411784
    per_thousand = pound_g / (1000 * us_gallon_l)
    assert limits["us", "ammonium_phosphate"] == (round(8 * per_thousand, 2), "g/L")
    assert limits["us", "yeast_cell_walls"] == (round(3 * per_thousand, 2), "g/L")
    assert limits["us", "thiamine_hydrochloride"] == (round(5 * per_thousand, 1), "mg/L")
    assert limits["us", "ammonium_sulfate"] == (0, "g/L")
    assert limits["eu", "total_ammonium_salts"] == (1.0, "g/L")
    assert limits["eu", "thiamine"] == (0.6, "mg/L")
    share = NUTRIENTS["thiamine"]["thiamine_mg_g"]["typical"] / 1000
    as_salt = limits["eu", "thiamine_hydrochloride"][0]
    assert as_salt * share <= 0.6
    assert as_salt * share == pytest.approx(0.6, abs=0.001)
    assert LIMIT_FILES["home"]["limit"] == []


def test_honey_wine_class_and_profile_headers() -> None:
    bounds = {c["quantity"]: (c.get("min"), c.get("max")) for c in LIMIT_FILES["us"]["class_limit"]}
    assert bounds == {
        "brix_before": (13, None),
        "alcohol_after": (None, 14),
        "solids_after": (None, 35),
    }
    for name, content in LIMIT_FILES.items():
        assert content["id"] == name
        assert content["edition"]
        assert "law" in content["note"].lower()


def test_requirements_rise_from_low_to_high() -> None:
    quantities = set()
    for need in data.load("requirements")["requirement"]:
        quantities.add(need["quantity"])
        assert 0 < need["low"] <= need["typical"] <= need["high"], need["id"]
        assert need["unit"] == "mg/L"
        assert need["why"].endswith(".")
    assert quantities >= {
        "nitrogen",
        "potassium",
        "magnesium",
        "zinc",
        "thiamine",
        "pantothenate",
        "biotin",
    }


def test_potassium_by_ph_follows_its_ratio() -> None:
    table = data.load("requirements")["potassium_by_ph"]
    for ph, mg_l in zip(table["ph"], table["mg_l"], strict=True):
        molar = table["ratio_mol_mol"] * 10**-ph
        assert mg_l == pytest.approx(molar * periodictable.K.mass * 1000, abs=0.51)


def test_demand_rules_have_the_numbers_their_method_needs() -> None:
    rules = {r["id"]: r for r in data.load("demand")["rule"]}
    needed = {
        "per_gram_sugar": "mg_n_per_g_sugar",
        "brix_table": "table",
        "floor": "mg_l",
        "published_range": "mg_n_per_g_sugar_range",
    }
    assert {r["method"] for r in rules.values()} == set(needed)
    assert all(needed[r["method"]] in r and r["account"] for r in rules.values())
    per_gram = [r for r in rules.values() if r["method"] == "per_gram_sugar"]
    assert len(per_gram) == 1
    classes = per_gram[0]["mg_n_per_g_sugar"]
    assert list(classes.values()) == sorted(classes.values())
    assert {s["nitrogen_class"] for s in data.load("strains")["strain"]} == set(classes)


def test_pitch_rates_rise_with_sugar() -> None:
    rates = data.load("pitch")["rate"]
    assert [r["to_brix"] for r in rates] == sorted(r["to_brix"] for r in rates)
    assert [r["typical"] for r in rates] == sorted(r["typical"] for r in rates)


def test_cautions_are_short_and_say_something() -> None:
    cautions = data.load("cautions")
    assert {"powder_in_gassy_must", "yeast_heat", "urea_never", "local_law"} <= set(cautions)
    for name, caution in cautions.items():
        assert 30 < len(caution["text"]) < 320, name
        assert caution["text"].endswith("."), name
