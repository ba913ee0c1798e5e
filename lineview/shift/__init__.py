"""A shift: pieces, minutes, stops, changeovers, pace."""
