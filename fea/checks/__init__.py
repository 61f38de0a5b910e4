"""Demand against resistance, load factors, reserve, and the self-audit."""
