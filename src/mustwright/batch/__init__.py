"""What happened to a batch: an append-only log, and everything that follows from it."""
