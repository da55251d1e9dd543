"""A new program from a few answers: asked on a terminal, given as options, or read from a file of answers."""
