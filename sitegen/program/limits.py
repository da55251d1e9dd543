"""Limits of logged channels, as a program or one of its phases states them."""

from __future__ import annotations

from collections.abc import Mapping

from sitegen.program.channels import CHANNELS
from sitegen.program.model import Phase, Program, Window
from sitegen.program.node import Node


def of(node: Node) -> dict[str, Window]:
    """Channel, without its cylinder, and what it may not leave, in SI; a channel without a usable end is left out."""
    found = {}
    for name, each in node.own_entries():
        dimension = CHANNELS[name].dimensions[0] if name in CHANNELS else ""
        if not dimension:  # told by the schema
            continue
        low, high = (each.quantity(end, dimension, zero=True) for end in ("low", "high"))
        if low is not None and high is not None and low >= high:
            each.add("range-reversed", f"{each.subject} ends before its beginning", expected="`low` below `high`")
        if low is not None or high is not None:
            found[name] = Window(low, high)
    return found


def in_phase(program: Program, phase: Phase) -> Mapping[str, Window]:
    """What holds in a phase: its own limits, and those of the program for other channels."""
    return {**program.limits, **phase.limits}
