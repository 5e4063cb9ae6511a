"""From results to tables, route sheets and exchange files."""
