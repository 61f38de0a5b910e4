"""The project file: what may stand in it, and what it becomes."""
