"""Screening of city tiles: run, resume, map, page, table and data."""
