"""Whatever is typed into a finishing step, only an error of this tool comes back."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.bench.as_json import step_data
from mustwright.bench.step_table import STEPS, run_step
from mustwright.errors import MustwrightError

WORDS = st.sampled_from([
    "19 L", "0.998", "1.015", "12 %", "20 C", "3.5", "0.8", "honey", "sucrose", "2 kg", "5 g/L",
    "60 mg/L", "2.5", "-1", "0", "1e9", "1e-9", "nan", "inf", "", "eu", "us", "home", "no", "yes",
    "alcohol", "pasteurised", "750 mL", "375 mL x 3", "raspberry", "water", "mead", "honey water",
    "1 bar", "3 cm", "2026-03-01", "2026-03-01 1.001", "7 d: 1.000", "0.5 g/L: 3.4", "12 to 14 %",
    "alcohol=12 %", "gravity=1.00 to 1.02", "name=a, volume=9 L, alcohol=14 %, gravity=1.01",
    "name=b, volume=9 L, alcohol=8 %, gravity=0.998, so2=90 mg/L", "tartaric", "keg", "beer",
    "potassium_bicarbonate", "siphon", "fine", "sodium", "medium", "50 %", "\u00e9\u4e2d", "x" * 90,
])  # fmt: skip
VALUE = st.one_of(
    WORDS,
    st.text(max_size=12),
    st.floats(allow_nan=True, allow_infinity=True),
    st.integers(-(10**12), 10**12),
    st.booleans(),
    st.none(),
    st.lists(WORDS, max_size=3),
)
FIELDS = {name: [one.name for one in step.fields] for name, step in STEPS.items()}
TODAY = date(2026, 3, 1)
GOOD = {
    "volume": "19 L", "gravity": "1.000", "alcohol": "12 %", "ph": "3.5", "temperature": ["20 C"],
    "with": "honey", "to": "1.015", "molecular": "0.8", "acidity": "5 g/L", "to_acidity": "6 g/L",
    "amount": "2 kg", "dose": "1 g/L", "co2_volumes": "2.0", "size": ["750 mL"],
    "reading": ["0 d: 1.001", "9 d: 1.000"], "target": ["alcohol=11 %"],
    "lot": ["name=a, volume=9 L, alcohol=14 %, gravity=1.01",
            "name=b, volume=9 L, alcohol=8 %, gravity=0.998"],
}  # fmt: skip

OWN = {
    "acid": {"with": "tartaric"},
    "sulfite": {"temperature": "20 C"},
    "blend": {"volume": "9 L"},
}


@pytest.mark.parametrize("name", list(STEPS))
@given(st.data())
@cases(150)
def test_only_errors_of_this_tool(name, data):
    known = FIELDS[name]
    typed = {k: v for k, v in GOOD.items() if k in known}
    typed |= OWN.get(name, {})
    changed = data.draw(st.dictionaries(st.sampled_from([*known, "odd"]), VALUE, max_size=4))
    try:
        result = run_step(name, {**typed, **changed}, TODAY)
    except MustwrightError:
        return
    assert step_data(result, True)["working"] is not None


@pytest.mark.parametrize("name", list(STEPS))
def test_good_fields_alone_give_a_result(name):
    known = FIELDS[name]
    typed = {k: v for k, v in GOOD.items() if k in known}
    typed |= OWN.get(name, {})
    data = step_data(run_step(name, typed, TODAY), True)
    assert data["working"]
    assert {"additions", "after", "steps", "notes", "cautions", "ranges"} <= set(data)
