"""How many fermentations a forecast runs, and from which seed: one setting for every page."""

# Plan, comparison, forecast, what-if, acidity and a batch before its first reading: the same must
# says the same figures in all of them. At 400 a chance of 20 % is known to 2 % (standard error
# of a share); twelve plans compared take 0.35 s of processor time, 600 would take 0.48 s.
MEMBERS = 400
# Bent to readings: tempering and resampling leave members that share ancestors, which are worth
# fewer independent ones, and only one forecast is worked out at a time.
BENT_MEMBERS = 800
# Of any of them, evenly taken, so many are followed in pH: that costs more than all the rest.
FOLLOWED_IN_PH = 300
SEED = 1
