"""Chemical elements an oil report may hold, by the symbols of IUPAC, and which of them are metals of worn parts.

>>> name("Fe"), name("Mo")
('iron', 'molybdenum')
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

METALS: Mapping[str, str] = MappingProxyType(
    {
        "Fe": "iron", "Cr": "chromium", "Mo": "molybdenum", "Al": "aluminium", "Cu": "copper", "Pb": "lead",
        "Sn": "tin", "Ni": "nickel", "Ti": "titanium", "W": "tungsten",
    }
)  # fmt: skip
"""Metals of rings, coatings, bores, pistons and bearings: metal made is worked out for these."""

OTHERS: Mapping[str, str] = MappingProxyType(
    {
        "Si": "silicon", "Na": "sodium", "K": "potassium", "Zn": "zinc", "P": "phosphorus", "Ca": "calcium",
        "Mg": "magnesium", "B": "boron", "Ba": "barium", "Mn": "manganese", "V": "vanadium", "Ag": "silver",
    }
)  # fmt: skip
"""Dirt, coolant and additives: concentrations only."""

ALL: Mapping[str, str] = MappingProxyType({**METALS, **OTHERS})


def name(symbol: str) -> str:
    """Name of an element. Raises KeyError where it is none of these."""
    return ALL[symbol]
