"""What a person sees: command line, pictures, tables, report."""
