"""What is in the vessel now: what a step starts from, and what it is once the step is done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, NamedTuple

from mustwright.bench.fields import TypedFields
from mustwright.errors import InputError
from mustwright.figure import Figure
from mustwright.finishing.blending import BlendResult
from mustwright.finishing.carbonate import Carbonation
from mustwright.finishing.racking import Racking
from mustwright.finishing.sorbate import SorbateDose
from mustwright.finishing.step import Recorded, finishing_data
from mustwright.finishing.sulfite import SulfiteDose


class FactWay(NamedTuple):
    """How one fact is typed: the field's name, how it is read, and how it is written."""

    name: str
    read: str
    form: str


# By attribute of `MeadNow`; the units stand in the forms.
WAYS: Mapping[str, FactWay] = MappingProxyType({
    "volume_l": FactWay("volume", "volume", "{} L"),
    "gravity": FactWay("gravity", "gravity", "{}"),
    "alcohol_pct": FactWay("alcohol", "alcohol", "{} %"),
    "ph": FactWay("ph", "number", "{}"),
    "temperature_c": FactWay("temperature", "celsius", "{} C"),
    "acidity_g_l": FactWay("acidity", "g_l", "{} g/L"),
    "residual_sugar_g_l": FactWay("residual_sugar", "g_l", "{} g/L"),
    "original_gravity": FactWay("original", "gravity", "{}"),
    "free_so2_mg_l": FactWay("free", "mg_l", "{} mg/L"),
    "total_so2_mg_l": FactWay("total", "mg_l", "{} mg/L"),
    "molecular_so2_mg_l": FactWay("molecular", "mg_l", "{} mg/L"),
    "sorbic_acid_mg_l": FactWay("sorbic", "mg_l", "{} mg/L"),
    "potassium_mg_l": FactWay("potassium", "mg_l", "{} mg/L"),
    "calcium_mg_l": FactWay("calcium", "mg_l", "{} mg/L"),
    "co2_g_l": FactWay("gas", "g_l", "{} g/L"),
})  # fmt: skip
SAID = ("stabilised", "profile", "batch")
NAMES = (*(way.name for way in WAYS.values()), *SAID)
NEARLY_MG_L = 0.005
# What stays in it in grams however it is thinned, and is counted up by later steps.
KEPT_IN_GRAMS = ("total_so2_mg_l", "sorbic_acid_mg_l", "potassium_mg_l", "calcium_mg_l")
DIGITS = {"gravity": 4, "original_gravity": 4}


@dataclass(frozen=True)
class MeadNow:
    """A liquid as the bench knows it; what nobody measured is None.

    A batch hands one over, or the maker types it; every step begins with it and `then` is what it
    has become after one.

    Parameters
    ----------
    volume_l : float or None
        [L].
    gravity, original_gravity : float or None
        Apparent, now and before fermentation [SG 20/20].
    alcohol_pct : float or None
        [% vol].
    ph, temperature_c : float or None
        Measured [-, °C].
    acidity_g_l, residual_sugar_g_l : float or None
        Titratable as tartaric; fermentable sugar [g/L].
    free_so2_mg_l, total_so2_mg_l, molecular_so2_mg_l : float or None
        Sulfur dioxide [mg/L].
    sorbic_acid_mg_l, potassium_mg_l, calcium_mg_l : float or None
        What additions brought [mg/L].
    co2_g_l : float or None
        Gas made or put in on purpose [g/L].
    stabilised : str
        How yeast was stopped; empty where it was not, or nobody said.
    profile : str
        Law to keep to; empty for that of the home.
    batch : str
        Name of the batch; empty for none.
    """

    volume_l: float | None = None
    gravity: float | None = None
    alcohol_pct: float | None = None
    ph: float | None = None
    temperature_c: float | None = None
    acidity_g_l: float | None = None
    residual_sugar_g_l: float | None = None
    original_gravity: float | None = None
    free_so2_mg_l: float | None = None
    total_so2_mg_l: float | None = None
    molecular_so2_mg_l: float | None = None
    sorbic_acid_mg_l: float | None = None
    potassium_mg_l: float | None = None
    calcium_mg_l: float | None = None
    co2_g_l: float | None = None
    stabilised: str = ""
    profile: str = ""
    batch: str = ""
    wrong: Mapping[str, InputError] = field(default_factory=dict, compare=False)

    def typed(self) -> dict[str, str]:
        """The same as the fields of a step, without what is not known.

        Examples
        --------
        >>> MeadNow(volume_l=19, gravity=0.998, batch="lane").typed()
        {'volume': '19 L', 'gravity': '0.998', 'batch': 'lane'}
        """
        found = {}
        for name, way in WAYS.items():
            value = getattr(self, name)
            if value is not None:
                found[way.name] = way.form.format(_short(value, DIGITS.get(name)))
        return found | {name: getattr(self, name) for name in SAID if getattr(self, name)}

    def typed_for(self, names: Iterable[str]) -> dict[str, str]:
        """Of these the ones that a step asks for by the same name."""
        wanted = set(names)
        return {name: text for name, text in self.typed().items() if name in wanted}


