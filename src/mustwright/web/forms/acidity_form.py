"""The question about acid as it comes from a form: what was measured, the floor, the salt."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from mustwright.errors import InputError
from mustwright.must.acidity.claims import ph_floor
from mustwright.must.acidity.salts import all_salts
from mustwright.planning.acidity.request import AcidityRequest
from mustwright.planning.acidity.request_fields import bench_points, plain_number, titratable_g_l
from mustwright.texts import say
from mustwright.web.forms.typed import said

FIELDS = ("ph", "by", "ta", "floor", "aim_ta", "bench", "salt", "protocol")
TRIED: dict[str, Callable[[float], AcidityRequest]] = {
    "ph": lambda value: AcidityRequest(ph=value),
    "ta": lambda value: AcidityRequest(ta_g_l=value),
    "floor": lambda value: AcidityRequest(floor=value),
    "aim_ta": lambda value: AcidityRequest(aim_ta_g_l=value),
}  # each refuses what is out of range
STRIP = "strip"


def read_asked(query: Mapping[str, str]) -> tuple[AcidityRequest, dict[str, str]]:
    """What is asked; a field that cannot be read counts as empty, with the reason beside it."""
    errors: dict[str, str] = {}

    found: dict[str, float | None] = {}
    for name in ("ph", "ta", "floor", "aim_ta"):
        typed = query.get(name, "").strip()
        try:
            if name.endswith("ta"):
                value = titratable_g_l(typed or None, name)
            else:
                value = plain_number(typed, name)
            if value is not None:
                TRIED[name](value)
            found[name] = value
        except InputError as error:
            found[name], errors[name] = None, said(error)
    try:
        bench = bench_points(query.get("bench", ""), "bench")
        AcidityRequest(bench=bench)
    except InputError as error:
        bench, errors["bench"] = (), said(error)
    salt = query.get("salt", "")
    if salt and salt not in all_salts():
        errors["salt"] = say("Needs one of the salts listed.")
    asked = AcidityRequest(
        ph=found["ph"],
        by_strip=query.get("by") == STRIP,
        ta_g_l=found["ta"],
        floor=ph_floor() if found["floor"] is None else found["floor"],
        aim_ta_g_l=found["aim_ta"],
        bench=bench,
        salt=salt if salt in all_salts() else None,
    )
    return asked, errors


def salts() -> list[tuple[str, str]]:
    """Salts and acids to choose from."""
    every = sorted(all_salts().values(), key=lambda one: one.is_acid)
    found = [
        (one.id, say("{name} (an acid)", name=one.name) if one.is_acid else one.name)
        for one in every
    ]
    return [("", say("the shelf’s, or potassium bicarbonate")), *found]
