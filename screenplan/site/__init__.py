"""Everything that comes in: reading and checking layers, terrain, sides, windows, places."""
