"""One file a change of the journal's tables."""
