"""Cells read as numbers, timestamps and qualities."""
