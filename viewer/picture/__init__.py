"""Pictures and drawings."""
