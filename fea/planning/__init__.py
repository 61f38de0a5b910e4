"""Row planning: which planes need rows, where rows may stand, and the cheapest rows that pass the check."""
