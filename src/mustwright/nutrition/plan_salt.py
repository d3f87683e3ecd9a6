"""Which salt a plan carries against a falling pH: how much, in which parts, when."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.figure import Figure


@dataclass(frozen=True)
class SaltPart:
    """One part of the dose.

    Parameters
    ----------
    key : str
        ``s1``, ``s2`` and so on.
    grams : Figure
        [g]
    trigger : str
    trigger_rule : object
        As written in a protocol file, under ``when``.
    expected_h : Figure
        After pitch [h].
    sugar_used : float
        Fraction of the sugar gone by then.
    after_feeds : int
        How many feeds of the plan come before it.
    """

    key: str
    grams: Figure
    trigger: str
    trigger_rule: object
    expected_h: Figure
    sugar_used: float
    after_feeds: int


@dataclass(frozen=True)
class PlanSalt:
    """The salt of a plan, as the judgement on its acid has it.

    Parameters
    ----------
    salt, name : str
        Id and name of the salt.
    grams, g_per_l : Figure
        The whole dose; nothing where law, label or stock allow none.
    parts : tuple of SaltPart
        In order; empty where nothing may go in.
    chance_without, chance_kept : Figure
        Of keeping the floor without the salt, and with it.
    floor : float
        pH to keep.
    limit : str
        What holds the dose back; empty where nothing does.
    on_shelf : bool
    is_measured : bool
        Whether the pH before the yeast is known.
    words : str
        Dose and effect in a sentence.
    why : str
    steps, cautions, law : tuple of str
        What to do at the vessel, what to mind, what the law says of it.
    """

    salt: str
    name: str
    grams: Figure
    g_per_l: Figure
    parts: tuple[SaltPart, ...]
    chance_without: Figure
    chance_kept: Figure
    floor: float
    limit: str
    on_shelf: bool
    is_measured: bool
    words: str
    why: str
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    law: tuple[str, ...]

    def after(self, feeds: int) -> tuple[SaltPart, ...]:
        """Parts that go in after so many feeds, and before the next.

        Parameters
        ----------
        feeds : int
            At least 0.
        """
        return tuple(part for part in self.parts if part.after_feeds == feeds)
