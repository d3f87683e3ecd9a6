"""What a maker does with a running batch: start, record, follow, re-plan, rescue, take along."""
