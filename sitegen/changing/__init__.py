"""What moved between two states of a program, and why: each change of its files put in by itself, one after another."""
