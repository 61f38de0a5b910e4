"""One clamp on its seam: table, picture, page and data of `eavewright seam`."""
