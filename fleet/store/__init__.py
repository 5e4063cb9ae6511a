"""The relational model and its transactions."""
