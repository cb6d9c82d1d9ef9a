"""Setting out: files read back by other libraries, volumes by raster, drawings by eye."""
