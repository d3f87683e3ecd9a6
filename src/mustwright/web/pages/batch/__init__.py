"""The pages of a batch: live, entries, re-plan, paper, tables, links, and the list of them."""
