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
LITRES_PER_IMPERIAL_FLUID_OUNCE = LITRES_PER_IMPERIAL_GALLON / 160

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

# Molar masses [g/mol]: IUPAC standard atomic weights (abridged, 2021).
CARBON_G_MOL, NITROGEN_G_MOL, PHOSPHORUS_G_MOL = 12.011, 14.0067, 30.9738
SODIUM_G_MOL, POTASSIUM_G_MOL, CALCIUM_G_MOL, MAGNESIUM_G_MOL = 22.9898, 39.0983, 40.078, 24.305
HEXOSE_G_MOL, SUCROSE_G_MOL, ETHANOL_G_MOL, CO2_G_MOL = 180.156, 342.297, 46.069, 44.009
GLYCEROL_G_MOL, SUCCINIC_G_MOL, ACETIC_G_MOL, TARTARIC_G_MOL = 92.094, 118.088, 60.052, 150.086
DAP_G_MOL, AMMONIUM_SULFATE_G_MOL, SO2_G_MOL = 132.056, 132.134, 64.058

# Hexose -> 2 ethanol + 2 carbon dioxide; sucrose + water -> 2 hexose.
CO2_PER_ETHANOL_G_G = CO2_G_MOL / ETHANOL_G_MOL
CO2_PER_HEXOSE_G_G = 0.48857  # 2 x 44.009 over 180.156 g/mol, as the working of figures prints it
HIGHEST_ETHANOL_YIELD_G_G = 2 * ETHANOL_G_MOL / HEXOSE_G_MOL
HEXOSE_PER_SUCROSE_G_G = 2 * HEXOSE_G_MOL / SUCROSE_G_MOL
# What yeast makes of a gram of hexose.
ETHANOL_YIELD_G_G = 0.47  # Middle of 0.46 to 0.48 (common practice, no source).
BYPRODUCT_YIELD_G_G = 0.044  # Zentou2021: glycerol, acids and the like per gram of sugar.

ETHANOL_DENSITY_20C_KG_M3 = 789.24  # OIML1975, reference value of pure ethanol at 20 °C.
ETHANOL_G_L_PER_PCT_VOL = ETHANOL_DENSITY_20C_KG_M3 / 100  # Ethanol per litre for 1 % vol, 20 °C.

# Carbon dioxide: grams in one volume (a litre of it at 0 °C and 101.325 kPa), SpanWagner1996;
# litres of a mole at 20 °C and 101.325 kPa, as an ideal gas.
CO2_VOLUME_G_L = 1.9768
CO2_VOLUME_SOURCE = "SpanWagner1996: carbon dioxide at 0 C and 101.325 kPa"
CO2_L_PER_MOL_20C = 24.055

Z90 = 1.6448536269514722  # 5 and 95 % of a normal distribution, in standard deviations.
