"""Row planning: which planes need rows, where rows may stand, and the cheapest rows that pass the check.

Variables: for every group of planes that hand snow to one another, a path of rows upward from the lowest
row, each on a level (its height) and with an option (on each plane, clamps on every n-th seam). Objective:
the sum over rows of rail_cost x length + clamp_cost x clamps + row_cost. Constraints: distances between
levels; every limit of strength at most `target`, of service and height at most 1, for rows and for panel
strips, by `fea.analysis.check_limits` of all groups together; every plane that threatens has its lowest
row.

A row's demand hangs on its level, its option and the next row above it, so cost and feasibility lie on the
arcs of a ladder, and the cheapest path is found by dynamic programming over (rows left, set of spacings,
level); the set of spacings is there because strips may only pass with some of them. Arcs start with a lower
bound that equilibrium gives (the mean share of a row's clamps, of a plane's strips). The cheapest path
under these bounds is checked in full, what it shows raises the bounds, and so on: the first that passes is
the cheapest. Equal costs go to the path whose largest bound is least. `tests/planning` enumerates all
layouts of small roofs by the full check, and all paths of made-up ladders, and finds none cheaper. Rows
that meet in a valley stand on one level, and an option gives each plane its own spacing; a check of one
plane's rows bounds all options that give it the same. Beyond 27 options (`MOST_OPTIONS`), and for pieces on
one plane, a level shares one spacing, and the result says so.

Where rows leave gaps (planes in pieces, dormers above their eave, rows only as far as snow threatens), what
passes the ends of the next row arrives too, so that a row far up may unload the lowest: `open_rows` lists all
paths there and concludes less from each check. `thinning` then leaves out single pieces, one by one.
"""
