"""The files of a new program as text: program file, definitions, empty tables, notes, and what git is told."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterable, Mapping, Sequence

from sitegen.crossing import allocation
from sitegen.declarations import Stream
from sitegen.program.yamltext import quantity, scalar
from sitegen.starting.answers import Answers, NewPhase
from sitegen.vocabulary import Field

# Unit of a column by the dimension of its field; where a dimension is not named here, the first spelling of `units`.
_COLUMN_UNITS: Mapping[str, Mapping[str, str]] = {
    "metric": {
        "gauge pressure": "kPa gauge", "absolute pressure": "kPa absolute", "pressure difference": "kPa",
        "length": "mm", "mass": "g", "temperature": "degC", "time": "min", "volume": "mL", "force": "N",
        "actual flow": "actual L/min", "angle": "deg", "speed": "rpm", "torque": "N m", "ratio": "%",
    },
    "us": {
        "gauge pressure": "psig", "absolute pressure": "psia", "pressure difference": "psi", "length": "in",
        "mass": "g", "temperature": "degF", "time": "min", "volume": "qt", "force": "lbf", "actual flow": "ACFM",
        "angle": "deg", "speed": "rpm", "torque": "lb-ft", "ratio": "%",
    },
}  # fmt: skip

_SHORT = 9e4  # s: an interval that lasts at most a day is timed in seconds

# Kinds of phase in which a kind of record is usually made; "first": at the first check only. Others: at teardown.
_USUAL: Mapping[str, tuple[str, ...]] = {
    "buildsheet": ("first", "teardown"),
    "leakdown": ("static-check", "run", "pulls", "durability"),
    "runlog": ("run", "pulls", "durability"),
    "events": ("run", "pulls", "durability"),
    "oil": ("run", "pulls", "durability"),
    "pulls": ("pulls",),
    "friction": ("pulls",),
    "surfaces": ("first", "teardown"),
    "layers": ("first",),
    "gaugestudy": ("first",),
    "compression": ("first", "pulls"),
    "decay": ("first", "pulls"),
    "inspection": ("teardown",),
}


# ---- definitions ----------------------------------------------------------------------------------------------------


def definitions(answers: Answers, schema: str) -> str:
    """definitions.yaml of a programs folder that has none."""
    lines = [
        f"# yaml-language-server: $schema={schema}",
        "# Shared by every program of this folder. Ids are unique across the whole file: a coating keeps its page, its",
        "# colour, its point shape and its dash over all programs, in the order given here. Append, do not reorder.",
        "format: 1",
    ]
    for section, body in _sections(answers):
        lines += ["", f"{section}:", *body]
    lines += [
        "",
        "# What the tables may name as well, when there is some:",
        "# reference_orifices:",
        "#   R1: {title: reference orifice 0.70 mm, diameter: 0.70 mm, tolerance: 0.003 mm}",
        "# tools:",
        "#   balance-1: {title: analytical balance, kind: balance, limit: 0.5 mg}",
        "#   feeler-1: {title: feeler gauges, kind: feeler, limit: 0.02 mm}",
        "# oils:",
        "#   gas-40: {title: gas engine oil, grade: SAE 40, density: 0.885 kg/L}",
        "# meters:",
        "#   M1: {title: blow-by meter, principle: positive-displacement, scale: actual}",
        "# laboratories:",
        "#   lab-1: {title: oil laboratory, method: ICP, reported_to: 0.1 mg/kg}",
    ]
    return "\n".join(lines) + "\n"


def to_add(answers: Answers) -> str:
    """What a definitions.yaml that is already there has still to be given; "" nothing."""
    lines: list[str] = []
    for section, body in _sections(answers):
        lines += [f"{section}:", *body]
    return "\n".join(lines)


def _sections(answers: Answers) -> list[tuple[str, list[str]]]:
    """New definitions by section."""
    made: list[tuple[str, list[str]]] = []
    coatings = [each for each in (answers.reference, *answers.candidates) if each.new]
    if coatings:
        body = []
        for each in coatings:
            body += [f"  {each.id}:", f"    title: {scalar(each.title)}"]
        body += [
            "    # of each, as far as known: process, hardness: 1100 HV, tracers: [Cr], layers, outermost first:",
            "    # layers: {soft: {thickness: 6 um, tolerance: 1 um, running_in: true}, hard: {thickness: 15 um}}",
        ]
        made.append(("coatings", body))
    kind = answers.engine_type
    if kind.new:
        made.append((
            "engine_types",
            [
                f"  {kind.id}:",
                f"    title: {scalar(kind.title)}",
                f"    cylinders: {kind.cylinders}",
                f"    bore: {quantity(kind.bore)}",
                f"    stroke: {quantity(kind.stroke)}",
                "    # layout: inline          vee, flat; strokes: 2 for two-stroke engines",
                "    # firing_order: [1, 3, 4, 2]",
                "    # rod: 165 mm; rated_speed: 2000 rpm; oil_charge: 5.2 kg; fuel: natural gas",
            ],
        ))  # fmt: skip
    testers = [each for each in answers.testers if each.new]
    if testers:
        body = []
        for tester in testers:
            body += [
                f"  {tester.id}:",
                f"    title: {scalar('tester ' + tester.id)}",
                f"    orifice: {quantity(tester.orifice)}",
                f"    gauge_class: {quantity(tester.gauge_class)}   # limit of error of each gauge",
                *_scale(tester.linear),
                "    # orifice_tolerance: 0.0005 in",
                "    # calibrations:                 # a reading outside every calibration is set aside",
                "    #   - {on: 2026-01-12, due: 2027-01-12, checks: [{at: 80 psig, found: 80.1 psig}]}",
            ]
        made.append(("testers", body))
    return made


def _scale(linear: bool | None) -> list[str]:
    """What the scale of a tester in per cent means; nothing where its gauges show pressure."""
    if linear is None:
        return []
    means = "0 % is no leak, 100 % no pressure left, and the marks between stand evenly"
    return [
        "    scale: percent",
        f"    percent_linear: {'true' if linear else 'false'}".ljust(32)
        + f"# {means if linear else 'no leak area comes from it'}",
    ]


# ---- the program file -----------------------------------------------------------------------------------------------


def program(answers: Answers, streams: Sequence[Stream], schema: str) -> str:
    """program.yaml, with comments that say what each part is for."""
    primary = primary_phase(answers.phases)
    lines = [
        f"# yaml-language-server: $schema={schema}",
        "# Every quantity carries its unit. `sitegen check` tells what is wrong, with line and column; `sitegen key",
        "# to_lose` explains one key, schemas/README.md every one.",
        "format: 1",
        f"title: {scalar(answers.title)}",
        f"question: {scalar(answers.question)}",
        "",
        "compare:",
        f"  reference: {answers.reference.id}",
        f"  candidates: [{', '.join(each.id for each in answers.candidates)}]",
        f"  primary: {{measure: leakdown.crankcase, phase: {primary.id}}}   # what the answer rests on",
        "  # worth_finding: 15 %         # the least difference that would matter; `sitegen plan` then says how many",
        "  #                             # builds it takes",
        f"  planned_builds: {len(answers.builds)}",
        f"  allocation: {{scheme: {answers.scheme}, seed: {answers.seed}}}   # lots drawn from the seed, see builds",
        "",
        "# Limits stated before the first reading; they are kept with a hash and answered as the data come in.",
        "# criteria:",
        "#   stated: 2026-01-31",
        "#   list:",
        "#     - id: level-after-run-in",
        "#       title: Leak area after the run-in, every cylinder",
        "#       measure: leakdown.crankcase",
        f"#       phase: {primary.id}",
        "#       at_most: 0.35 mm2",
        "#       scope: every cylinder",
        f"#       coatings: [{answers.candidates[0].id}]",
        "",
        "seating:                        # when a cylinder counts as seated. Placeholders: state your own",
        "  to_lose: 0.03 mm2             # limits before the first reading. Leak still to lose at most ...",
        "  level: 0.35 mm2               # ... and leak area to the crankcase at most",
    ]
    if few := few_checks(answers.phases):
        lines += [f"  # {line}" for line in few]
    if any(each.kind == "durability" for each in answers.phases):
        last = [each for each in answers.phases if each.kind in {"run", "pulls"}]
        lines += [f"  # fit_through: {last[-1].id}".ljust(32) + "# the last phase of the seating curve"] if last else []
    lines += [
        "",
        "leakdown:                       # the one condition a curve holds; other readings are kept apart",
        f"  supply: {quantity(answers.supply)}",
        "  oil: dry",
        "  # What a reading has to keep to; one that does not is kept apart. Warm is from 40 degC, cold up to 40 degC:",
        "  # metal: {warm: {from: 50 degC, to: 70 degC}, cold: {to: 35 degC}}",
        "  # since_stop: {from: 5 min, to: 45 min}   # of warm readings",
        "  # approached: [running-direction, turned-back-half-turn]",
        "  # locked: true                # only with the lock the engine's maker provides",
        "  # turns: 2                    # of the crankshaft between tests, at least; wait: {from: 20 s}",
        "",
        *(
            [
                "# Full-load pulls are told at the reference air of one standard, by band; inertia is for sweeps:",
                "# power:",
                "#   standard: ISO 3046-1        # or SAE J1349, SAE J607, ISO 1585",
                "#   bands: [{from: 1200 rpm, to: 1700 rpm}, {from: 1700 rpm, to: 2200 rpm}]",
                "#   inertia: 1.2 kg m2",
                "#   compensated: false          # true where the bench adds what speeds its masses up",
                "",
            ]
            if "pulls" in answers.records
            else []
        ),
        "# How near to its schedule a logged run has to stay:",
        "# run: {speed_band: 50 rpm, torque_band: 10 N m, held: 90 %}",
    ]
    if "inspection" in answers.records:
        lines += [
            "",
            "inspection:                     # grades by eye: your own scale, and which end of it is the best",
            "  grades: {1: evenly run in, 2: single light marks, 3: marks over part, 4: marks all round, 5: torn}",
            "  best: 1",
        ]
    lines += ["", "phases:                         # in order; records: what is planned in each"]
    for each in answers.phases:
        lines += _phase(each, answers, primary)
    lines += ["", "builds:                         # one assembly of one engine each: the unit that is repeated"]
    lines += _builds(answers)
    lines += ["", *_records(answers, streams), "", "notes: notes.md"]
    return "\n".join(lines) + "\n"


CURVE = 4  # checks after the first start that a seating curve takes


def few_checks(phases: Sequence[NewPhase]) -> list[str]:
    """What is said where the phases can never give a seating curve; nothing where they can."""
    durable = next((n for n, each in enumerate(phases) if each.kind == "durability"), len(phases))
    fired = [each for each in phases if each.kind in {"run", "pulls", "durability"}]
    before = [each for each in fired if phases.index(each) < durable]
    if len(before) >= CURVE:
        return []
    lines = [
        f"These phases give {len(before) or 'no'} check{'s' * (len(before) != 1)} after a start before any durability",
        f"run, and a seating curve takes {CURVE}: whether a cylinder is seated may never be told. Plan more stops, or",
    ]
    if len(fired) < CURVE:
        return [*lines, "judge by the leak area alone."]
    return [*lines, f"let the curve go on, if its wear is small beside seating: fit_through: {fired[-1].id}"]


def primary_phase(phases: Sequence[NewPhase]) -> NewPhase:
    """The phase the answer rests on: the last pulls, else the last run before any durability run, else the last run."""
    for kinds in ({"pulls"}, {"run"}, {"durability"}):
        found = [each for each in phases if each.kind in kinds]
        if found:
            return found[-1]
    raise AssertionError("the engine runs in no phase")


def planned(phase: NewPhase, records: Iterable[str], phases: Sequence[NewPhase]) -> list[str]:
    """Kinds of record planned in a phase."""
    first = phase.id == phases[0].id and phase.kind == "static-check"
    found = []
    for name in records:
        usual = _USUAL.get(name, ("teardown",))
        if phase.kind in usual or (first and "first" in usual):
            found.append(name)
    return found


def _phase(phase: NewPhase, answers: Answers, primary: NewPhase) -> list[str]:
    lines = [
        f"  - id: {phase.id}",
        f"    title: {scalar(phase.title)}",
        f"    kind: {phase.kind.replace('-', ' ')}",
    ]
    if phase.kind == "run":
        lines.append("    stage: run-in")
    if phase.condition:
        lines.append(f"    condition: {phase.condition}")
    names = planned(phase, answers.records, answers.phases)
    if names:
        lines.append(f"    records: [{', '.join(names)}]")
    if phase.kind not in {"run", "pulls", "durability"}:
        return lines
    speed, time = quantity(answers.speed or "1500 rpm"), quantity(phase.time or "10 min")
    known = bool(answers.speed and phase.time)
    mark = "    " if known else "    # "
    lines += [
        f"{mark}schedule:" + ("" if known else "                   # what is planned, step by step"),
        f"{mark}  - {{time: {time}, speed: {speed}}}" + ("" if phase.id != primary.id else _HINT),
    ]
    return lines


_HINT = "   # add torque: 60 N m, and reference_point: true where blow-by is compared"


def lots(answers: Answers) -> allocation.Lots:
    """Coating by cylinder of each build, drawn from the seed."""
    coatings = [answers.reference.id, *(each.id for each in answers.candidates)]
    cylinders = [answers.engine_type.cylinders] * len(answers.builds)
    if answers.scheme == "mixed in engine":
        return allocation.mixed(coatings, cylinders, answers.seed)
    if answers.scheme == "whole builds":
        return allocation.whole_builds(
            [coatings[n % len(coatings)] for n in range(len(cylinders))], cylinders, answers.seed
        )
    return allocation.in_rounds(coatings, cylinders, answers.seed)


def _builds(answers: Answers) -> list[str]:
    lines: list[str] = []
    for number, (build, drawn) in enumerate(zip(answers.builds, lots(answers), strict=True), start=1):
        if len(set(drawn)) == 1:
            rings = f"{{all: {{coating: {drawn[0]}}}}}"
        else:
            rings = f"{{{', '.join(f'{n}: {{coating: {coating}}}' for n, coating in enumerate(drawn, start=1))}}}"
        first = number == 1
        lines += [
            f"  - id: {build}",
            f"    block: block-{number}"
            + ("              # the number stamped on it; a block may be built again" * first),
            "    number: 1" + ("                    # which build of that block this is" * first),
            f"    engine_type: {answers.engine_type.id}",
            f"    rings: {rings}" + ("   # a lot of rings: {coating: ..., lot: N-204}" * first),
        ]
        if first:
            lines.append("    # operator: M. A.; cell: north; oil: id of an oil in definitions.yaml")
    return lines


def _records(answers: Answers, streams: Sequence[Stream]) -> list[str]:
    """The record entries, and how others are added."""
    lines = [
        "# Tables filled in by hand or from elsewhere: CSV, TSV, XLSX or Parquet, several of a kind if you like.",
        "# Headers of your own need `columns`, words `words`; `sitegen look FILE --as leakdown` proposes them.",
        "records:",
    ]
    tables = [each for each in streams if each.name in answers.records and each.fields]
    for each in tables:
        lines += [f"  {each.name}:", f"    - file: {table_name(each.name)}"]
    if "runlog" in answers.records:
        runs = [each for each in answers.phases if each.kind in {"run", "pulls", "durability"}]
        lines += [
            "  # One entry reads all logs named by build and phase; `sitegen look logs/FILE --as runlog` proposes it:",
            "  # runlog:",
            f"  #   - files: logs/{{engine}}_{{phase}}*.csv   # such as logs/{answers.builds[0]}_{runs[0].id}.csv",
            "  #     time: {column: Time, unit: s}",
            "  #     channels:",
            "  #       speed: {header: Speed, unit: rpm}",
            "  #       torque: {header: Torque, unit: N m}",
        ]
    return lines


def table_name(stream: str) -> str:
    """Where the empty table of a stream is put, from the program's folder."""
    return f"records/{stream}.csv"


