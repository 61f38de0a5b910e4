"""Roof geometry: building, importing, and recognizing planes, edges and steps."""
