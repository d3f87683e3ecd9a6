"""The yeast: which kind, how much, and how it is woken up."""
