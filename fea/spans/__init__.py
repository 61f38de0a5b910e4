"""Span studies: what line load a rail on clamps carries over which span."""
