"""The program file: from bytes to a frozen model, every mistake with its place."""
