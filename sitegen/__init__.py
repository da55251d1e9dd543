"""Static report sites for multi-engine piston-ring coating test programs.

As a library: `results(folder)` gives measures, comparisons and verdicts as data frames.
"""

from sitegen.library import InputError, Results, results

__all__ = ["InputError", "Results", "results"]
