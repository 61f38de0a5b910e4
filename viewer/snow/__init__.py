"""The snow on a roof, case by case: table, plans, sections and working of `eavewright snow`."""
