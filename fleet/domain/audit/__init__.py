"""Questions about the records: rules that take evidence and give one row for each thing found."""
