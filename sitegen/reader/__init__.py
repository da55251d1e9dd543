"""Files as they are: bytes, encodings, cells, rows, figures and moments; how a file is written."""
