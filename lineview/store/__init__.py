"""Everything kept; the only writer."""
