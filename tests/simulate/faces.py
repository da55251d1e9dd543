"""Traces across a ring face before and after wear of a known shape; nothing here knows the analysis.

A face is a barrel (or something less round) under roughness whose neighbouring points go together, traced at another
line before than after, tilted, lifted and shifted each time. Wear is taken off by its shape, or the crown is cut off at
a level, peaks first, and left with a finish of its own.

The truth is worked out from the expected wear on a fine grid, without any roughness: area between the flanks; depth of
the core, the mean over the middle half of the stretch in which the 100 um mean of the wear is above half its most.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

MEAN = 0.1  # mm, over which the stretch is looked for
FINE = 0.0005  # mm, grid of the truth


@dataclass(frozen=True)
class Wear:
    """A shape of wear: lengths [mm], depth [um]."""

    depth: float
    # "cut": the crown at a level; "cap": a parabola; "flat": a flat with ramps; "step": a flat with upright ends
    shape: str = "cut"
    barrel: float = 40.0  # radius, of a cut
    wide: float = 0.4  # of a cap or flat, where it is worn at all
    ramp: float = 0.15  # of a flat
    middle: float = 0.0  # off the middle of the face

    @property
    def name(self) -> str:
        more = {"cut": f" of {self.barrel:g} mm", "cap": f" {self.wide:g} mm wide", "step": f" {self.wide:g} mm wide",
                "flat": f" {self.wide:g} mm wide, ramps {self.ramp:g}"}[self.shape]  # fmt: skip
        return f"{self.shape}{more}, {self.depth:g} um" + (f", off by {self.middle:g} mm" if self.middle else "")

    @property
    def width(self) -> float:
        """Of the worn stretch [mm]."""
        return 2 * math.sqrt(2 * self.barrel * self.depth / 1000) if self.shape == "cut" else self.wide

    def lost(self, x: Floats) -> Floats:
        """Height lost [um] at places from the middle of the face [mm], roughness left out."""
        u = x - self.middle
        if self.shape == "cut":
            return np.asarray(self.depth - np.square(u) / (2 * self.barrel) * 1000)  # below zero: not reached
        if self.shape == "cap":
            return np.asarray(self.depth * np.clip(1 - np.square(2 * u / self.wide), 0, None))
        inside = self.wide / 2 - np.abs(u)
        if self.shape == "step":
            return np.asarray(np.where(inside > 0, self.depth, 0.0))
        return np.asarray(self.depth * np.clip(inside / self.ramp, 0, 1))


@dataclass(frozen=True)
class Rough:
    """Roughness of a face."""

    height: float = 0.08  # um, standard deviation
    along: float = 10.0  # um, distance over which the correlation falls to 1/e
    kind: str = "gaussian"  # its correlation: "gaussian" exp(-(d/along)^2), "exponential" exp(-d/along)
    worn: float = 1.0  # roughness left in a worn stretch, as a share; of a cut crown, of its finish

    @property
    def name(self) -> str:
        told = f"{self.height:g} um over {self.along:g} um"
        told += ", exponential" if self.kind == "exponential" else ""
        return told + (f", worn {self.worn:g}" if self.worn != 1 else "")

    def drawn(self, random: np.random.Generator, count: int, step: float) -> Floats:
        """Heights [um] at steps [um]."""
        if self.along == 0:
            return np.asarray(self.height * random.standard_normal(count))
        if self.kind == "exponential":
            keep = math.exp(-step / self.along)
            push = math.sqrt(1 - keep * keep) * random.standard_normal(count)
            z = np.empty(count)
            z[0] = random.standard_normal()
            for at in range(1, count):
                z[at] = keep * z[at - 1] + push[at]
            return np.asarray(self.height * z)
        over = self.along / 2  # exp(-d^2 / (4 over^2)) is the correlation of noise over a Gaussian of `over`
        reach = int(5 * over / step) + 1
        weights = np.exp(-0.5 * np.square(np.arange(-reach, reach + 1) * step / over))
        weights *= self.height / math.sqrt(float(np.sum(weights**2)))
        return np.asarray(np.convolve(random.standard_normal(count + 2 * reach), weights, mode="valid"))


@dataclass(frozen=True)
class Case:
    """A face as it is traced; lengths [mm] or as named."""

    wear: Wear
    rough: Rough = Rough()
    across: float = 1.2
    flank: float = 0.15
    step: float = 2.0  # um
    shift: float = 0.0  # most the second trace is off along the face
    form: str = "barrel"  # "lopsided": with a cubic part; "flatter": a barrel of fourth degree

    @property
    def name(self) -> str:
        more = [self.wear.name, self.rough.name]
        more += [f"steps of {self.step:g} um"] if self.step != 2 else []
        more += [f"shifted by {self.shift:g}"] if self.shift else []
        more += [self.form] if self.form != "barrel" else []
        more += [f"flanks {self.flank:g} of {self.across:g} mm"] if (self.flank, self.across) != (0.15, 1.2) else []
        return "; ".join(more)

    def expected(self, x: Floats) -> Floats:
        """Height lost [um] on the mean; where a crown is cut, peaks near the ends of the cut lose some too."""
        lost = self.wear.lost(x)
        if self.wear.shape != "cut":
            return lost
        if self.wear.depth == 0:
            return np.zeros_like(x)
        scatter = self.rough.height * math.hypot(1, self.rough.worn)
        if scatter == 0:
            return np.clip(lost, 0, None)
        u = lost / scatter
        density = np.exp(-u * u / 2) / math.sqrt(2 * math.pi)
        below = np.array([0.5 * math.erfc(-each / math.sqrt(2)) for each in u.tolist()])
        return np.asarray(scatter * (density + u * below))  # E max(lost + scatter * normal, 0)

    def truth(self) -> tuple[float, float]:
        """Depth of the core [um] and worn area [um mm]."""
        x = np.arange(-self.across / 2, self.across / 2, FINE)
        lost = self.expected(x)
        between = np.abs(x) < self.across / 2 - self.flank
        area = float(lost[between].sum() * FINE)
        many = round(MEAN / FINE) | 1
        mean = np.convolve(lost, np.ones(many) / many, mode="same")
        mean[~between] = 0.0
        most = int(np.argmax(mean))
        if mean[most] <= 0:
            return 0.0, area
        top = np.flatnonzero(mean >= mean[most] * (1 - 1e-9))  # of a flat: any place of it, its middle here
        most = int(top[len(top) // 2])
        low = high = most
        while low > 0 and mean[low] > mean[most] / 2:
            low -= 1
        while high < len(x) - 1 and mean[high] > mean[most] / 2:
            high += 1
        core = np.abs(x - (x[low] + x[high]) / 2) <= (x[high] - x[low]) / 4
        return float(lost[core].mean()), area

    def traces(self, random: np.random.Generator) -> tuple[Floats, Floats, Floats]:
        """Places [um], heights before and after [um]."""
        x = np.arange(0, self.across, self.step / 1000)
        u = x - self.across / 2

        def form(at: Floats) -> Floats:
            z = -np.square(at) / (2 * self.wear.barrel) * 1000
            if self.form == "lopsided":
                z = z + 6.0 * at**3
            if self.form == "flatter":
                z = 0.3 * z - 12.0 * at**4
            return np.asarray(z)

        def set_up(z: Floats) -> Floats:
            return np.asarray(z + 2 * random.uniform(-1, 1) * x + 4 * random.standard_normal())

        before = form(u) + self.rough.drawn(random, len(x), self.step)
        moved = u + self.shift * random.uniform(-1, 1)
        rough = self.rough.drawn(random, len(x), self.step)
        lost = self.wear.lost(u)
        if self.wear.shape == "cut":
            after = form(moved) + rough
            if self.wear.depth:
                cut = form(moved) - lost + self.rough.worn * self.rough.drawn(random, len(x), self.step)
                after = np.minimum(after, cut)
        else:
            share = np.clip(lost / max(self.wear.depth, 1e-9), 0, 1) ** 0.5
            after = form(moved) - lost + rough * (1 + (self.rough.worn - 1) * share)
        return 1000 * x, set_up(before), set_up(after)
