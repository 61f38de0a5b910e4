"""What a person sees of planned rows."""
