"""From dry to a safe, stable bottle: one module for each thing done on the finishing bench."""
