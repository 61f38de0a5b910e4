"""The browser app: a roof in 3D whose rows can be moved, with every number at hand."""
