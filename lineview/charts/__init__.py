"""Frames to plotly figures; the only place that imports plotly."""