def table(stream: Stream, answers: Answers) -> str:
    """An empty table: a header of every field, with the unit its numbers are in."""
    return ",".join(heading(each, answers) for each in stream.fields if each.name != "reading") + "\r\n"


def heading(field: Field, answers: Answers) -> str:
    """`field [unit]`, or the field alone where it has no unit."""
    if field.kind not in {"number", "bounded"} or not field.dimension:
        return field.name
    return f"{field.name} [{column_unit(field, answers)}]"


def column_unit(field: Field, answers: Answers) -> str:
    """The unit a column is filled in with; gauges are read in the unit the supply pressure is stated in."""
    from sitegen import units

    if field.dimension == "gauge pressure":
        return units.split(answers.supply)[1]
    if field.dimension == "time" and field.high is not None and field.high <= _SHORT:
        return "s"
    return _COLUMN_UNITS[answers.units].get(field.dimension) or units.DIMENSIONS[field.dimension].spellings[0]


# ---- beside them ----------------------------------------------------------------------------------------------------


def notes(answers: Answers) -> str:
    """notes.md, shown on the program page."""
    first = answers.builds[0]
    return (
        "What was decided, what went otherwise than planned, and why. Markdown; the page of the program shows it.\n\n"
        f"Links lead to pages by subject: [{first}](build:{first}), "
        f"[{answers.reference.title}](coating:{answers.reference.id}), [how it is worked out](measure:leakdown.area).\n"
        "\n## Caution\n\n"
        "Local codes, licensed practice, the site's rules and a competent person come first. Before a leak-down check\n"
        "lock out fuel or gas and ignition; the crankshaft can turn under the air. Write here what ends a run at this\n"
        "cell, and who decides.\n"
    )


GIT_ATTRIBUTES = (
    "# Records are evidence: their bytes, line ends among them, stay as they came.\n"
    "*/records/** -text\n"
    "*/logs/** -text\n"
    "*/images/** -text\n"
    "*/results/** text eol=lf\n"
)


def pre_commit(programs: str) -> str:
    """A pre-commit configuration that checks the programs folder; `programs` from the top of the repository."""
    return (
        "# Checks the programs before each commit: pip install pre-commit && pre-commit install\n"
        "repos:\n  - repo: local\n    hooks:\n" + hook(programs)
    )


def hook(programs: str) -> str:
    """The entry of the list of hooks that runs the check."""
    files = "" if programs == "." else f"        files: {json.dumps('^' + re.escape(programs) + '/')}\n"
    return (
        "      - id: sitegen-check\n"
        "        name: sitegen check\n"
        f"        entry: {scalar('sitegen check ' + shlex.quote(programs))}\n"
        "        language: system\n"
        "        pass_filenames: false\n" + files
    )
