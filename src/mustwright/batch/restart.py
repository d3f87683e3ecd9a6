"""How is a stuck mead started again: an acclimated starter in steps, and when to give up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from mustwright import data
from mustwright.batch.alert import threshold_words
from mustwright.batch.allowed_additions import room_of_kind
from mustwright.batch.assessment import Assessment, assess
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import Progress
from mustwright.batch.restart_stock import RestartStock
from mustwright.batch.salt_advice import salt_advice
from mustwright.constants import BYPRODUCT_YIELD_G_G, ETHANOL_YIELD_G_G
from mustwright.must.acidity.claims import ph_floor
from mustwright.must.alcohol import ethanol_g_l_from_pct_vol, ethanol_pct_vol_from_g_l
from mustwright.must.gravity import gravity_from_composition
from mustwright.texts import say, uncapital
from mustwright.unit_system import degrees, temperature_step, volume

BORNE_OUT = 3  # readings that say the same
COMBINE = say("Combine")
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
    organic, hulls = (
        RestartStock(room_of_kind(now, ORGANIC)),
        RestartStock(room_of_kind(now, HULLS)),
    )
    steps = () if hopeless else _steps(now, held_l, record, organic)
    first = _first(now, of, record, hulls, ph)
    return RestartPlan(
        not hopeless,
        first,
        steps,
        _give_up(now, record),
        (*organic.words(), *hulls.words(), *_cautions()),
        tuple(
            say("{what}: {source}", what=threshold_words(k), source=v["source"])
            for k, v in record.items()
        ),
    )


def seldom_takes(alcohol_pct: float) -> bool:
    """Whether yeast has so little room left for alcohol that something else is likelier to do."""
    return alcohol_pct >= _v(data.load("watch")["restart"], "hopeless_pct") - 2


def _v(record: dict[str, Any], name: str) -> float:
    return float(record[name]["value"])


def _stuck_mead(now: Progress, litres: float) -> _Mix:
    sugar = now.sugar_left_g_l * litres
    ethanol = float(ethanol_g_l_from_pct_vol(now.alcohol_pct)) * litres
    rest = (now.plan.must.sugar_g_l - now.plan.must.fermentable_sugar_g_l) * litres
    made = 0.044 * (now.plan.must.fermentable_sugar_g_l * litres - sugar)
    return _Mix(litres, sugar + max(rest, 0.0) + max(made, 0.0), sugar, ethanol)


def _steps(
    now: Progress, held_l: float, record: dict[str, Any], stock: RestartStock
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
    parts: dict[str, Any] = {
        "yeast": yeast,
        "mead": volume(mead_l, sheet, 2),
        "water": volume(water_l, sheet, 2),
        "sugar": sugar,
    }
    stir = (
        say(
            "Rehydrate {yeast:g} g of alcohol-tolerant yeast, then stir it into {mead} of the "
            "stuck mead and {water} of water with {sugar:.0f} g of sugar and {organic:g} g of "
            "{nutrient}.",
            **parts,
            organic=organic,
            nutrient=stock.name,
        )
        if organic
        else say(
            "Rehydrate {yeast:g} g of alcohol-tolerant yeast, then stir it into {mead} of the "
            "stuck mead and {water} of water with {sugar:.0f} g of sugar, without nutrient.",
            **parts,
        )
    )
    steps = [
        _step(
            say("Starter"),
            stir,
            (mead_l, water_l, sugar, yeast, organic),
            mix,
            left,
            t,
            wait,
            say(
                "Water for rehydration is {low} to {high}; hotter water kills the yeast.",
                low=degrees(35, sheet, 0),
                high=degrees(40, sheet, 0),
            ),
        )
    ]
    while mix.litres < _v(record, "combine_share") * held_l and len(steps) < 6:
        more = min(mix.litres, held_l - mix.litres)
        mix = mix.fermented(1 - left).plus(_stuck_mead(now, more))
        organic = stock.take(_v(record, "organic_g_l") * more) if feeding else 0.0
        mead = volume(more, sheet, 2)
        double = (
            say(
                "Double it with {mead} of the stuck mead, with {organic:g} g of {nutrient}.",
                mead=mead,
                organic=organic,
                nutrient=stock.name,
            )
            if organic
            else say("Double it with {mead} of the stuck mead, without nutrient.", mead=mead)
        )
        steps.append(
            _step(
                say("Double {number}", number=len(steps)),
                double,
                (more, 0.0, 0.0, 0.0, organic),
                mix,
                left,
                t,
                wait,
                say(
                    "Let both come within {step} of each other first.",
                    step=temperature_step(5, sheet),
                ),
            )
        )
    warm = degrees(t, sheet, 0)
    rest = max(held_l - mix.litres + water_l, 0.0)
    whole = mix.fermented(1 - left).plus(_stuck_mead(now, rest))
    steps.append(
        _step(
            COMBINE,
            say(
                "Rack the remaining {amount} onto the starter, gently, at {warm}. "
                "Read gravity once a day.",
                amount=volume(rest, sheet),
                warm=warm,
            ),
            (rest, 0.0, 0.0, 0.0, 0.0),
            whole,
            left,
            t,
            24.0,
            say(
                "A mead full of gas erupts when poured fast: stir the gas out first, "
                "leave headspace."
            ),
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
    stock: RestartStock,
    ph: PhForeseen | None,
) -> tuple[str, ...]:
    said = []
    if of.stood_count < BORNE_OUT:
        said.append(say("Take a second reading first: stirred, degassed, with its temperature."))
    if now.ph is not None and now.ph_at is not None and now.ph < ph_floor():
        words = salt_advice(now, of, ph).words
        said.append(
            say(
                "pH {ph:.2f} comes first: {action}.",
                ph=now.ph,
                action=uncapital(words),
            )
        )
    elif now.ph_at is None:
        said.append(say("Measure pH: a restart is expected only between 3 and 4."))
    low, high = (
        degrees(record["temperature_c"][end], now.plan.sheet, 0) for end in ("low", "high")
    )
    said.append(say("Bring the mead to {low} to {high} over a day.", low=low, high=high))
    hulls = stock.take(_v(record, "hulls_g_l") * of.held.volume_l)
    said.append(
        say(
            "Rack off the lees; at most {hulls:.1f} g of yeast hulls a day before may bind "
            "substances that poison yeast.",
            hulls=hulls,
        )
        if hulls
        else say("Rack off the lees.")
    )
    return tuple(said)


def _give_up(now: Progress, record: dict[str, Any]) -> tuple[str, ...]:
    span = record["give_up_days"]
    said = [
        say(
            "If the gravity of a step has not moved in 72 h, start once more with "
            "fresh yeast, then stop."
        ),
        say(
            "Stop if the whole batch has not fallen {days:g} days after combining.",
            days=span["high"],
        ),
        say("Stop if it smells sour or of solvent: volatile acid kills yeast."),
    ]
    if seldom_takes(now.alcohol_pct):
        said.append(
            say(
                "At {alcohol:.1f} % vol yeast has little room left: blending with a dry mead or "
                "keeping it sweet, stabilised, is likelier to succeed.",
                alcohol=now.alcohol_pct,
            )
        )
    return tuple(said)


def _cautions() -> tuple[str, ...]:
    cautions = data.load("cautions")
    names = ("powder_in_gassy_must", "carbon_dioxide_room", "hot_water", "pressure_glass")
    return tuple(cautions[name]["text"] for name in names)
