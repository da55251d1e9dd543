"""Static report sites for multi-engine piston-ring coating test programs.

As a library: `findings(folder)` gives measures, comparisons and verdicts as data frames.
"""

from sitegen.library import Findings, InputError, findings

__all__ = ["Findings", "InputError", "findings"]