def _short(value: float, digits: int | None) -> str:
    """Four figures that count, or so many decimals; no noise behind."""
    return f"{round(value, digits):g}" if digits is not None else f"{float(f'{value:.4g}'):g}"


def mead_now(given: Mapping[str, str]) -> MeadNow:
    """Read a liquid from typed fields; any other field is passed over.

    What cannot be read is left unknown, its error kept in `wrong` under the field's name: the page
    shows it, and a step that needs the field refuses it again.
    """
    found: dict[str, Any] = {name: given.get(name, "").strip() for name in SAID}
    wrong: dict[str, InputError] = {}
    for name, way in WAYS.items():
        fields_of = TypedFields({way.name: given.get(way.name, "").strip()}, (way.name,))
        try:
            found[name] = getattr(fields_of, way.read)(way.name)
        except InputError as error:
            wrong[way.name] = error
    return MeadNow(**found, wrong=wrong)


def then(before: MeadNow, result: Any) -> MeadNow:
    """The liquid once a step is done as it was worked out.

    What the step says of it afterwards holds; what was added counts on top of what was there; what
    is kept in grams is thinned as the volume grows. Measurements that the step makes untrue (free
    sulfur dioxide, pH where it is not worked out) are forgotten: measure again.
    """
    recorded: Recorded = result.recorded
    after: dict[str, Any] = {k: v.value for k, v in recorded.after.items() if k in WAYS}
    if isinstance(result, BlendResult):
        return MeadNow(**after, profile=before.profile, batch=before.batch)
    changes: dict[str, Any] = dict(after)
    shrink = _thinning(before, result, after.get("volume_l"))
    for name in KEPT_IN_GRAMS:
        held, brought = getattr(before, name), _brought(recorded, name)
        if name not in after and (held is not None or brought):
            changes[name] = (held or 0.0) * shrink + brought
    if recorded.additions:
        changes |= {name: None for name in ("free_so2_mg_l", "ph") if name not in after}
    changes |= _sugar(before, result, shrink) | _guarded(before, result, shrink)
    return replace(before, **changes)


def _sugar(before: MeadNow, result: Any, shrink: float) -> dict[str, float]:
    """Sugar that yeast could eat; priming sugar is eaten, and gives alcohol instead."""
    recorded: Recorded = result.recorded
    if isinstance(result, Carbonation):
        if result.alcohol_rise_pct is None or before.alcohol_pct is None:
            return {}
        return {"alcohol_pct": before.alcohol_pct + result.alcohol_rise_pct.value}
    if "sugar_g_l" in recorded.after:
        return {"residual_sugar_g_l": recorded.after["sugar_g_l"].value}
    held, brought = before.residual_sugar_g_l, _brought(recorded, "sugar_g_l")
    if held is None and not brought:
        return {}
    return {"residual_sugar_g_l": (held or 0.0) * shrink + brought}


def _guarded(before: MeadNow, result: Any, shrink: float) -> dict[str, Any]:
    """Molecular sulfur dioxide, and whether sulfite and sorbate now stand together."""
    if isinstance(result, SulfiteDose):
        molecular = result.free_so2_mg_l.value * result.molecular_fraction.value
        return {"molecular_so2_mg_l": molecular, "ph": before.ph}
    if isinstance(result, SorbateDose):
        enough = float(finishing_data()["sorbate"]["so2_molecular_mg_l"])
        both = (before.molecular_so2_mg_l or 0.0) > enough - NEARLY_MG_L
        return {"stabilised": "sulfite+sorbate" if both else before.stabilised, "ph": before.ph}
    return {} if shrink == 1.0 else {"molecular_so2_mg_l": None}


def _thinning(before: MeadNow, result: Any, volume_l: float | None) -> float:
    """Share of a concentration that is left as the volume grows; losses thin nothing."""
    racked: Figure | None = result.racked_l if isinstance(result, Racking) else None
    start = before.volume_l if racked is None else racked.value
    if start is None or not volume_l or volume_l <= start:
        return 1.0
    return start / volume_l


def _brought(recorded: Recorded, name: str) -> float:
    return sum(one.brings[name].value for one in recorded.additions if name in one.brings)
