"""Standing-seam panels: mesh, clips, bearing, and what a clamp's pull does to them."""
