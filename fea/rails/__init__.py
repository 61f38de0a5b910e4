"""Rails on clamps: rows as frames, their loads and responses."""
