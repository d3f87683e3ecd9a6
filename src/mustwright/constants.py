"""Physical constants and unit definitions, each with the document that fixes it."""

# NIST Handbook 44 (2023) Appendix C: exact definitions.
LITRES_PER_US_GALLON = 3.785411784
LITRES_PER_US_QUART = LITRES_PER_US_GALLON / 4
LITRES_PER_US_PINT = LITRES_PER_US_GALLON / 8
LITRES_PER_US_CUP = LITRES_PER_US_GALLON / 16
LITRES_PER_US_FLUID_OUNCE = LITRES_PER_US_GALLON / 128
KG_PER_POUND = 0.45359237
KG_PER_OUNCE = KG_PER_POUND / 16

# UK Weights and Measures Act 1985, Schedule 1: exact definitions.
LITRES_PER_IMPERIAL_GALLON = 4.54609
LITRES_PER_IMPERIAL_PINT = LITRES_PER_IMPERIAL_GALLON / 8

# Metric teaspoon and tablespoon (common practice, no source).
LITRES_PER_TEASPOON = 0.005
LITRES_PER_TABLESPOON = 0.015

KELVIN_AT_0_C = 273.15  # SI definition of the Celsius scale.
GAS_CONSTANT_J_MOL_K = 8.31446261815324  # SI 2019, exact.

# Pressure: the standard atmosphere and the pound-force per square inch (NIST SP 811, appendix B).
BAR_PER_ATM = 1.01325
BAR_PER_PSI = 0.0689475729

# Air displaced when weighing: the NBS1942 tables rest on air of about this density.
AIR_DENSITY_KG_M3 = 1.2
