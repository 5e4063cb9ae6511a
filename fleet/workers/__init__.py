"""Independent tasks worked through here, in several processes, or on a Dask cluster."""
