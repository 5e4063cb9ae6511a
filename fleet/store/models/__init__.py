"""One module an area of the relational model."""
