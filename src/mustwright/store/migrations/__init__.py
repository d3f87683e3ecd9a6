"""Revisions of the cellar's tables, applied when a cellar is opened."""
