"""Snow cases by the standards, behind one small interface."""
