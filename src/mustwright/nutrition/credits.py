"""What does the must itself bring: nitrogen by kind, minerals, vitamins, with their ranges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from mustwright.figure import ARITHMETIC, ASSUMED, TYPED, Figure, total
from mustwright.must.blend import Blend
from mustwright.must.ingredient import TRACE
from mustwright.texts import join, say

AMMONIUM_SHARE_UNKNOWN = 0.25  # of a measured YAN without ingredients: assumed, grape-like


@dataclass(frozen=True)
class Credit:
    """What a litre of must holds before anything is added.

    Parameters
    ----------
    traces : mapping of str to Figure
        By name of `TRACE` [mg/L]; each figure's inputs are the ingredients.
    unknown : mapping of str to tuple of str
        Ingredients whose content of a trace nobody stated; they count as nothing.
    measured : bool
        Whether the nitrogen was measured, not calculated.
    """

    traces: Mapping[str, Figure]
    unknown: Mapping[str, tuple[str, ...]]
    measured: bool

    @property
    def ammonium_mg_l(self) -> Figure:
        """Ammonium nitrogen [mg N/L]."""
        return self.traces["ammonium_n"]

    @property
    def amino_mg_l(self) -> Figure:
        """Amino nitrogen without proline [mg N/L]."""
        return self.traces["amino_n"]

    @property
    def nitrogen_mg_l(self) -> Figure:
        """Both kinds side by side in one total, for comparing with a demand [mg N/L]."""
        return total({"ammonium": self.ammonium_mg_l, "amino": self.amino_mg_l}, "mg N/L")

    def counted(self, how: str) -> Figure:
        """Nitrogen as a protocol counts it: ``none``, ``low`` end or ``typical`` [mg N/L]."""
        whole = self.nitrogen_mg_l
        if how == "none":
            return Figure(0.0, "mg N/L", say("the protocol counts none of it"), say("the protocol"))
        if how == "low" and whole.low is not None:
            return Figure(
                max(whole.low, 0.0),
                "mg N/L",
                say("low end of its range"),
                ARITHMETIC,
                {"credit": whole},
            )
        return whole


def credit_of(blend: Blend) -> Credit:
    """The credit of a mixed must from its ingredients."""
    traces, unknown = {}, {}
    for name in TRACE:
        parts: dict[str, Figure] = {}
        missing: list[str] = []
        for i, portion in enumerate(blend.portions):
            figure = portion.ingredient.figures.get(f"{name}_mg_kg")
            label = portion.kind or portion.ingredient.name
            label = label if label not in parts else join("", (label, f" ({i + 1})"))
            if figure is None:
                missing.append(label)
                continue
            parts[label] = _per_litre(
                figure, portion.kg, portion.ingredient.share_edible, blend.volume_l
            )
        unit = "mg N/L" if name.endswith("_n") else "mg/L"
        traces[name] = _not_below_zero(total(parts, unit))
        unknown[name] = tuple(missing)
    return Credit(traces, unknown, measured=False)


def credit_measured(yan_mg_l: float, reckoned: Credit | None) -> Credit:
    """The credit with the nitrogen as measured; the rest is calculated, where it can be.

    The measured nitrogen is split between ammonium and amino as the ingredients would split it,
    or one to three when nothing is known.
    """
    share = AMMONIUM_SHARE_UNKNOWN
    how = say("assumed: one part ammonium to three parts amino")
    if reckoned is not None and reckoned.nitrogen_mg_l.value > 0:
        share = reckoned.ammonium_mg_l.value / reckoned.nitrogen_mg_l.value
        how = say("arithmetic: split as the ingredients bring it")
    whole = Figure(yan_mg_l, "mg N/L", say("measured"), TYPED, {}, yan_mg_l * 0.9, yan_mg_l * 1.1)
    traces = (
        dict(reckoned.traces)
        if reckoned
        else {name: Figure(0.0, "mg/L", say("nothing is known of it"), ASSUMED) for name in TRACE}
    )
    for name, part in (("ammonium_n", share), ("amino_n", 1 - share)):
        traces[name] = Figure(
            yan_mg_l * part,
            "mg N/L",
            say("measured nitrogen x {part:.2f}", part=part),
            how,
            {"measured": whole},
            yan_mg_l * part * 0.9,
            yan_mg_l * part * 1.1,
        )
    unknown = (
        reckoned.unknown if reckoned else dict.fromkeys(TRACE[2:], (say("the measured must"),))
    )
    return Credit(traces, unknown, measured=True)


def _per_litre(figure: Figure, kg: float, edible: float, volume_l: float) -> Figure:
    factor = kg * edible / volume_l
    low = None if figure.low is None else figure.low * factor
    high = None if figure.high is None else figure.high * factor
    inputs: dict[str, Figure | float | str] = {
        "content_mg_kg": figure,
        "mass_kg": kg * edible,
        "volume_l": volume_l,
    }
    return Figure(
        figure.value * factor,
        "mg/L",
        say("content x mass / volume"),
        figure.source,
        inputs,
        low,
        high,
    )


def _not_below_zero(figure: Figure) -> Figure:
    if figure.low is None or figure.low >= 0:
        return figure
    return Figure(
        figure.value, figure.unit, figure.formula, figure.source, figure.inputs, 0.0, figure.high
    )
