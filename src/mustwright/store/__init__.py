"""What the maker keeps: every line of SQL lives here; only the composition root imports it."""
