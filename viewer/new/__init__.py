"""Project files to start from."""
