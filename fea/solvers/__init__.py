"""Direct solution, updates, condensation, contact and events."""
