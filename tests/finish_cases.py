"""Good fields for every step of the finishing bench, as forms and as commands take them."""

from __future__ import annotations

from urllib.parse import urlencode

LOTS = {
    "lot.1.name": "old", "lot.1.volume": "10 L", "lot.1.alcohol": "14 %", "lot.1.gravity": "1.012",
    "lot.2.name": "young", "lot.2.volume": "12 L", "lot.2.alcohol": "9 %",
    "lot.2.gravity": "0.998",
}  # fmt: skip
# By page and case: the command, and the fields of the form.
CASES: dict[str, tuple[str, str, dict[str, str]]] = {
    "stable": ("stable", "stable", {
        "reading": "2026-01-04 0.998\n2026-01-18 0.998\n2026-02-01 0.998", "original": "1.098",
        "residual_sugar": "1.2 g/L", "tolerance": "14 to 18 %",
    }),
    "rack": ("rack", "rack", {
        "volume": "20 L", "gravity": "0.998", "alcohol": "13 %", "lees_depth": "2 cm",
        "diameter": "27 cm", "vessel": "19 L", "top_up": "water",
    }),
    "air": ("rack", "rack", {"volume": "20 L", "vessel": "19.5 L"}),
    "sulfite": ("sulfite", "sulfite", {
        "volume": "19 L", "ph": "3.5", "alcohol": "12 %", "temperature": "20 C",
        "molecular": "0.8", "free": "8 mg/L", "total": "35 mg/L", "stock": "10 %", "profile": "eu",
    }),
    "sorbate": ("sorbate", "sorbate", {
        "volume": "19 L", "alcohol": "12 %", "ph": "3.5", "molecular": "0.8", "profile": "eu",
    }),
    "sweeten": ("sweeten", "sweeten", {
        "volume": "19 L", "gravity": "0.998", "alcohol": "13 %", "to": "1.015", "with": "honey",
    }),
    "acid": ("acid", "acid", {
        "volume": "19.7 L", "with": "tartaric", "acidity": "4.5 g/L", "to_acidity": "5.5 g/L",
    }),
    "buffer": ("acid", "acid", {
        "volume": "19 L", "with": "potassium_bicarbonate", "ph": "3.0", "to_ph": "3.3",
        "titration": "0 g/L: 3.00\n0.5 g/L: 3.33\n1 g/L: 3.66",
    }),
    "tannin": ("acid", "tannin", {"volume": "19 L", "with": "tannin"}),
    "fruit": ("late", "fruit", {
        "what": "fruit", "volume": "19 L", "gravity": "0.998", "alcohol": "13 %",
        "with": "raspberry", "amount": "2 kg",
    }),
    "spice": ("late", "spice", {
        "what": "spice", "volume": "19 L", "with": "vanilla", "dose": "1 g/L",
    }),
    "blend": ("blend", "blend", {**LOTS, "target.alcohol": "12 %", "volume": "15 L"}),
    "carbonate": ("carbonate", "carbonate", {
        "volume": "19 L", "temperature": "18 C\n20 C", "co2_volumes": "2.5", "sugar": "sucrose",
        "alcohol": "12 %", "bottle": "sparkling",
    }),
    "keg": ("carbonate", "carbonate", {
        "volume": "19 L", "temperature": "18 C", "co2_volumes": "2.5", "alcohol": "12 %",
        "keg": "4 C", "limit": "9 bar", "stabilised": "pasteurised",
    }),
    "bottle": ("bottle", "bottle", {
        "volume": "19.7 L", "size": "750 mL x 20\n375 mL", "alcohol": "12.5 %", "so2": "40 mg/L",
        "name": "Dry Lane", "batch": "dry lane", "profile": "us", "bottled": "2026-03-01",
    }),
}  # fmt: skip
SEVERAL = ("reading", "titration", "temperature", "size")
FORM_ONLY = {"what", "page", "link"}


def form_address(case: str, path: str = "") -> str:
    """Where the case is answered in the browser."""
    slug, _, fields = CASES[case]
    return f"/finish/{slug}{path}?{urlencode(fields)}"


def words_of(case: str) -> list[str]:
    """The same case as the words of a command."""
    _, command, fields = CASES[case]
    words = ["finish", command]
    lots: dict[str, list[str]] = {}
    for name, text in fields.items():
        if name in FORM_ONLY or (command == "tannin" and name == "with"):
            continue
        if name.startswith("lot."):
            _, number, what = name.split(".")
            lots.setdefault(number, []).append(f"{what}={text}")
        elif name.startswith("target."):
            words += ["--target", f"{name.removeprefix('target.')}={text}"]
        else:
            for part in text.split("\n") if name in SEVERAL else [text]:
                words += [f"--{name.replace('_', '-')}", part]
    for parts in lots.values():
        words += ["--lot", ", ".join(parts)]
    return words
