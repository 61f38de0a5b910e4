"""Beams, shells and springs, all elements at once."""
