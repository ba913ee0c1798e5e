"""What a machine did, from its counters and states: increments, pieces, activity, timeline, stops."""
