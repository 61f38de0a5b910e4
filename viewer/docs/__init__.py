"""The documentation: its pages, its look, and the figures that the tool computes for it."""
