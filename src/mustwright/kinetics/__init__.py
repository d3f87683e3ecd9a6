"""How it ferments, in time."""
