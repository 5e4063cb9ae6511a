"""From files to checked rows, with every problem found."""
