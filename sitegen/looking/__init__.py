"""A look at a file nobody has described yet: what is in it, and the record entry that would read it."""
