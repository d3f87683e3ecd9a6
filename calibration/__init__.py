"""Fitting the populations of the fermentation model to measured fermentations, and judging them."""
