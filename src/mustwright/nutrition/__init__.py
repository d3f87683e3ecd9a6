"""Nutrition: what the yeast needs, what the must brings, and how the shelf makes up the rest."""
