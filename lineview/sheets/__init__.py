"""Printable and spreadsheet forms of the same answers."""
