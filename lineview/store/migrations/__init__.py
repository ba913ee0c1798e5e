"""The journal's tables as they changed over time."""
