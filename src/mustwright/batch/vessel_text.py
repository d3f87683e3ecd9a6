"""What the facts of a vessel are put down to, in words."""

from __future__ import annotations

from mustwright.texts import say

LAST_READING = say("last reading")
CARRIED_ON = say("carried on, with what fermented since")
NAMES = {
    "sulfited": say("sulfite"),
    "sorbated": say("sorbate"),
    "racked": say("left behind at racking"),
    "bottled": say("bottled"),
}
# As the command of a step is called, in a sentence.
STEPS = {
    "stable": say("stable", context="step"),
    "rack": say("rack", context="step"),
    "sulfite": say("sulfite", context="step"),
    "sorbate": say("sorbate", context="step"),
    "sweeten": say("sweeten", context="step"),
    "acid": say("acid", context="step"),
    "tannin": say("tannin", context="step"),
    "fruit": say("fruit", context="step"),
    "spice": say("spice", context="step"),
    "late": say("late", context="step"),
    "blend": say("blend", context="step"),
    "drawn": say("drawn", context="step"),
    "carbonate": say("carbonate", context="step"),
    "bottle": say("bottle", context="step"),
}
