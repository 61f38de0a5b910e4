"""The snow itself as a layer in its plane, held by rails, bond and friction."""
