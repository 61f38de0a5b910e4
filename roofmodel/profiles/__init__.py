"""Profiles of rails: outlines, what they are worth as sections, and the walls they are made of."""
