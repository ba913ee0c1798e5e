"""Piece weights: spread, giveaway, bags."""
