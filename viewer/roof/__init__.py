"""A roof by itself: table, picture and data of `eavewright roof`."""
