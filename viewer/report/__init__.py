"""The calculation package."""
