"""Uncertain inputs and the chance that something fails: distributions, samplers, intervals, sensitivity."""
