"""Plans of many properties on a Dask cluster, and one summary of them."""
