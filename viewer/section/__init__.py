"""The command `section`: a rail's profile as table, picture and data."""
