"""What local and member buckling leave of a rail."""
