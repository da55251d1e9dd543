"""Where each page lies in the site, and the relative links between pages.

File names are lower case [a-z0-9-] and safe on every file system: no reserved device name, no clash by case.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from sitegen.program.model import Folder

# Names some systems keep for devices (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))})


@lru_cache(maxsize=4096)  # the same anchors stand on the pages of all builds and cylinders
def slug(text: str) -> str:
    """A file name or anchor made of [a-z0-9-].

    >>> slug("B1"), slug("Pump rings, 2026"), slug("AUX"), slug("µ")
    ('b1', 'pump-rings-2026', 'aux-', 'page')
    """
    name = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "page"
    return f"{name}-" if name in _DEVICES else name


def slugs(ids: Iterable[str], taken: Iterable[str] = ()) -> dict[str, str]:
    """One distinct name for each id, in the order given.

    >>> slugs(["B1", "b1", "B 1", "data"], taken=["data"])
    {'B1': 'b1', 'b1': 'b1-2', 'B 1': 'b-1', 'data': 'data-2'}
    """
    used = set(taken)
    names: dict[str, str] = {}
    for each in ids:
        name, n = slug(each), 2
        while name in used:
            name, n = f"{slug(each)}-{n}", n + 1
        used.add(name)
        names[each] = name
    return names


@dataclass(frozen=True)
class Link:
    text: str
    href: str = ""  # "": this very page


@dataclass(frozen=True)
class Addresses:
    """Paths of all pages, from the root of the site, with forward slashes."""

    programs: Mapping[str, str]
    engines: Mapping[tuple[str, str], str]  # (program, build)
    cylinders: Mapping[tuple[str, str, int], str]  # (program, build, cylinder)
    data: Mapping[str, str]  # program
    plans: Mapping[str, str]  # program
    coatings: Mapping[str, str]
    sheets: Mapping[str, str]  # program: its decision sheet
    reviews: Mapping[str, str]  # program: where it is gone through
    instruments: Mapping[str, str]  # program
    home: str = "index.html"
    methods: str = "methods.html"

    def result(self, program: str, name: str) -> str:
        """The published copy of a table of a program's results."""
        return f"{self.data[program].rpartition('/')[0]}/results/{name}"

    @classmethod
    def of(cls, folder: Folder) -> Addresses:
        names = slugs(sorted([*(each.id for each in folder.programs), *(each.id for each in folder.left)]))
        engines, cylinders, data, plans, sheets, reviews, instruments = {}, {}, {}, {}, {}, {}, {}
        programs = {each.id: f"programs/{names[each.id]}/index.html" for each in folder.left}
        for program in folder.programs:
            base = f"programs/{names[program.id]}"
            programs[program.id] = f"{base}/index.html"
            data[program.id] = f"{base}/data.html"
            plans[program.id] = f"{base}/plan.html"
            sheets[program.id] = f"{base}/decision.html"
            reviews[program.id] = f"{base}/review.html"
            instruments[program.id] = f"{base}/instruments.html"
            taken = ("index", "data", "plan", "decision", "review", "instruments")
            for build, name in slugs((build.id for build in program.builds), taken).items():
                engines[program.id, build] = f"{base}/{name}/index.html"
                for place in program.build(build).places:
                    cylinders[program.id, build, place.cylinder] = f"{base}/{name}/cylinder-{place.cylinder}.html"
        coatings = {each: f"coatings/{name}.html" for each, name in slugs(folder.definitions.coatings).items()}
        return cls(programs, engines, cylinders, data, plans, coatings, sheets, reviews, instruments)

    def of_program(self, program: str) -> Addresses:
        """Those of one program's pages, of the first page of each program, and of what all share."""
        return replace(
            self,
            engines={key: path for key, path in self.engines.items() if key[0] == program},
            cylinders={key: path for key, path in self.cylinders.items() if key[0] == program},
            data={program: self.data[program]},
            plans={program: self.plans[program]},
            sheets={program: self.sheets[program]},
            reviews={program: self.reviews[program]},
            instruments={program: self.instruments[program]},
        )

    def place(self, program: str, build: str, cylinder: int = 0) -> str:
        """Anchor of a cylinder, or of a build (0), on the page of review.

        It has a dot, as no slug has, so that no name of a build meets another anchor of the page.
        """
        folder = self.engines[program, build].split("/")[-2]  # no two builds have the same
        return f"place.{folder}.{cylinder}" if cylinder else f"place.{folder}"

    def method(self, measure: str) -> str:
        """Where the methods page says how a measure is worked out."""
        return f"{self.methods}#{slug(measure)}"


def relative(target: str, page: str) -> str:
    """Link from one page to another (or to an asset), fragment kept.

    >>> relative("methods.html#leak", "programs/p/b1/index.html"), relative("a.html#x", "a.html")
    ('../../../methods.html#leak', '#x')
    """
    path, mark, fragment = target.partition("#")
    if path == page and mark:
        return f"#{fragment}"
    there, here = path.split("/"), page.split("/")
    shared = 0  # folders both paths begin with
    while shared < min(len(there), len(here)) - 1 and there[shared] == here[shared]:
        shared += 1
    return "../" * (len(here) - 1 - shared) + "/".join(there[shared:]) + mark + fragment
