"""What was found on a roof against what could have happened."""
