"""Acid and buffer of a must sheet: its pH as a band, its course, and what steadies it."""
