"""The must: what goes in, what it weighs, how sweet it is, and what alcohol it can give."""
