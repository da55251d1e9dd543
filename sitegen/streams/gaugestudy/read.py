"""Records of gauge studies to readings."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.methods.gauge_study import MANY, lacking
from sitegen.page.words import counted, listed
from sitegen.program.model import Program, RecordSource
from sitegen.streams.gaugestudy.fields import FIELDS, Reading
from sitegen.streams.gaugestudy.studies import Study, Thing, split_by_coating, studies
from sitegen.tables.checks import in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.tables.rows import rows_of
from sitegen.vocabulary import Readings

_ALL = "every object read equally often by every operator"
MOST_NAMED = 8  # pairs of object and operator of an unbalanced study that are named


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all gauge studies; see `tables.reading.read_stream`."""
    return read_stream(program, sources, FIELDS, (_subject, _figure, _calibrated, _anew, _repeats, _studies))


def _subject(program: Program, sheet: Sheet) -> None:
    """A reading is of a cylinder of a build, of a reference orifice or of a leak standard."""
    del program
    frame = sheet.frame
    many = frame[["cylinder", "reference", "standard"]].notna().sum(axis=1)
    one = "one of a cylinder of a build, a reference orifice, a leak standard"
    sheet.set_aside(many > 1, "object-twice", "standard", "more than one object is entered", one)
    sheet.set_aside(many == 0, "object-missing", "cylinder", "nothing says what was read", one)
    alone = frame["cylinder"].notna() & frame["engine"].isna()
    sheet.set_aside(alone, "object-missing", "engine", "nothing says whose cylinder was read", "the id of its build")


def _figure(program: Program, sheet: Sheet) -> None:
    """Something was read, and it can be what a leaking object gives."""
    frame, testers = sheet.frame, program.definitions.testers
    pressure = frame["pressure"]
    sheet.set_aside(pressure.isna() & frame["percent"].isna(), "no-figure", "pressure",
                    "neither pressure nor percent is entered", "what the cylinder gauge showed")  # fmt: skip
    sheet.set_aside(pressure == 0, "zero-pressure", "pressure",
                    "the cylinder gauge is entered as zero: a gauge not read, or an open valve",
                    "a pressure above zero; an empty field where nothing was read")  # fmt: skip
    margin = frame["tester"].map({name: each.gauge_class for name, each in testers.items()}).to_numpy(dtype=float)
    above = (pressure - frame["supply"]).to_numpy(dtype=float) > margin
    sheet.set_aside(above, "above-supply", "pressure", "the cylinder gauge is above the supply by more than its class",
                    "a cylinder pressure at or below the supply")  # fmt: skip


def _calibrated(program: Program, sheet: Sheet) -> None:
    in_force(sheet, "tester", program.definitions.testers)


def _anew(program: Program, sheet: Sheet) -> None:
    del program
    what = "the gauge was read again without setting up anew"
    sheet.set_aside(sheet.frame["anew"] == "no", "not-set-up-anew", "anew", what,
                    "pressure off, hose off, engine turned over twice, dead centre found again")  # fmt: skip


def _repeats(program: Program, sheet: Sheet) -> None:
    del program
    state = sheet.frame[["study", "tester", "operator", "engine", "cylinder", "reference", "standard", "repeat"]]
    why = "this operator read the same object, without another repeat number, in"
    same_again(sheet, state, sheet.open, "repeat", why)


def _studies(program: Program, sheet: Sheet) -> None:
    """Tell of each study what keeps it from being analysed, or what it cannot tell; its readings stay in use."""
    rows = [row for at, row in enumerate(rows_of(sheet.frame, Reading)) if not sheet.use[at]]
    place = {name: at for at, name in reversed(list(enumerate(sheet.frame["reading"].tolist())))}
    for study in studies(rows):
        at = place[study.rows[0].reading]
        if split_by_coating(program, study):
            what = (
                f"in the study {study.name} each operator read one coating only: operator and coating cannot be told "
                "apart"
            )
            step = "let every operator read every object; until then the study is not analysed"
            sheet.tell(at, "operators-split-by-coating", "operator", what, _ALL, next_step=step)
        elif study.short_of:
            what = f"the study {study.name} with {study.tester} is not balanced: {missing(study)}"
            step = "take what is missing, or take the object out; until then the study is not analysed"
            sheet.tell(at, "gauge-unbalanced", "repeat", what, _ALL, next_step=step)
        elif len(study.operators) < MANY:
            what = (
                f"the study {study.name} has {counted(len(study.operators), 'operator')}: it tells the scatter of "
                "repeats, and not that of operators"
            )
            step = "let more operators read the same objects, or leave it"
            sheet.tell(at, "few-operators", "operator", what, f"{MANY} operators or more", next_step=step)


def missing(study: Study) -> str:
    """What is missing to a balanced study: "of B2 cylinder 1 one reading by K. L. is missing"."""
    cells = lacking(study.places, MOST_NAMED)
    said = [f"of {what.told} {counted(n, 'reading')} by {who}" for what, who, n in cells if isinstance(what, Thing)]
    total = study.short_of
    if (more := total - sum(n for *_, n in cells)) > 0:
        said.append(f"{more} more")
    return f"{listed(said)} {'is' if total == 1 else 'are'} missing"
