"""The terrain in tiles: bit for bit what the whole grid gives, in bounded memory."""
