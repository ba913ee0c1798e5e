"""Tidy readings, events and refusals."""
