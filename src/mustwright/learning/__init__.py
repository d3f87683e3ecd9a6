"""What a maker finds out on their own batches: trials, tastings, the house, comparison."""
