"""Rain and water: storms, losses, pools and the cascade."""
