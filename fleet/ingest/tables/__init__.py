"""The input tables, one module an area; `fleet.ingest.catalogue` lists them in order."""
