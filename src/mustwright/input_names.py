"""What is an input of a figure called, where its working is shown?"""

from __future__ import annotations

import re
from collections.abc import Mapping

from mustwright.texts import join, kept, say

_UNIT = re.compile(r"_(mg_l|g_l|kg_l|mg_g|mg_kg|kg|g|l|h|c|pct|ml|kg_m3)$")
# A jar in a feed of a plan, by its number there: "Yeast nutrient, onset (2): amino".
_OF_A_FEED = re.compile(r"(.+?)(?:, (.+?))? (\(\d+\))(?:(: )(.+))?")
_BY_IDENTIFIER: Mapping[str, str] = {
    "members": say("runs", context="input"),
    "mg_n_per_g": say("mg N per g of sugar"),
    "ammonium_n": say("ammonium nitrogen"),
    "amino_n": say("amino nitrogen"),
    "ammonium_n_mg_g": say("ammonium nitrogen"),
    "amino_n_mg_g": say("amino nitrogen"),
}
_CALLED: Mapping[str, str] = {
    "acid taken up meq": say("acid taken up meq", context="input"),
    "acid taken up": say("acid taken up", context="input"),
    "acidity": say("acidity", context="input"),
    "added": say("added", context="input"),
    "aim": say("aim", context="input"),
    "air bar": say("air bar", context="input"),
    "air": say("air", context="input"),
    "alcohol": say("alcohol", context="input"),
    "amino": say("amino", context="input"),
    "amino nitrogen left over": say("amino nitrogen left over", context="input"),
    "ammonium": say("ammonium", context="input"),
    "ammonium left over": say("ammonium left over", context="input"),
    "available": say("available", context="input"),
    "before": say("before", context="input"),
    "bound share": say("bound share", context="input"),
    "brix": say("brix", context="input"),
    "buffer": say("buffer", context="input"),
    "calcium": say("calcium", context="input"),
    "chance to finish": say("chance to finish", context="input"),
    "change": say("change", context="input"),
    "co2": say("co2", context="input"),
    "co2 per hexose": say("co2 per hexose", context="input"),
    "content": say("content", context="input"),
    "cost of the nutrients": say("cost of the nutrients", context="input"),
    "credit": say("credit", context="input"),
    "days until dry": say("days until dry", context="input"),
    "demand": say("demand", context="input"),
    "density": say("density", context="input"),
    "depth": say("depth", context="input"),
    "diameter": say("diameter", context="input"),
    "dissolved": say("dissolved", context="input"),
    "dose": say("dose", context="input"),
    "early": say("early", context="input"),
    "expected": say("expected", context="input"),
    "fall per day": say("fall per day", context="input"),
    "feeds": say("feeds", context="input"),
    "fermentable": say("fermentable", context="input"),
    "fermentable pct of sugars": say("fermentable pct of sugars", context="input"),
    "fermentable share": say("fermentable share", context="input"),
    "fraction": say("fraction", context="input"),
    "free": say("free", context="input"),
    "free now": say("free now", context="input"),
    "free to add": say("free to add", context="input"),
    "free wanted": say("free wanted", context="input"),
    "g": say("g", context="input"),
    "g per": say("g per", context="input"),
    "gas": say("gas", context="input"),
    "given": say("given", context="input"),
    "glass": say("glass", context="input"),
    "grams": say("grams", context="input"),
    "gravity": say("gravity", context="input"),
    "headspace share": say("headspace share", context="input"),
    "hexose per gram": say("hexose per gram", context="input"),
    "high": say("high", context="input"),
    "highest temperature": say("highest temperature", context="input"),
    "ionic strength": say("ionic strength", context="input"),
    "keeping": say("keeping", context="input"),
    "kg": say("kg", context="input"),
    "lag": say("lag", context="input"),
    "lees": say("lees", context="input"),
    "left": say("left", context="input"),
    "loss": say("loss", context="input"),
    "low": say("low", context="input"),
    "lowest pH": say("lowest pH", context="input"),
    "magnesium": say("magnesium", context="input"),
    "mass": say("mass", context="input"),
    "measured": say("measured", context="input"),
    "metabisulfite": say("metabisulfite", context="input"),
    "molecular": say("molecular", context="input"),
    "most allowed": say("most allowed", context="input"),
    "most gas at once": say("most gas at once", context="input"),
    "most": say("most", context="input"),
    "must": say("must", context="input"),
    "need": say("need", context="input"),
    "new volume": say("new volume", context="input"),
    "nitrogen": say("nitrogen", context="input"),
    "nitrogen to add": say("nitrogen to add", context="input"),
    "now": say("now", context="input"),
    "number of feeds": say("number of feeds", context="input"),
    "original": say("original", context="input"),
    "pH": say("pH", context="input"),
    "pH wanted": say("pH wanted", context="input"),
    "pK": say("pK", context="input"),
    "pKa": say("pKa", context="input"),
    "pace brix per": say("pace brix per", context="input"),
    "pantothenate": say("pantothenate", context="input"),
    "phosphate mmol": say("phosphate mmol", context="input"),
    "phosphorus": say("phosphorus", context="input"),
    "pk thermodynamic": say("pk thermodynamic", context="input"),
    "plan": say("plan", context="input"),
    "potassium": say("potassium", context="input"),
    "poured": say("poured", context="input"),
    "price per": say("price per", context="input"),
    "racked": say("racked", context="input"),
    "reading error": say("reading error", context="input"),
    "readings": say("readings", context="input"),
    "record": say("record", context="input"),
    "rehydration": say("rehydration", context="input"),
    "residual": say("residual", context="input"),
    "room l": say("room l", context="input"),
    "room": say("room", context="input"),
    "scale step": say("scale step", context="input"),
    "seed": say("seed", context="input"),
    "share": say("share", context="input"),
    "share of plan": say("share of plan", context="input"),
    "shift": say("shift", context="input"),
    "sigma": say("sigma", context="input"),
    "size": say("size", context="input"),
    "solids": say("solids", context="input"),
    "sorbate": say("sorbate", context="input"),
    "space": say("space", context="input"),
    "stock": say("stock", context="input"),
    "strain": say("strain", context="input"),
    "sugar": say("sugar", context="input"),
    "sweetener water": say("sweetener water", context="input"),
    "target": say("target", context="input"),
    "temperature": say("temperature", context="input"),
    "there": say("there", context="input"),
    "thiamine": say("thiamine", context="input"),
    "times": say("times", context="input"),
    "to add": say("to add", context="input"),
    "top up": say("top up", context="input"),
    "total": say("total", context="input"),
    "usable": say("usable", context="input"),
    "used": say("used", context="input"),
    "usual pace": say("usual pace", context="input"),
    "vessel": say("vessel", context="input"),
    "volume": say("volume", context="input"),
    "volumes": say("volumes", context="input"),
    "wanted": say("wanted", context="input"),
    "warmest": say("warmest", context="input"),
    "water": say("water", context="input"),
    "way": say("way", context="input"),
    "weigh": say("weigh", context="input"),
    "whole": say("whole", context="input"),
    "working bar": say("working bar", context="input"),
    "yeast": say("yeast", context="input"),
    "yield": say("yield", context="input"),
    "zinc": say("zinc", context="input"),
    "biotin": say("biotin", context="input"),
    "blackberry": say("blackberry", context="input"),
}


def input_words(name: str) -> str:
    """The name of an input without its unit and underscores.

    Examples
    --------
    >>> input_words("demand_mg_l"), input_words("ammonium_n"), input_words("clover honey")
    ('demand', 'ammonium nitrogen', 'clover honey')
    """
    if name in _BY_IDENTIFIER:
        return _BY_IDENTIFIER[name]
    plain = _UNIT.sub("", name).replace("_", " ")
    if plain in _CALLED:
        return _CALLED[plain]
    if of_a_feed := _OF_A_FEED.fullmatch(plain):
        jar, feed, number, colon, kind = of_a_feed.groups()
        named = join(", ", (kept(jar), kept(feed))) if feed else kept(jar)
        said = named + " " + number
        return said + colon + input_words(kind) if kind else said
    return kept(plain)
