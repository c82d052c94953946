"""Rulebook text to a Rulebook and back into words, and the worked cases beside it."""
