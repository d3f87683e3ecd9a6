"""What is in the vessel now: the facts a step starts from, each typed, printed and said one way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, NamedTuple

from mustwright.batch.liquid_words import LIQUID, SCALE, SG, LiquidWord
from mustwright.bench import shared_fields as shared
from mustwright.bench.field_text import printed
from mustwright.bench.fields import FormPart, StepField
from mustwright.bench.kinds import AsTyped
from mustwright.errors import InputError
from mustwright.figure import typed as typed_figure
from mustwright.must.gravity_text import gravity_sign, typed_gravity
from mustwright.texts import join, literal, say
from mustwright.unit_system import current
from mustwright.units import in_unit


class LiquidFact(NamedTuple):
    """A fact of the liquid: its field, its words, and the unit as it is typed."""

    field: StepField
    words: LiquidWord
    typed_unit: str

    @property
    def label(self) -> str:
        """What it is called."""
        return self.words.label

    def typed(self, value: float) -> str:
        """As it would be typed."""
        unit = self.typed_unit
        if self.words.unit == SCALE and gravity_sign():
            return typed_gravity(value, 4)
        field_unit = {"L": current().volume, "C": current().temperature}.get(unit, unit)
        if field_unit == unit:
            return self.words.short(value, unit)
        return f"{in_unit(value, field_unit):.4g} {field_unit}"

    def printed(self, value: float) -> str:
        """As it stands in a list."""
        return join("", (printed(typed_figure(value, self.words.unit)),)).removesuffix(SG)

    def said(self, value: float) -> str:
        """As it stands in a sentence: ``total sulfur dioxide 35 mg/L``."""
        return self.words.said(value)


FIELDS: Mapping[str, StepField] = MappingProxyType({
    "volume_l": shared.VOLUME, "gravity": shared.GRAVITY, "alcohol_pct": shared.ALCOHOL,
    "ph": shared.PH, "temperature_c": shared.TEMPERATURE, "acidity_g_l": shared.ACIDITY,
    "residual_sugar_g_l": shared.RESIDUAL, "original_gravity": shared.ORIGINAL,
    "free_so2_mg_l": shared.FREE, "total_so2_mg_l": shared.TOTAL,
    "molecular_so2_mg_l": shared.MOLECULAR, "sorbic_acid_mg_l": shared.SORBIC,
    "potassium_mg_l": shared.POTASSIUM, "calcium_mg_l": shared.CALCIUM, "co2_g_l": shared.GAS,
})  # fmt: skip
TYPED_UNITS = {"SG 20/20": "", "% vol": "%", "°C": "C"}
# By attribute of `MeadNow`.
FACTS: Mapping[str, LiquidFact] = MappingProxyType(
    {
        name: LiquidFact(one, LIQUID[name], TYPED_UNITS.get(LIQUID[name].unit, LIQUID[name].unit))
        for name, one in FIELDS.items()
    }
)
BY_FIELD = {fact.field.name: name for name, fact in FACTS.items()}
IN_WORDS = {
    "stabilised": literal("yeast stopped by {value}"),
    "profile": literal("law {value}"),
    "batch": literal("batch {value}"),
}
_STOPPED = {
    "sulfite+sorbate": say("sulfite+sorbate"),
    "pasteurised": say("pasteurised"),
    "sterile-filtered": say("sterile-filtered"),
    "alcohol": say("alcohol", context="what stopped the yeast"),
    "no": say("no"),
}
NAMES = (*BY_FIELD, *IN_WORDS)
FORM = (
    FormPart("", (
        shared.VOLUME, shared.GRAVITY, shared.ALCOHOL, shared.PH, shared.TEMPERATURE,
        shared.PROFILE,
    )),
    FormPart(say("More that is known"), (
        shared.ORIGINAL, shared.RESIDUAL, shared.ACIDITY, shared.FREE, shared.TOTAL,
        shared.STABILISED, shared.BATCH,
    ), folded=True),
)  # fmt: skip


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
        known = {name: getattr(self, name) for name in (*FACTS, *IN_WORDS)}
        return {
            (FACTS[name].field.name if name in FACTS else name): (
                FACTS[name].typed(value) if name in FACTS else value
            )
            for name, value in known.items()
            if value not in (None, "")
        }

    def said(self) -> list[str]:
        """What is known, each in a few words."""
        facts = {name: getattr(self, name) for name in FACTS}
        words = {name: getattr(self, name) for name in IN_WORDS}
        return [
            *(FACTS[name].said(value) for name, value in facts.items() if value is not None),
            *(
                IN_WORDS[name].format(value=_STOPPED.get(value, value))
                for name, value in words.items()
                if value
            ),
        ]


def mead_now(given: Mapping[str, str]) -> MeadNow:
    """Read a liquid from typed fields; any other field is passed over.

    What cannot be read is left unknown, its error kept in `wrong` under the field's name: the page
    shows it, and a step that needs the field refuses it again.
    """
    found: dict[str, Any] = {name: given.get(name, "").strip() for name in IN_WORDS}
    wrong: dict[str, InputError] = {}
    for name, fact in FACTS.items():
        one, text = fact.field, given.get(fact.field.name, "").strip()
        try:
            found[name] = one.kind.read(text, one.name, AsTyped()) if text else None
        except InputError as error:
            wrong[one.name] = error
    return MeadNow(**found, wrong=wrong)
