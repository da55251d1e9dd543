"""All field sheets of a program as a mapping from path to bytes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sitegen.declarations import Blank, Stream
from sitegen.page.addresses import slug, slugs
from sitegen.pages.site import check_theme, environment, theirs, themed
from sitegen.program.model import Build, Phase, Program
from sitegen.sheets import calibrating, paper, running
from sitegen.sheets.columns import Columns, Written, choose, in_units_of, instrument, written
from sitegen.sheets.contexts import AnySheetPage, BuildLines, Packet, PacketLine, Sheet, SheetList, TableLinks
from sitegen.sheets.entries import entries
from sitegen.sheets.tables import EmptyTable, as_text, as_workbook

TABLES = "tables"  # folder of the empty tables
_OIL = "oil"
_RUNS = "runlog"
_EVENTS = "events"  # never planned, always to hand where an engine runs


@dataclass(frozen=True)
class Sheets:
    """Every file: path from the root of the folder, with forward slashes, to content."""

    pages: Mapping[str, bytes]  # may be made again at any time
    tables: Mapping[str, bytes]  # may have been filled in since
    count: int  # sheets on paper


def make(
    program: Program,
    streams: Sequence[Stream],
    builds: Sequence[str] = (),
    phases: Sequence[str] = (),
    theme_dir: Path | None = None,
) -> Sheets:
    """Field sheets and empty tables of these builds and phases; none named: of all.

    Raises pages.site.ThemeError for a theme folder, or a template in it, that cannot be used.
    """
    check_theme(theme_dir)
    maker = _Maker(program, streams, theme_dir)
    chosen = [build for build in program.builds if not builds or build.id in builds]
    lines = []
    for build in chosen:
        own = [phase for phase in program.phases_of(build) if not phases or phase.id in phases]
        if (found := maker.build(build, own)) is not None:
            lines.append(found)
    return maker.finished(lines, whole=not builds and not phases)


class _Maker:
    def __init__(self, program: Program, streams: Sequence[Stream], theme_dir: Path | None) -> None:
        self._program = program
        self._streams = {stream.name: stream for stream in streams}
        self._written = {stream.name: written(program, stream) for stream in streams if stream.fields}
        self._style = themed("sheets.css", theme_dir).decode()
        self._print = _printer(theme_dir)
        self._pages: dict[str, bytes] = {}
        self._tables: list[EmptyTable] = []
        self._count = 0
        self._folders = slugs((build.id for build in program.builds), taken=(TABLES, "index"))
        self._taken = {Path(source.file).stem.casefold() for source in program.records}
        self._any_oil = any(_OIL in phase.records for phase in program.phases)

    def build(self, build: Build, phases: Sequence[Phase]) -> BuildLines | None:
        """The files of a build: one a phase, its labels, and all of them in one; None without any work on paper."""
        self._samples: list[tuple[str, Phase]] = []
        self._sheets: list[Sheet] = []
        packets = [line for phase in phases if (line := self._packet(build, phase)) is not None]
        oil = self._streams.get(_OIL)
        if self._samples and oil is not None:
            first = self._samples[0][1]
            steps = oil.blank(self._program, build, first).steps if oil.blank else ()
            labels = running.labels(self._program, build, self._samples, self._facts(build), oil.cautions, steps)
            path = self._file(build, "labels", f"{build.id}, all phases", [labels])
            packets.append(PacketLine("all phases", path, labels.title.lower(), ()))
        if not packets:
            return None
        named = "" if build.title == build.id else f", {build.title}"
        whole = self._file(build, "all", f"{build.id}, all sheets", self._sheets)
        return BuildLines(f"{build.id}{named} ({_block(build)})", packets, whole)

    def _file(self, build: Build, name: str, title: str, sheets: Sequence[Sheet]) -> str:
        """Sheets on one page for paper, which is put among the pages; its path."""
        path = f"{self._folders[build.id]}/{name}.html"
        program = self._program
        self._put(Packet(path, title, program.title, self._style, sheets, program.invented))
        if name != "all":
            self._count += len(sheets)
            self._sheets += [replace(each, anchor=f"{name}-{each.anchor}") for each in sheets]
        return path

    def _packet(self, build: Build, phase: Phase) -> PacketLine | None:
        """One file with every sheet of a build and phase; None where there is no work on paper."""
        facts = self._facts(build)
        running_head = f"{self._program.title} · {build.id} · {phase.title}"
        runs = self._streams[_RUNS].cautions if _RUNS in self._streams else ()
        sheets: list[Sheet] = []
        tables: list[EmptyTable] = []
        samples: list[str] = []
        not_asked: list[str] = []
        if phase.schedule:
            sheets.append(running.schedule(self._program, phase, facts, runs, running_head))
        for name, stream in self._streams.items():
            planned = name in phase.records and self._program.planned_cylinders(build, name)
            always = (name == _EVENTS and phase.fires) or (name == _OIL and self._oiled(build, phase))
            if stream.fields and (planned or always):
                sheet, table, blank = self._stream(stream, build, phase, facts, running_head)
                sheets.append(sheet)
                tables.append(table)
                samples += blank.labels
                if without := paper.not_asked(stream, blank, table.columns):
                    not_asked.append(f"{stream.title}: {', '.join(without)}")
        if not samples and phase.fires and (_OIL in phase.records or not self._any_oil):
            samples = [f"{build.id}-{phase.id}"]
        self._samples += [(each, phase) for each in samples]
        if not sheets:
            return None
        title = f"{build.id}, {phase.title}"
        path = self._file(build, slug(phase.id), title, [replace(each, of=title) for each in sheets])
        self._tables += tables
        return PacketLine(
            phase=phase.title,
            href=path,
            sheets=", ".join(sheet.title.lower() for sheet in sheets),
            tables=[
                TableLinks(self._streams[t.stream].title, f"{TABLES}/{t.name}.csv", f"{TABLES}/{t.name}.xlsx")
                for t in tables
            ],
            not_asked=not_asked,
        )

    def _oiled(self, build: Build, phase: Phase) -> bool:
        """Whether oil of a build with a balance of it may be filled, topped up or drained in a phase."""
        own = self._program.phases_of(build)
        if not any(_OIL in each.records for each in own):
            return False
        after = [each for each in own if each.order > phase.order]
        return phase.fires or (bool(after) and after[0].fires)

    def _facts(self, build: Build) -> list[str]:
        return [_block(build), build.engine_type.title, f"cell {build.cell}" if build.cell else ""]

    def _stream(
        self, stream: Stream, build: Build, phase: Phase, facts: Sequence[str], running_head: str
    ) -> tuple[Sheet, EmptyTable, Blank]:
        cylinders = [{"cylinder": str(each)} for each in self._program.planned_cylinders(build, stream.name)]
        if stream.blank is not None:
            blank = stream.blank(self._program, build, phase)
        else:
            blank = paper.blank_of(stream, cylinders)
        columns = choose(stream, self._written[stream.name], build, phase, blank)
        blank = in_units_of(columns, blank, stream)
        known = self._known(stream, build)
        sheet = paper.sheet(
            stream, blank, columns, f"{running_head} · {stream.title}", self._more(stream, build, phase, facts), known
        )
        return sheet, self._table(stream, build, phase, blank, columns, known), blank

    def _more(self, stream: Stream, build: Build, phase: Phase, facts: Sequence[str]) -> Sequence[str]:
        """Rings are named where they are measured; who reads a gauge is not told the coating."""
        asked = {each.name for each in stream.fields}
        if phase.condition and "condition" in asked:
            facts = [*facts, f"to be done {phase.condition}"]
        if "ring" not in asked:
            return facts
        titles = self._program.definitions.coatings
        lots: dict[str, list[str]] = {}
        for place in build.places:
            said = titles[place.coating].title + (f", lot {place.lot}" if place.lot else "")
            lots.setdefault(said, []).append(str(place.cylinder))
        return [*facts, *(f"cylinder{'s' if len(c) > 1 else ''} {', '.join(c)}: {said}" for said, c in lots.items())]

    def _known(self, stream: Stream, build: Build) -> dict[str, str]:
        tables: Sequence[Written] = self._written[stream.name]
        known = {}
        for what in stream.fields:
            if what.refers == "tester":
                defined = list(self._program.definitions.testers)
            elif what.refers == "tool":
                defined = []  # which tool reads what is the stream's to say: only what was used before is proposed
            else:
                continue
            if name := instrument(tables, what, build, defined):
                known[what.name] = name
        return known

    def _table(
        self, stream: Stream, build: Build, phase: Phase, blank: Blank, columns: Columns, known: Mapping[str, str]
    ) -> EmptyTable:
        same = {"engine": build.id, "phase": phase.id, **known}
        name, number = f"{stream.name}-{self._folders[build.id]}-{slug(phase.id)}", 2
        free = name
        while free.casefold() in self._taken:
            free, number = f"{name}-{number}", number + 1
        self._taken.add(free.casefold())
        definitions = self._program.definitions
        return EmptyTable(
            name=free,
            stream=stream.name,
            columns=columns,
            rows=[{**same, **row} for row in paper.told_apart(blank.rows, columns)],
            fields={each.name: each for each in stream.fields},
            known_ids={
                "engine": [each.id for each in self._program.builds],
                "phase": [each.id for each in self._program.phases],
                "tester": list(definitions.testers),
                "reference": list(definitions.reference_orifices),
                "tool": list(definitions.tools),
                "meter": list(definitions.meters),
                "coating": list(definitions.coatings),
                "oil": list(definitions.oils),
            },
        )

    def _calibrations(self) -> list[tuple[str, str]]:
        """A file for each instrument that is calibrated, and the entries to paste; text and link."""
        program, every = self._program, calibrating.there(self._program.definitions)
        files = slugs((each.id for each in every), taken=("index",))
        for one in every:
            sheet, path = calibrating.sheet(one, program.title), f"{calibrating.FOLDER}/{files[one.id]}.html"
            self._put(Packet(path, sheet.of, program.title, self._style, [sheet], program.invented))
        self._count += len(every)
        self._pages[calibrating.ENTRIES] = calibrating.entries(every).encode()
        return [(one.id, f"{calibrating.FOLDER}/{files[one.id]}.html") for one in every]

    def finished(self, builds: Sequence[BuildLines], whole: bool) -> Sheets:
        """Every file, with the list that leads to them; of a `whole` program calibrations of its instruments too."""
        files: dict[str, bytes] = {}
        pasted: list[tuple[str, str]] = []
        for table in self._tables:
            files[f"{TABLES}/{table.name}.csv"] = as_text(table)
            files[f"{TABLES}/{table.name}.xlsx"] = as_workbook(table)
        for ending in ("csv", "xlsx") if self._tables else ():
            name = f"{TABLES}/entries-{ending}.yaml"
            self._pages[name] = entries(self._tables, ending, self._program.words).encode()
            pasted.append((f"for the .{ending} tables", name))
        self._put(
            SheetList(
                calibrations=self._calibrations() if whole else (),
                path="index.html",
                title=f"Field sheets: {self._program.title}",
                program=self._program.title,
                style=self._style,
                builds=builds,
                entries=pasted,
                invented=self._program.invented,
            )
        )
        return Sheets(self._pages, files, self._count)

    def _put(self, page: AnySheetPage) -> None:
        self._pages[page.path] = self._print(page)


def _block(build: Build) -> str:
    return build.block if build.block.casefold().startswith("block") else f"block {build.block}"


def _printer(theme_dir: Path | None) -> Callable[[AnySheetPage], bytes]:
    templates = environment(theme_dir)

    def print_page(page: AnySheetPage) -> bytes:
        with theirs(theme_dir):
            return (templates.get_template(page.template).render(page=page).strip() + "\n").encode()

    return print_page
