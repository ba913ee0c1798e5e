"""Demand for webs and the ordering of reels."""
