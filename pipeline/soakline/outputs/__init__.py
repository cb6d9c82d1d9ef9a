"""Writing: the plan's layers, the GeoPackage that holds them, and the picture of it."""
