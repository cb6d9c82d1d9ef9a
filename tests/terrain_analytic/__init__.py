"""Ground whose every level line, slope and flow path is known in closed form."""
