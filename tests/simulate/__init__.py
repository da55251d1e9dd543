"""A seeded simulator of ring seating and leak-down: example tables with a known truth.

It writes the records of the example programs, and engines for tests of recovery and for benchmarks. From the `tests`
folder, `python -m simulate` writes the example tables again; `python -m simulate --help` says what else it does.
It uses nothing of the package under test.
"""
