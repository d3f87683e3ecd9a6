"""What a search may change of a must besides its feeds, where the maker opens it, and at what cost.

Yeast, gravity and temperature make another must, mixed and credited anew; a potassium salt goes
with the feeds. Whatever cannot be changed on a sheet is said.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace

from mustwright import data
from mustwright.errors import ImpossibleError, InputError, validity_notes
from mustwright.must.gravity import brix_from_gravity
from mustwright.must.gravity_text import gravity_text
from mustwright.planning.must_setup import Ground, lay_ground
from mustwright.planning.sheet import Sheet
from mustwright.texts import join, say, uncapital
from mustwright.unit_system import degrees, degrees_number, mass
from mustwright.yeast.pitch import Strain, strains

YEAST, GRAVITY, TEMPERATURE, SALT = VARIED = ("yeast", "gravity", "temperature", "salt")


@dataclass(frozen=True)
class MustChange:
    """One thing changed.

    Parameters
    ----------
    name : str
        One of `VARIED`.
    change : str
        From what to what.
    cost : str
        What it does to the mead.
    """

    name: str
    change: str
    cost: str


@dataclass(frozen=True)
class Variant:
    """A must with some things changed.

    Parameters
    ----------
    ground : Ground
    changes : tuple of MustChange
    strain : Strain or None
        Another kind of yeast.
    less : float
        Gravity taken off.
    warmer_c : float
        [°C]
    """

    ground: Ground
    changes: tuple[MustChange, ...] = ()
    strain: Strain | None = None
    less: float = 0.0
    warmer_c: float = 0.0

    @property
    def kind(self) -> str:
        """The one thing that is changed; empty for the must as it is."""
        return self.changes[0].name if self.changes else ""


def vary_called(names: str) -> frozenset[str]:
    """What is opened, from names with commas between.

    Raises
    ------
    InputError

    Examples
    --------
    >>> sorted(vary_called("salt, yeast"))
    ['salt', 'yeast']
    """
    asked = [name.strip().lower() for name in names.split(",") if name.strip()]
    for name in asked:
        if name not in VARIED:
            raise InputError("--vary", say("needs one of {known}", known=", ".join(VARIED)), name)
    return frozenset(asked)


def variants_of(ground: Ground, vary: Collection[str]) -> tuple[tuple[Variant, ...], list[str]]:
    """The must as it is, then with each single change that is opened; and what stays closed.

    Parameters
    ----------
    ground : Ground
    vary : collection of str
        Out of `VARIED`; the salt makes no other must.
    """
    notes: list[str] = []
    found: list[Variant | None] = []
    if YEAST in vary:
        kinds = (one for one in strains().values() if one.id != ground.sheet.strain.id)
        found += [_variant(ground, strain=one) for one in kinds]
    if GRAVITY in vary:
        found += [_variant(ground, less=less) for less in _gravity_steps(ground, notes)]
    if TEMPERATURE in vary:
        found += [_variant(ground, warmer_c=by) for by in _temperature_steps(ground.sheet, notes)]
    return (Variant(ground), *(one for one in found if one is not None)), notes


def combined(ground: Ground, singles: Iterable[Variant]) -> Variant | None:
    """Several single changes together; None where the yeast would not bear the temperature.

    Parameters
    ----------
    ground : Ground
        Of the must as it is.
    singles : iterable of Variant
        Of different kinds.
    """
    parts = list(singles)
    return _variant(
        ground,
        next((one.strain for one in parts if one.strain is not None), None),
        sum(one.less for one in parts),
        sum(one.warmer_c for one in parts),
    )


def _variant(
    ground: Ground, strain: Strain | None = None, less: float = 0.0, warmer_c: float = 0.0
) -> Variant | None:
    """The must with these changes; None where it cannot be mixed, or its yeast not so kept."""
    sheet = ground.sheet
    yeast, temperature_c = strain or sheet.strain, sheet.temperature_c + warmer_c
    if not yeast.temperature_low_c <= temperature_c <= yeast.temperature_high_c:
        return None
    changed = sheet if strain is None else replace(sheet, strain=strain, strain_typed=True)
    made = _laid(_warmed(_thinned(changed, ground, less), warmer_c), ground)
    if made is None:
        return None
    return Variant(made, tuple(_changes(ground, made)), strain, less, warmer_c)


def salt_change(grams: float, name: str) -> MustChange:
    """More of a salt than the pH asks for."""
    return MustChange(
        SALT,
        say("{grams:g} g {salt}, more than the pH alone asks for", grams=grams, salt=name.lower()),
        data.load("tailor_changes")["salt"]["cost"],
    )


def _gravity_steps(ground: Ground, notes: list[str]) -> list[float]:
    record = data.load("tailor_changes")["gravity"]
    solved = any(line.origin == "solve" for line in ground.must.ingredients)
    if not solved or ground.sheet.measured.brix is not None:
        notes.append(
            say(
                "The gravity stays: amounts or a measured gravity are given, so "
                "there is nothing to solve for less honey."
            )
        )
        return []
    most, steps = float(record["most"]), int(record["steps"])
    return [most * k / steps for k in range(1, steps + 1)]


def _temperature_steps(sheet: Sheet, notes: list[str]) -> list[float]:
    record = data.load("tailor_changes")["temperature"]
    if sheet.warmth.steps:
        notes.append(say("The temperature stays: the sheet holds it at steps of its own."))
        return []
    most, steps = float(record["most_c"]), int(record["steps"])
    parts = [most * k / steps for k in range(1, steps + 1)]
    return [*(-part for part in reversed(parts)), *parts]


def _thinned(sheet: Sheet, ground: Ground, less: float) -> Sheet:
    """A sheet that solves for so much less gravity."""
    if not less:
        return sheet
    brix = float(brix_from_gravity(ground.must.gravity.value - less))
    target = replace(sheet.target, brix=brix, alcohol_pct=None, finish_gravity=None)
    return replace(sheet, target=target)


def _warmed(sheet: Sheet, by_c: float) -> Sheet:
    """A sheet whose must, and the room of its vessel, are so much warmer."""
    if not by_c:
        return sheet
    warmth = sheet.warmth
    room = min(max(warmth.room_c + by_c, 0.0), 45.0) if warmth.material else warmth.room_c
    return replace(sheet, warmth=replace(warmth, start_c=warmth.start_c + by_c, room_c=room))


def _laid(sheet: Sheet, old: Ground) -> Ground | None:
    """The must of a changed sheet; None where it cannot be mixed."""
    try:
        with validity_notes() as outside:
            made = lay_ground(sheet, old.units)
    except ImpossibleError:
        return None
    setting = replace(made.setting, follow_author=old.setting.follow_author)
    warnings = (*made.warnings, *outside)
    return replace(made, setting=setting, house=old.house, warnings=warnings)


def _changes(old: Ground, new: Ground) -> Iterator[MustChange]:
    words, units = data.load("tailor_changes"), new.units
    before, after = old.sheet, new.sheet
    if after.strain is not before.strain:
        change = say(
            "{new} yeast instead of {old}",
            new=after.strain.name.lower(),
            old=before.strain.name.lower(),
        )
        yield MustChange(YEAST, change, after.strain.note.rstrip(".").lower())
    gravity, was = new.must.gravity.value, old.must.gravity.value
    if was - gravity > 5e-4:
        pairs = zip(old.must.ingredients, new.must.ingredients, strict=True)
        less = [(a.name, a.kg.value - b.kg.value) for a, b in pairs if a.origin == "solve"]
        parts = join(
            say(" and "),
            [
                say(
                    "{amount} less {ingredient}",
                    amount=mass(kg, units),
                    ingredient=uncapital(name),
                )
                for name, kg in less
            ],
        )
        change = say(
            "gravity {new} instead of {old}, {less}",
            new=gravity_text(gravity),
            old=gravity_text(was),
            less=parts,
        )
        lost = old.must.potential_alcohol_pct.value - new.must.potential_alcohol_pct.value
        yield MustChange(
            GRAVITY,
            change,
            say("up to {lost:.1f} % vol less: {cost}", lost=lost, cost=words["gravity"]["cost"]),
        )
    now, then = after.temperature_c, before.temperature_c
    if now != then:
        change = say(
            "{new} instead of {old}",
            new=degrees(now, units),
            old=degrees_number(then, units),
        )
        yield MustChange(
            TEMPERATURE, change, words["temperature"]["cooler" if now < then else "warmer"]
        )
