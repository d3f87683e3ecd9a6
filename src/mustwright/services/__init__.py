"""Use cases: one function for each thing a maker does."""
