"""One module a use case; the only place that commits."""
