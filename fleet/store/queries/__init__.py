"""One module a kind of question put to the records."""
