"""What a protocol's author would give on this must, whatever law, label or shelf say."""

from __future__ import annotations

from dataclasses import replace

from mustwright.nutrition.bounds import bounds_broken
from mustwright.nutrition.ceilings import ceilings
from mustwright.nutrition.dosing_problem import DosingProblem
from mustwright.nutrition.feed_items import FeedTable
from mustwright.nutrition.feeding_plan import AsWritten, Setting
from mustwright.nutrition.feeds import ask_feeds
from mustwright.nutrition.programme import as_written, solve
from mustwright.nutrition.protocols import RATE_BASIS
from mustwright.nutrition.rounding import round_to_scale
from mustwright.nutrition.shelf import Nutrient, Shelf, generic_nutrients

KIND_OF_GROUP = {"ammonium": "dap", "organic": "autolysed_yeast", "complex": "complex_blend"}


def written(table: FeedTable, setting: Setting) -> AsWritten:
    """The feeds of a protocol as its author would give them, and the bounds that would break.

    Parameters
    ----------
    table : FeedTable
        Of the plan: its moments and the nitrogen to add stay the same.
    setting : Setting

    Returns
    -------
    AsWritten
        A kind the shelf has nothing of stands as the generic one.
    """
    missing = _missing_kinds(table, setting)
    shelf = Shelf((*setting.shelf.nutrients, *missing), setting.shelf.scale_g)
    setting = replace(setting, shelf=shelf)
    must, protocol = setting.must, table.protocol
    asks, _ = ask_feeds(
        protocol,
        table.slots,
        setting.jars,
        table.to_add.value,
        must.sugar_g_l.value,
        must.potential_alcohol_pct.value,
    )
    problem = as_written(DosingProblem(setting.jars, asks, (), protocol.ammonium_share_max, {}))
    volume = must.volume_l
    grams = round_to_scale(solve(problem).grams_l * volume.value, shelf.scale_g, (), volume.value)
    feeds = replace(table, setting=setting, asks=problem.feeds).feeds(grams)
    used = {item.nutrient for feed in feeds for item in feed.items}
    return AsWritten(
        feeds,
        bounds_broken(ceilings(setting), grams / volume.value, volume),
        tuple(jar.name for jar in missing if jar.id in used),
    )


def _missing_kinds(table: FeedTable, setting: Setting) -> list[Nutrient]:
    """Generic jars for what the protocol names and the shelf has nothing of."""
    wanted: list[str] = []
    for slot in table.slots:
        named = [rate.nutrient for rate in slot.rule.rates]
        if table.protocol.basis != RATE_BASIS:
            has_one = any(
                jar.matches(kind) and jar.nitrogen_mg_g > 0
                for jar in setting.jars
                for kind in slot.rule.nutrients
            )
            named = [] if has_one else [k for k in slot.rule.nutrients if k != "mineral"][:1]
        wanted += [k for k in named if not any(jar.matches(k) for jar in setting.jars)]
    shares = (table.protocol.ammonium_share_max, *(s.rule.ammonium_share_max for s in table.slots))
    has_amino = any(jar.per_gram("amino_n") > jar.per_gram("ammonium_n") for jar in setting.jars)
    if min(shares) < 1 and not has_amino:
        wanted.append("organic")
    kinds = dict.fromkeys(KIND_OF_GROUP.get(kind, kind) for kind in wanted)
    on_shelf = {jar.id for jar in setting.jars}
    return [
        generic_nutrients()[kind]
        for kind in kinds
        if kind in generic_nutrients() and kind not in on_shelf
    ]
