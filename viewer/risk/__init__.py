"""Chance that a row lets go: words, pictures and files of `risk`."""
