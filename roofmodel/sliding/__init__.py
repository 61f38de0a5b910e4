"""The sliding force: cells, routes, thrust, and tributary areas."""
