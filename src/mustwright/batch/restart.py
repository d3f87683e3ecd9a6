"""How is a stuck mead started again: an acclimated starter in steps, and when to give up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from mustwright import data
from mustwright.batch.alert import threshold_words
from mustwright.batch.allowed_additions import Room, room_of_kind
from mustwright.batch.assessment import Assessment, assess
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import Progress
from mustwright.batch.salt_advice import salt_advice
from mustwright.constants import BYPRODUCT_YIELD_G_G, ETHANOL_YIELD_G_G
from mustwright.must.acidity.claims import ph_floor
from mustwright.must.alcohol import ethanol_g_l_from_pct_vol, ethanol_pct_vol_from_g_l
from mustwright.must.gravity import gravity_from_composition
from mustwright.unit_system import degrees, temperature_step, volume

BORNE_OUT = 3  # readings that say the same
ORGANIC, HULLS = "autolysed_yeast", "yeast_hulls"  # kinds in data/nutrients.toml


@dataclass(frozen=True)
class RestartStep:
    """One step of the restart.

    Parameters
    ----------
    mead_l, water_l, total_l : float
        Stuck mead and water that go in now, and what the starter holds then [L].
    sugar_g, yeast_g, organic_g : float
        Added now [g].
    gravity, move_on_at : float
        Of the mixture, and the one to wait for before the next step [-].
    alcohol_pct : float
        Of the mixture [% vol].
    temperature_c : float
    hours : float
        Usual wait until the next step [h].
    """

    name: str
    what: str
    mead_l: float
    water_l: float
    total_l: float
    sugar_g: float
    yeast_g: float
    organic_g: float
    gravity: float
    move_on_at: float
    alcohol_pct: float
    temperature_c: float
    hours: float
    caution: str = ""


@dataclass(frozen=True)
class RestartPlan:
    """The restart as a whole.

    Parameters
    ----------
    worth_it : bool
        False if alcohol is already at the most the yeast tolerates.
    first, give_up, cautions : tuple of str
        What comes before, when to stop trying, and what to mind.
    """

    worth_it: bool
    first: tuple[str, ...]
    steps: tuple[RestartStep, ...]
    give_up: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]


class _Stock:
    """Organic nutrient for the starter, given until law, label or stock allow no more."""

    def __init__(self, room: Room) -> None:
        self.room = room
        self.used_g = 0.0
        self.short_g = 0.0

    def take(self, wanted_g: float) -> float:
        """Grams for one step, in tenths, never more than is left."""
        left = max(self.room.grams - self.used_g, 0.0)
        tenths = round(10 * wanted_g)
        if tenths > 10 * left + 1e-9:
            tenths = math.floor(10 * left + 1e-9)
        given = tenths / 10
        self.used_g += given
        self.short_g += max(wanted_g - given - 0.05, 0.0)
        return given

    @property
    def name(self) -> str:
        """A name as it reads inside a sentence."""
        return self.room.name[:1].lower() + self.room.name[1:]

    def words(self) -> tuple[str, ...]:
        """What held it back, if anything did."""
        if self.short_g <= 0:
            return ()
        left = max(self.room.grams, 0.0)
        may = f"at most {left:.1f} g of {self.name} may" if left >= 0.05 else "none may"
        words = f"{self.room.words[:1].upper()}{self.room.words[1:]}"
        return (f"{words}, and what was given already counts: {may} still go in.",)


@dataclass(frozen=True)
class _Mix:
    """Litres with their sugar and alcohol, kept by mass of each."""

    litres: float
    extract_g: float
    sugar_g: float
    ethanol_g: float

    def plus(self, other: _Mix) -> _Mix:
        return _Mix(
            self.litres + other.litres,
            self.extract_g + other.extract_g,
            self.sugar_g + other.sugar_g,
            self.ethanol_g + other.ethanol_g,
        )

    def fermented(self, share: float) -> _Mix:
        """With a share of its sugar turned to ethanol and by-products."""
        used = self.sugar_g * share
        return _Mix(
            self.litres,
            self.extract_g - (1 - BYPRODUCT_YIELD_G_G) * used,
            self.sugar_g - used,
            self.ethanol_g + ETHANOL_YIELD_G_G * used,
        )

    @property
    def gravity(self) -> float:
        litres = max(self.litres, 1e-9)
        return float(gravity_from_composition(self.extract_g / litres, self.ethanol_g / litres))

    @property
    def alcohol_pct(self) -> float:
        return float(ethanol_pct_vol_from_g_l(self.ethanol_g / max(self.litres, 1e-9)))


def restart_plan(
    now: Progress, assessed: Assessment | None = None, ph: PhForeseen | None = None
) -> RestartPlan:
    """The restart of a batch as it stands.

    Parameters
    ----------
    assessed : Assessment or None
        None assesses it here, without the events of its log.
    ph : PhForeseen or None
        What the acid model says.

    Notes
    -----
    Shares, temperatures and the doubling are in ``data/watch.toml`` under ``[restart]`` with their
    sources. Mixtures are balanced by mass of extract and ethanol; their volumes are added. Nutrient
    and hulls never exceed what law, label and stock leave of them after what the batch was given.
    """
    record = data.load("watch")["restart"]
    of = assessed or assess(now)
    held_l = of.held.volume_l
    hopeless = now.alcohol_pct >= _v(record, "hopeless_pct")
    organic, hulls = _Stock(room_of_kind(now, ORGANIC)), _Stock(room_of_kind(now, HULLS))
    steps = () if hopeless else _steps(now, held_l, record, organic)
    first = _first(now, of, record, hulls, ph)
    return RestartPlan(
        not hopeless,
        first,
        steps,
        _give_up(now, record),
        (*organic.words(), *hulls.words(), *_cautions()),
        tuple(f"{threshold_words(k)}: {v['source']}" for k, v in record.items()),
    )


def _v(record: dict[str, Any], name: str) -> float:
    return float(record[name]["value"])


def _stuck_mead(now: Progress, litres: float) -> _Mix:
    sugar = now.sugar_left_g_l * litres
    ethanol = float(ethanol_g_l_from_pct_vol(now.alcohol_pct)) * litres
    rest = (now.plan.must.sugar_g_l - now.plan.must.fermentable_sugar_g_l) * litres
    made = 0.044 * (now.plan.must.fermentable_sugar_g_l * litres - sugar)
    return _Mix(litres, sugar + max(rest, 0.0) + max(made, 0.0), sugar, ethanol)


def _steps(
    now: Progress, held_l: float, record: dict[str, Any], stock: _Stock
) -> tuple[RestartStep, ...]:
    t, wait, sheet = _v(record, "temperature_c"), _v(record, "step_hours"), now.plan.sheet
    left = _v(record, "double_when_sugar_left")
    mead_l = held_l * _v(record, "starter_share") * _v(record, "starter_mead_share")
    water_l = held_l * _v(record, "starter_share") - mead_l
    sugar = _v(record, "starter_sugar_g_l") * (mead_l + water_l)
    yeast = round(_v(record, "yeast_g_l") * held_l, 1)
    feeding = now.alcohol_pct < _v(record, "alcohol_no_nutrient_pct")
    mix = _stuck_mead(now, mead_l).plus(_Mix(water_l, sugar, sugar, 0.0))
    organic = stock.take(_v(record, "organic_g_l") * mix.litres)
    with_it = f" and {organic:g} g of {stock.name}" if organic else ", without nutrient"
    steps = [
        _step(
            "Starter",
            f"Rehydrate {yeast:g} g of alcohol-tolerant yeast, then stir it into "
            f"{volume(mead_l, sheet, 2)} of the stuck mead and "
            f"{volume(water_l, sheet, 2)} of water with {sugar:.0f} g of sugar{with_it}.",
            (mead_l, water_l, sugar, yeast, organic),
            mix,
            left,
            t,
            wait,
            f"Water for rehydration is {degrees(35, sheet, 0)} to {degrees(40, sheet, 0)}; "
            "hotter kills it.",
        )
    ]
    while mix.litres < _v(record, "combine_share") * held_l and len(steps) < 6:
        more = min(mix.litres, held_l - mix.litres)
        mix = mix.fermented(1 - left).plus(_stuck_mead(now, more))
        organic = stock.take(_v(record, "organic_g_l") * more) if feeding else 0.0
        dose = f", with {organic:g} g of {stock.name}" if organic else ", without nutrient"
        steps.append(
            _step(
                f"Double {len(steps)}",
                f"Double it with {volume(more, sheet, 2)} of the stuck mead{dose}.",
                (more, 0.0, 0.0, 0.0, organic),
                mix,
                left,
                t,
                wait,
                f"Let both come within {temperature_step(5, sheet)} of each other first.",
            )
        )
    warm = degrees(t, sheet, 0)
    rest = max(held_l - mix.litres + water_l, 0.0)
    whole = mix.fermented(1 - left).plus(_stuck_mead(now, rest))
    steps.append(
        _step(
            "Combine",
            f"Rack the remaining {volume(rest, sheet)} onto the starter, gently, at {warm}. "
            "Read gravity once a day.",
            (rest, 0.0, 0.0, 0.0, 0.0),
            whole,
            left,
            t,
            24.0,
            "A mead full of gas erupts when poured fast: stir the gas out first, leave headspace.",
        )
    )
    return tuple(steps)


def _step(
    name: str,
    what: str,
    added: tuple[float, float, float, float, float],
    mix: _Mix,
    left: float,
    temperature_c: float,
    hours: float,
    caution: str,
) -> RestartStep:
    mead, water, sugar, yeast, organic = added
    return RestartStep(
        name,
        what,
        mead,
        water,
        mix.litres,
        sugar,
        yeast,
        organic,
        mix.gravity,
        mix.fermented(1 - left).gravity,
        mix.alcohol_pct,
        temperature_c,
        hours,
        caution,
    )


def _first(
    now: Progress,
    of: Assessment,
    record: dict[str, Any],
    stock: _Stock,
    ph: PhForeseen | None,
) -> tuple[str, ...]:
    said = []
    if of.stood_count < BORNE_OUT:
        said.append("Take a second reading first: stirred, degassed, with its temperature.")
    if now.ph is not None and now.ph_at is not None and now.ph < ph_floor():
        words = salt_advice(now, of, ph).words
        said.append(f"pH {now.ph:.2f} comes first: {words[0].lower()}{words[1:]}.")
    elif now.ph_at is None:
        said.append("Measure pH: a restart is expected only between 3 and 4.")
    low, high = (
        degrees(record["temperature_c"][end], now.plan.sheet, 0) for end in ("low", "high")
    )
    said.append(f"Bring the mead to {low} to {high} over a day.")
    hulls = stock.take(_v(record, "hulls_g_l") * of.held.volume_l)
    may = (
        f"; at most {hulls:.1f} g of yeast hulls a day before may bind substances that poison yeast"
    )
    said.append(f"Rack off the lees{may if hulls else ''}.")
    return tuple(said)


def _give_up(now: Progress, record: dict[str, Any]) -> tuple[str, ...]:
    span = record["give_up_days"]
    said = [
        "If the gravity of a step has not moved in 72 h, start once more with fresh yeast, "
        "then stop.",
        f"Stop if the whole batch has not fallen {span['high']:g} days after combining.",
        "Stop if it smells sour or of solvent: volatile acid kills yeast.",
    ]
    if now.alcohol_pct >= _v(record, "hopeless_pct") - 2:
        said.append(
            f"At {now.alcohol_pct:.1f} % vol yeast has little room left: blending with a dry mead "
            "or keeping it sweet, stabilised, is likelier to succeed."
        )
    return tuple(said)


def _cautions() -> tuple[str, ...]:
    cautions = data.load("cautions")
    names = ("powder_in_gassy_must", "carbon_dioxide_room", "hot_water", "pressure_glass")
    return tuple(str(cautions[name]["text"]) for name in names)
