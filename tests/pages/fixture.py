"""A small invented program, made from the dataclasses alone: two builds of four cylinders and one of twelve.

It has a reading set aside, an objection, a phase to come, an assembly that was refitted, and text that would break
careless HTML.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from sitegen.declarations import Section, Step, Stream
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Disc, Figure, Panel, Plan, Plans, Row, Table, Text
from sitegen.page.view import View
from sitegen.program.doubted import Doubted
from sitegen.program.model import (
    Assembly,
    Build,
    Coating,
    Criterion,
    Definitions,
    Departure,
    Effect,
    EngineType,
    Exclusion,
    Folder,
    Layer,
    LeakdownRule,
    Oil,
    Phase,
    Place,
    Program,
    Restated,
    Reviewed,
    SeatingRule,
    Standing,
    Where,
)
from sitegen.tables.rows import Recorded
from sitegen.vocabulary import Change, Comparison, Field, Key, Measure, Problem, Readings, Series, Value, Verdict

NASTY = "</script><b>\"5 < 6\" & 'so'"
AREA = Measure(
    "probe.area", "probe area", "mm²", "less", "Read from the probe.", "A = A_0 f(p)", "invented", "nothing else"
)
RATIO = Measure("probe.ratio", "probe ratio", "1", "", "A ratio.", "a/b", "invented")
PHASES = ("cold-build", "run-in-15", "run-in-60", "pulls", "refit", "durability")
TITLES = ("cold build", "run-in, 15 min", "run-in, 60 min", "four pulls", "refitted", "40 h")
DISTANCES = ("0 km", "4.1 km", "17.8 km", "22 km", "22 km", "2\u202f610 km")
LEVELS = (0.78, 0.6, 0.41, 0.33, 0.36, 0.29)


@dataclass(frozen=True)
class FixtureAnalysis:
    program: Program
    readings: Mapping[str, Readings]
    values: Mapping[tuple[str, Key], Value]
    verdicts: Sequence[Verdict]
    problems: Sequence[Problem]
    inputs: Mapping[str, str]
    series: Sequence[Series] = ()
    comparisons: Sequence[Comparison] = ()
    results_id: str = "7c41e0"
    stand: str = ""
    looks: int = 1
    changes: Sequence[Change] | None = None
    written: str = ""
    doubted: Sequence[Doubted] = ()
    taken: Sequence[Standing] = ()
    reviewed: Sequence[Reviewed] = ()
    effects: Sequence[Effect] = ()
    restated: Sequence[Restated] | None = ()
    days: Sequence[str] = ("2026-03-02", "2026-05-14")
    as_of: str = "2026-05-14"
    files: Mapping[str, bytes] = field(default_factory=dict)
    digests: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    extra: Mapping[str, Any] = field(default_factory=dict)


def coatings() -> dict[str, Coating]:
    return {
        "plain": Coating("plain", "plain steel", 0),
        "soft": Coating("soft", "soft nitride", 1, "gas", (Layer("diffusion-zone"),), 900.0, 60e-6, ("Cr", "Mo")),
        "hard": Coating("hard", f"hard nitride {NASTY}", 2, "arc", (Layer("top"), Layer("bond")), 2100.0, 20e-6),
    }


def folder(path: str = "/nowhere/programs") -> Folder:
    four = EngineType("four", "four-cylinder test engine", 4, 0.086, 0.1, firing_order=(1, 3, 4, 2))
    twelve = EngineType("twelve", "vee twelve", 12, 0.1, 0.12, layout="vee", flywheel="at the first cylinder")
    definitions = Definitions(coatings(), {"four": four, "twelve": twelve}, {}, {}, {}, {"o": Oil("o", "test oil")})
    phases = tuple(
        Phase(
            id_,
            title,
            "run" if "run" in id_ else "static-check",
            i,
            records=("probe",),
            only=("B2",) if id_ == "refit" else (),
        )
        for i, (id_, title) in enumerate(zip(PHASES, TITLES, strict=True))
    )
    whole = (Assembly("a1", "cold-build", "durability"),)
    builds = (
        Build("B1", "B1", 0, "K1", 1, four, tuple(Place(n, "soft", "S-1") for n in range(1, 5)), whole, oil="o"),
        Build(
            "B2", f"second {NASTY}", 1, "K2", 4, four,
            (Place(1, "soft", "S-1"), Place(2, "hard", "H-1"), Place(3, "hard", "H-1"), Place(4, "soft", "S-2")),
            (Assembly("a1", "cold-build", "pulls"), Assembly("a2", "refit", "durability", "opened and refitted")),
            (Departure("durability", "due", due="2026-12-07"),), operator="M.", cell="north", note=NASTY,
        ),
        Build("V1", "V1", 2, "K3", 1, twelve, tuple(Place(n, "hard") for n in range(1, 13)), whole,
              (Departure("pulls", "skipped", "no time"),)),
    )  # fmt: skip
    program = Program(
        id="probe-2026", title="Probe rings 2026", question="Does soft nitride seat sooner?",
        folder=f"{path}/probe-2026",
        where=Where("probe-2026/program.yaml"), definitions=definitions, reference="soft", candidates=("hard",),
        primary_measure=AREA.id, primary_phase="pulls", planned_builds=3, allocation_scheme="whole builds",
        allocation_seed=1, phases=phases, builds=builds, seating=SeatingRule(0.03, 0.35), leakdown=LeakdownRule(552e3),
        criteria=(
            Criterion("level", "Area after the pulls", AREA.id, "pulls", "at-most", "every-cylinder", ("hard",), 0.35),
            Criterion("better", "Area below soft", AREA.id, "pulls", "below-reference", "mean-of-builds", ("hard",),
                      end_rule=True),
        ),
        criteria_stated="2026-01-12",
        exclusions=(Exclusion("probe:3", f"needle stuck {NASTY}", "K.", "2026-05-14"),), invented=True,
    )  # fmt: skip
    empty = Program(
        id="empty", title="Empty", question="", folder=f"{path}/empty", where=Where("empty/program.yaml"),
        definitions=definitions, reference="soft", candidates=("hard",), primary_measure=AREA.id, primary_phase="pulls",
        planned_builds=0, allocation_scheme="whole builds", allocation_seed=None, phases=phases, builds=(),
        seating=SeatingRule(0.03, 0.35), leakdown=LeakdownRule(552e3),
    )  # fmt: skip
    return Folder(path, definitions, (empty, program))


def level(build: Build, cylinder: int, phase: int) -> float:
    return (
        LEVELS[phase]
        * (1 + 0.04 * cylinder)
        * (1.2 if cylinder == 2 and phase > 1 else 1.0)
        * (0.9 if build.id == "B2" else 1)
    )


def analyses(of: Folder) -> list[FixtureAnalysis]:
    program = of.programs[1]
    values: dict[tuple[str, Key], Value] = {}
    rows: list[dict[str, Any]] = []
    verdicts: list[Verdict] = [Verdict("criterion:level", Key(coating="hard", phase="pulls"), "fails")]
    words = ("seated", "still seating", "not seated", "cannot tell")
    for build in program.builds:
        for place in build.places:
            verdicts.append(Verdict("seating", build.key(place.cylinder, "pulls"), words[(place.cylinder - 1) % 4]))
            for i, phase in enumerate(program.phases):
                if phase not in program.phases_of(build) or build.is_due(phase.id):
                    continue
                if build.id == "B1" and phase.id == "pulls" and place.cylinder == 4:
                    continue  # three of four cylinders
                if build.id == "V1" and phase.id == "durability":
                    continue  # missing
                area = level(build, place.cylinder, i)
                key = build.key(place.cylinder, phase.id)
                values[AREA.id, key] = Value(AREA.id, key, area, area - 0.03, area + 0.03, n=2, of="repeat")
                for repeat in (1, 2):
                    number = len(rows) + 2
                    rows.append(
                        {"reading": f"probe:{number}", "file": "probe-2026/records/probe.csv", "row": number, "use": "",
                         "engine": build.id, "phase": phase.id, "cylinder": place.cylinder, "repeat": repeat,
                         "area": area + 0.015 * (-1) ** repeat}
                    )  # fmt: skip
    rows[1]["use"] = "excluded"
    rows[6]["use"] = "out-of-range"
    problem = Problem(
        "probe-2026/records/probe.csv",
        8,
        3,
        "out-of-range",
        f"area is 99 {NASTY}",
        "0 to 5 mm²",
        column_name="Area",
        level="warning",
    )
    frame = pd.DataFrame(rows)
    files = {"probe-2026/records/probe.csv": {"encoding": "utf-8", "separator": ";", "rows": len(rows),
                                              "used": len(rows) - 2,
                                              "set_aside": 2,
                                              "columns": {"Build": "engine", "Remark": ""}}}  # fmt: skip
    empty = pd.DataFrame(columns=list(frame.columns))
    return [
        FixtureAnalysis(of.programs[0], {"probe": Readings(empty)}, {}, (), (), {}),
        FixtureAnalysis(
            program, {"probe": Readings(frame, (problem,), files)}, values, tuple(verdicts), (problem,),
            {"probe-2026/records/probe.csv": "ab" * 32},
        ),
    ]  # fmt: skip


# ---- what the stream says on its pages ------------------------------------------------------------------------------


def _phases(view: View) -> list[dict[str, Any]]:
    known = {id_: DISTANCES[i] for i, id_ in enumerate(PHASES)}
    return [{"x": i, "label": phase.title, "under": known[phase.id]} for i, phase in enumerate(view.phases)]


def _line(view: View, build: Build, cylinder: int, name: str, **more: Any) -> list[dict[str, Any]]:
    places = {phase.id: i for i, phase in enumerate(view.phases)}
    rows = []
    for phase, x in places.items():
        value = view.value(AREA.id, phase, engine=build, cylinder=cylinder)
        if value is None or value.value is None:
            continue
        part = "a2" if build.id == "B2" and phase in {"refit", "durability"} else "a1"
        row = {
            "line": name,
            "x": x,
            "value": value.value,
            "part": part,
            "cold": phase in {"cold-build", "refit"},
            **more,
        }
        rows.append((row, value))
    if rows and "coating" in more:
        rows[-1][0]["label"] = name
    return [row for row, _ in rows]


def _answer(view: View) -> Sequence[Block]:
    if not view.program.builds:
        return ()
    cell = Cell("B2 cylinder 2", href=view.href_cylinder("B2", 2))
    return (Text((Cell("Soft rings seat sooner, except "), cell, Cell(".")), "lead"), Text((Cell("Three builds."),)))


def _slope(view: View) -> Sequence[Block]:
    panels = []
    for coating in view.program.coatings:
        thin, means = [], []
        for build in view.builds:
            for place in build.places:
                own = place.coating == coating
                thin += _line(
                    view, build, place.cylinder, f"{build.id}.{place.cylinder}", **({"coating": coating} if own else {})
                )
            if build.coating_of(1) == coating:
                rows = _line(view, build, 1, build.id, coating=coating)
                means += [
                    {**r, "low": r["value"] - 0.05, "high": r["value"] + 0.05, "open": r["x"] == 3, "tip": "a tip"}
                    for r in rows
                ]
        data = {"phases": _phases(view), "thin": [{**r, "label": ""} for r in thin], "means": means,
                "limits": [{"value": 0.35, "label": "limit 0.35"}]}  # fmt: skip
        panels.append(Panel(view.coating_title(coating), data, coating=coating, note="two builds"))
    return (Figure("area-by-phase", "slope", panels, "Every cylinder fell.", "Area in mm²."),)


def _history(view: View) -> Sequence[Block]:
    build = view.the_build
    rows = _line(view, build, view.cylinder, "own", coating=build.coating_of(view.cylinder))
    means = [{**r, "label": "", "low": r["value"] - 0.04, "high": r["value"] + 0.04,
              "text": words.number(r["value"], 2),
              "tip": f"mean {NASTY}"} for r in rows]  # fmt: skip
    thin: list[dict[str, Any]] = []
    for place in build.places:
        if place.cylinder != view.cylinder:
            thin += _line(view, build, place.cylinder, str(place.cylinder))
    if thin:
        thin[-1]["label"] = "cyl. 1, 3, 4"
    readings = [{"x": r["x"], "value": r["value"] + d, "crossed": False} for r in rows for d in (-0.02, 0.02)]
    readings.append({"x": 2, "value": 0.12, "crossed": True, "label": "left out"})
    last = {"x": len(view.phases) - 1, "crossed": False}
    readings += [{**last, "value": 0.309}, {**last, "value": 0.31}, {**last, "value": 0.311}]
    readings.append({**last, "value": 0.312, "crossed": True, "label": "left out"})
    panel = Panel(
        "",
        {"phases": _phases(view), "means": means, "thin": thin, "readings": readings,
         "limits": [{"value": 0.35, "label": "limit 0.35"}],
         "band": [{"low": 0.05, "high": 0.1, "label": "end gaps alone"}]},
        coating=build.coating_of(view.cylinder), label="History of the cylinder",
    )  # fmt: skip
    table = Table("history-data", (Column("Phase"), Column("Area", "mm²", True, AREA.id)),
                  [Row((Cell(str(r["x"])), Cell(words.number(-r["value"], 3)))) for r in rows])  # fmt: skip
    return (Figure("history", "history", (panel,), "It fell.", "Bars: 95 % intervals.", table, measure=AREA.id),)


def _dots(view: View) -> Sequence[Block]:
    lines: list[ChartRow] = [{"y": i, "label": b.id, "under": "plain steel"} for i, b in enumerate(view.program.builds)]
    dots: list[ChartRow] = []
    means: list[ChartRow] = []
    for i, build in enumerate(view.program.builds):
        for place in build.places:
            value = view.value(AREA.id, "run-in-60", engine=build, cylinder=place.cylinder)
            if value is not None:
                dots.append(
                    {
                        "y": i,
                        "value": value.value,
                        "coating": place.coating,
                        "crossed": place.cylinder == 3,
                        "tip": "dot",
                    }
                )
        means.append({"y": i, "value": 0.45, "low": 0.4, "high": float("inf"), "open": i == 2, "coating": "hard"})
    panel = Panel(
        "", {"lines": lines, "dots": dots, "means": means, "limits": [{"value": 0.35, "label": "limit 0.35"}]}
    )
    return (Figure("dots-by-build", "dots", (panel,), "Dots by build."),)


def _strip(view: View) -> Sequence[Block]:
    build = view.the_build
    plans = [
        Plan(title, [Disc(p.cylinder, words.number(level(build, p.cylinder, i), 2), "mm²", p.coating,
                          share=level(build, p.cylinder, i))
                     for p in build.places], me=view.cylinder)
        for i, title in enumerate(TITLES)
    ]  # fmt: skip
    return (Plans(plans, "Largest since the run-in.", "Area of each disc: probe area.", small=True),)


class Probe(Recorded):
    """A reading of the probe."""

    area: float


def _readings(view: View) -> Sequence[Block]:
    rows = [
        Row((Cell(r.phase), Cell(words.number(r.area, 3)), Cell(view.why(r.use) if r.use else "used", note=r.file)),
            here=bool(r.use), anchor=r.reading)
        for r in view.records("probe", Probe)
    ]  # fmt: skip
    columns = (Column("Phase"), Column("Area", "mm²", True, AREA.id), Column("Use", measure="known.nowhere"))
    return (
        Table("readings", columns, rows, "Every reading.", "Readings", wide=True),
        Text(
            (
                Cell(
                    "state ",
                ),
                Cell("seated", word=True),
            )
        ),
    )


STREAM = Stream(
    name="probe",
    title="probe",
    order=10,
    fields=(Field("cylinder", "cylinder", "integer"),),
    read=lambda _program, _sources: Readings(pd.DataFrame()),
    steps=(Step("probe", (AREA, RATIO), lambda *_: ()),),
    sections=(
        Section("answer", "Answer", 0, "program", _answer),
        Section("area", "Area by phase", 10, "program", _slope),
        Section("dots", "Dots", 20, "program", _dots),
        Section("area", "Area by phase", 10, "engine", _slope),
        Section("history", "History", 0, "cylinder", _history),
        Section("neighbours", "Among its neighbours", 10, "cylinder", _strip),
        Section("readings", "Every reading", 20, "cylinder", _readings),
    ),
    recorded=(AREA.id,),
    cautions=("Lock out the fuel.",),
)
MEASURES = {measure.id: measure for measure in (AREA, RATIO)}
