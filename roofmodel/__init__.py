"""Roof geometry, snow, sliding force and layout: everything before the structure."""
