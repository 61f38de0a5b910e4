"""Structure: beams on clamps, solving, checks and audit."""
