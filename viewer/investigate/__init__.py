"""An investigation in words, pictures and files."""
