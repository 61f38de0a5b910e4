"""What a person sees of a test campaign."""
