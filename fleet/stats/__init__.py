"""Pure functions from arrays to forecasts."""
