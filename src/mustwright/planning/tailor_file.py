"""A tailored plan as a protocol file that the maker can keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from mustwright.nutrition.feeding_plan import Setting
from mustwright.nutrition.protocols import GROUPS, Protocol, read_protocol
from mustwright.nutrition.shelf import Nutrient, generic_nutrients
from mustwright.nutrition.shelf_word import OF_SHELF, word_of
from mustwright.planning.tailor_change import MustChange
from mustwright.planning.tailor_space import FeedSpace, TailoredFeed
from mustwright.texts import say

ASSUMES = say("Must, yeast, shelf and law are like those it was found for.")
SOURCE = say("a search with the fermentation model, see docs/protocols.md")
SUITS_EITHER_SIDE = 0.010  # of gravity: for which musts a tailored protocol is said to be made


def file_word(jar: Nutrient, setting: Setting) -> str:
    """The word by which a protocol file means this jar and no other; empty where there is none.

    Its kind, its group, or else the jar itself as it stands on the shelf.
    """
    word = jar.class_id if jar.class_id in generic_nutrients() else jar.group
    if word in generic_nutrients() or word in GROUPS:
        first = next((one for one in setting.jars if one.matches(word)), None)
        if first is jar:
            return word
    own = word_of(jar.id)
    return own if OF_SHELF.fullmatch(own) else ""


def protocol_file(
    name: str,
    feeds: Sequence[TailoredFeed],
    space: FeedSpace,
    setting: Setting,
    changes: Sequence[MustChange] = (),
) -> str:
    """A protocol file that gives these feeds on this must, and follows the sugar on others.

    Parameters
    ----------
    name : str
        What it is the best for.
    feeds : sequence of TailoredFeed
    space : FeedSpace
        Their jars.
    setting : Setting
        Of the must they are for.
    changes : sequence of MustChange
        What of the must was changed, which the file can only ask for.

    Returns
    -------
    str
        TOML.
    """
    title, account = _title(name, setting), _account(name, setting)
    asked = "".join(f', "Changed for it: {one.change}."' for one in changes)
    gravity = setting.must.gravity.value
    low, high = gravity - SUITS_EITHER_SIDE, gravity + SUITS_EITHER_SIDE
    lines = [
        f'id = "tailored_{name.split(" and ")[0].replace(" ", "_")}"',
        f'name = "{title}"',
        f'account = "{account}"',
        f'assumes = ["{ASSUMES}"{asked}]',
        f'source = "{SOURCE}"',
        "",
        "[dose]",
        'basis = "rate"',
        'credit = "typical"',
        f'at_sugar = "{setting.must.sugar_g_l.value:.6f} g/L"',
        "",
        "[suits]",
        f'gravity = ["{max(low, 1.0):.3f}", "{high:.3f}"]',
    ]
    for k, feed in enumerate(feeds):
        rates = ", ".join(
            f'"{word}" = "{grams / space.volume_l:.8f} g/L"'
            for word, grams in zip(space.words, feed.grams, strict=True)
            if grams > 0
        )
        when = f"{{ sugar_used = {feed.sugar_used:g} }}" if feed.sugar_used else '"onset"'
        lines += ["", "[[feed]]", f'name = "{_moment(feed)}"', f"when = {when}"]
        lines += [f"rate = {{ {rates} }}"]
        assert k < 12
    return "\n".join(lines) + "\n"


def tailored_protocol(
    name: str, feeds: Sequence[TailoredFeed], space: FeedSpace, setting: Setting
) -> Protocol:
    """What that file says, in texts that other languages have words for.

    Parameters
    ----------
    name : str
    feeds : sequence of TailoredFeed
    space : FeedSpace
    setting : Setting

    Returns
    -------
    Protocol
    """
    read = read_protocol(protocol_file(name, feeds, space, setting))
    rules = zip(read.feeds, feeds, strict=True)
    return replace(
        read,
        name=_title(name, setting),
        account=_account(name, setting),
        assumes=(ASSUMES,),
        source=SOURCE,
        feeds=tuple(replace(rule, name=_moment(feed)) for rule, feed in rules),
    )


def _title(name: str, setting: Setting) -> str:
    return say("Tailored, {name}, for {gravity:.3f}", name=name, gravity=setting.must.gravity.value)


def _account(name: str, setting: Setting) -> str:
    return say(
        "Found by a search for a must of {gravity:.3f}: {name}. Grams hold there and follow the "
        "sugar on other musts.",
        gravity=setting.must.gravity.value,
        name=name,
    )


def _moment(feed: TailoredFeed) -> str:
    if not feed.sugar_used:
        return say("Onset")
    return say("{percent:.0f} % of the sugar", percent=100 * feed.sugar_used)
