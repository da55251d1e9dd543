"""Oil records: what is used, what is set aside and told with its row, and what a cell of a report may mean."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tables.house import Folder, column, program, told

from sitegen.declarations import Step
from sitegen.problems import as_text
from sitegen.program.model import Build, Laboratory, Oil, Program, RecordSource
from sitegen.reasons import CATALOGUE
from sitegen.streams.oil import STREAM
from sitegen.vocabulary import Book, Key, Readings, Value

HEAD = "sample,engine,phase,what,hours [h],mass [kg],laboratory,batch,Fe [mg/kg],Cr [mg/kg]\n"
LONG = "sample,engine,phase,what,mass [kg],laboratory,element,concentration [mg/kg]\n"
FILLED = ",B1,cold-build,fill,,5.2,,,,\n"
FIRST = "s1,B1,run-in-15,sample,,0.1,icp-1,1,6.0,1.0\n"
HOURS = {"cold-build": 0.0, "run-in-15": 0.25, "durability": 40.25, "teardown": 40.25}


def planned(folder: Path, records: tuple[RecordSource, ...] = ()) -> Program:
    """The small program of the table tests, with oil, two laboratories and oil among what its runs record."""
    plain = program(folder, records)
    definitions = replace(
        plain.definitions,
        oils={"gas-40": Oil("gas-40", "gas engine oil", density=885.0, fresh={"Fe": 1e-6, "Cr": 2e-7})},
        laboratories={
            "icp-1": Laboratory("icp-1", "first", "icp", detection={"Cr": 1e-7}),
            "disc-1": Laboratory("disc-1", "second", "rotating-disc"),
        },
    )
    builds = tuple(replace(build, oil="gas-40") for build in plain.builds)
    return replace(plain, definitions=definitions, builds=builds)


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def read(folder: Folder, rows: str, head: str = HEAD) -> Readings:
    source = folder.source(head + rows, name="oil.csv", stream="oil")
    found = STREAM.read(planned(folder.path, (source,)), (source,))
    assert len(found.frame) == sum(facts["rows"] for facts in found.files.values())  # no row is lost
    return found


def uses(found: Readings) -> list[object]:
    return column(found, "use")


def set_aside(found: Readings, row: int) -> str:
    """The one complaint about a row (counted from the header); all other rows are used."""
    (said,) = [line for line in told(found) if line.startswith(f"pump/oil.csv:{row}: ")]
    assert said.startswith(f"pump/oil.csv:{row}: warning: ")
    code = str(uses(found)[row - 2])
    assert code in CATALOGUE
    assert [use for at, use in enumerate(uses(found)) if at != row - 2] == [""] * (len(found.frame) - 1)
    return said


def concluded(folder: Folder, found: Readings, run: Step) -> dict[tuple[str, str, str], Value]:
    """Values of build B1 by measure, phase and place."""
    plan = planned(folder.path)
    build: Build = plan.build("B1")
    keys = {build.key(phase=phase): hours for phase, hours in HOURS.items()}
    hours = {("exposure.hours", key): Value("exposure.hours", key, value) for key, value in keys.items()}
    book = Book(hours, ("exposure.hours", "exposure.km", "exposure.energy"))
    results = run.run(plan, "B1", {"oil": found}, book)
    return {(each.measure, each.key.phase, each.key.at): each for each in results if isinstance(each, Value)}


# ---- bad input: each named by file and row ---------------------------------------------------------------------------


def test_oil_moved_with_no_fill(folder: Folder) -> None:
    """A drain without a fill is set aside; what a sample holds is used, and told as no part of a balance."""
    said = set_aside(read(folder, FILLED + FIRST + ",B6,run-in-15,drain,,4.1,,,,\n"), 4)
    assert "the engine was not filled before: no fill is on record" in said
    assert "a row of the fill, with its mass" in said
    found = read(folder, FILLED + FIRST + FIRST.replace("s1,B1", "s2,B6"))
    assert uses(found) == ["", "", ""]
    (told_of,) = told(found)
    assert "no fill of B6 with oil is on record before: concentrations are used, a balance is not made" in told_of


def test_more_drained_than_was_in(folder: Folder) -> None:
    said = set_aside(read(folder, FILLED + FIRST + ",B1,run-in-15,drain,,6.1,,,,\n"), 4)
    assert "6.1 kg left the engine, and no more than 5.1 kg were in it" in said


def test_a_drain_within_the_errors_of_weighing_is_used(folder: Folder) -> None:
    assert uses(read(folder, FILLED + FIRST + ",B1,run-in-15,drain,,5.1,,,,\n")) == ["", "", ""]


def test_a_top_up_makes_room_for_what_is_drained(folder: Folder) -> None:
    rows = FILLED + FIRST + ",B1,run-in-15,top-up,0.2,1.2,,,,\n,B1,run-in-15,drain,,6.1,,,,\n"
    assert uses(read(folder, rows)) == [""] * 4


@pytest.mark.parametrize("cell", ["-2.5", "-0.2"])
def test_a_negative_concentration_beyond_the_blank(folder: Folder, cell: str) -> None:
    """A report may lie below zero by the limit of detection where one is stated (Cr), else by 2 mg/kg (from memory)."""
    row = FIRST.replace("s1", "s2").replace("6.0,1.0", f"{cell},1.0" if cell == "-2.5" else f"6.0,{cell}")
    said = set_aside(read(folder, FILLED + FIRST + row), 4)
    assert "further below zero than a blank correction takes it" in said
    assert ('"Fe [mg/kg]"' if cell == "-2.5" else '"Cr [mg/kg]"') in said


def test_a_little_below_zero_is_a_blank_correction(folder: Folder) -> None:
    assert uses(read(folder, FILLED + FIRST.replace("6.0,1.0", "-1.5,-0.1"))) == ["", ""]


@pytest.mark.parametrize(
    ("row", "what"),
    [
        (FIRST.replace("run-in-15", "durability"), "another sample bears the same id"),
        (FIRST, "the same sample is entered before, in line 3"),
    ],
)
def test_two_samples_with_one_id(folder: Folder, row: str, what: str) -> None:
    said = set_aside(read(folder, FILLED + FIRST + row), 4)
    assert what in said
    assert '"sample"' in said


def test_two_rows_of_one_sample_are_one_sample_where_each_has_its_element(folder: Folder) -> None:
    rows = (
        ",B1,cold-build,fill,5.2,,,\ns1,B1,run-in-15,sample,0.1,icp-1,Fe,6.0\ns1,B1,run-in-15,sample,0.1,icp-1,Cr,1\n"
    )
    assert uses(read(folder, rows, LONG)) == [""] * 3
    twice = rows + "s1,B1,run-in-15,sample,0.1,icp-1,Fe,7.0\n"
    assert "the same sample is entered before" in set_aside(read(folder, twice, LONG), 5)


def test_a_thousandfold_off_its_neighbours(folder: Folder) -> None:
    rows = "".join(FIRST.replace("s1", f"s{n}") for n in range(1, 5))
    found = read(folder, FILLED + rows + FIRST.replace("s1", "s5").replace("6.0,", "6000,"))
    assert uses(found) == [""] * 6  # it may be true: told and kept
    (said,) = told(found)
    assert said.startswith("pump/oil.csv:7: warning: ")
    assert "Fe is 1e+03 times what the other samples hold: per cent for mg/kg?" in said


def test_two_methods_are_never_one_series(folder: Folder) -> None:
    row = FIRST.replace("s1", "s2").replace("icp-1", "disc-1").replace("run-in-15", "durability")
    said = set_aside(read(folder, FILLED + FIRST + row), 4)
    assert "measured by another method than the samples of this build before: the two are never one series" in said
    assert uses(read(folder, FILLED + FIRST.replace("icp-1", "disc-1"))) == ["", ""]  # by itself it is fine


def test_an_unknown_element_is_named_whichever_way_it_is_written(folder: Folder) -> None:
    head = HEAD.replace("Cr [mg/kg]", "Xq [mg/kg]")
    (said,) = told(read(folder, FILLED + FIRST, head))
    assert said.startswith("pump/oil.csv: ")
    assert 'the column "Xq [mg/kg]" is headed like an element, but is none an oil report is read for' in said
    rows = ",B1,cold-build,fill,5.2,,,\ns1,B1,run-in-15,sample,0.1,icp-1,Xq,6.0\n"
    said = set_aside(read(folder, rows, LONG), 3)
    assert "Xq" in said
    assert '"element"' in said


@pytest.mark.parametrize(
    ("row", "code", "said"),
    [
        (",B1,run-in-15,top-up,,0.3,,,,\n", "oil-hours-missing", "at how many hours"),
        (",B1,run-in-15,sample,,0.1,icp-1,1,6.0,1.0\n", "sample-unnamed", "a sample without an id"),
        (",B1,run-in-15,drain,0.2,,,,,\n", "oil-amount-missing", "how much oil"),
        (",B1,run-in-15,drain,,4.0,,,6.0,\n", "oil-not-of-sample", "entered for what is no sample"),
        ("s2,B1,run-in-15,sample,,0.1,icp-9,1,6.0,1.0\n", "", "icp-9"),
        ("s2,B1,run-in-15,sample,,0.1,icp-1,1,6 to 7,1.0\n", "not-a-number", "6 to 7"),
        ("s2,B1,run-in-15,sample,,0.1,icp-1,1,<,1.0\n", "not-a-number", "<"),
        ("s2,B1,run-in-15,sample,,0.1,icp-1,1,90000,1.0\n", "outside-limits", "90000"),
        ("s2,B1,run-in-15,sample,,-0.1,icp-1,1,6.0,1.0\n", "outside-limits", "-0.1"),
        ("s2,B1,run-in-15,swab,,0.1,icp-1,1,6.0,1.0\n", "unknown-word", "sample, fill, top-up"),
    ],
)
def test_rows_that_cannot_be_used(folder: Folder, row: str, code: str, said: str) -> None:
    found = read(folder, FILLED + FIRST + row)
    if not code:  # an id nobody knows: the table cannot be trusted
        assert said in " ".join(told(found))
        assert len(found.frame) == 0
        return
    assert said in set_aside(found, 4)
    assert uses(found)[2] == code


def test_hours_that_run_backwards_from_phase_to_phase(folder: Folder) -> None:
    topped = ",B1,run-in-15,top-up,30,0.3,,,,\n"
    found = read(folder, FILLED + topped + ",B1,durability,top-up,20,0.3,,,,\n")
    assert "20 h come before the 30 h of an earlier phase" in set_aside(found, 4)
    assert uses(found) == ["", "", "oil-hours-backwards"]
    same = FILLED + topped + topped.replace("30", "20") + ",B1,durability,top-up,30,0.3,,,,\n"
    assert uses(read(folder, same)) == ["", "", "", ""]  # within a phase any order of the table will do


def test_a_volume_needs_a_density(folder: Folder) -> None:
    head = HEAD.replace("mass [kg]", "volume [L]")
    assert uses(read(folder, FILLED + FIRST, head)) == ["", ""]  # that of the oil of the build stands in
    source = folder.source(head + FILLED, name="oil.csv", stream="oil")
    plan = planned(folder.path, (source,))
    bare = replace(plan, builds=tuple(replace(build, oil="") for build in plan.builds))
    assert uses(STREAM.read(bare, (source,))) == ["oil-density-missing"]


def test_rows_prepared_and_not_filled_in_are_not_taken(folder: Folder) -> None:
    rows = FILLED + "s1,B1,run-in-15,sample,,,icp-1,1,,\n,B1,run-in-15,drain,,,,,,\n"
    found = read(folder, rows)
    assert (uses(found), told(found)) == ([""], [])
    assert found.files["pump/oil.csv"]["not_taken"] == 2


PLAIN = "engine,phase,what,date,hours [h],Fe [mg/kg],Cr [mg/kg]\n"


def test_an_ordinary_report_without_ids_fill_or_masses_is_used(folder: Folder) -> None:
    """A laboratory's table: concentrations over hours, told once that no balance can be made of it."""
    rows = "".join(f"B1,durability,sample,2027-02-{day:02d},{10 * day},{3.0 + day},1.0\n" for day in range(1, 21))
    found = read(folder, rows, PLAIN)
    assert uses(found) == [""] * 20
    assert column(found, "sample")[:2] == ["B1-2027-02-01-10h", "B1-2027-02-02-20h"]
    (said,) = told(found)
    assert "no fill of B1 with oil is on record before: concentrations are used, a balance is not made" in said
    held = [each for (measure, *_), each in concluded(folder, found, STREAM.steps[0]).items() if measure == "oil.iron"]
    assert [each.value for each in held] == pytest.approx([3.0 + day for day in range(1, 21)])
    made = concluded(folder, found, STREAM.steps[1])
    refused = {(measure, each.reason) for (measure, *_), each in made.items() if each.status == "refused"}
    assert {("wear.iron_mass", "no-fill"), ("oil.consumption", "no-fill")} <= refused


def test_many_rows_with_one_fault_are_told_together(folder: Folder) -> None:
    found = read(folder, FILLED + ",B1,run-in-15,sample,,,icp-1,1,6.0,1.0\n" * 30)
    assert uses(found) == ["", *["sample-unnamed"] * 30]
    said, last = as_text(found.problems).split("\n")
    assert said.startswith("pump/oil.csv:3: warning: ")
    assert "without a date or hours that would make one" in said
    assert said.endswith("The same in 29 further lines: 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15 and 17 more.")
    assert "30 warnings" in last


def test_the_engine_and_the_laboratory_each_say_what_the_other_does_not(folder: Folder) -> None:
    """One sample in two rows: as drawn, with its mass and hours, and as analysed, with its laboratory."""
    rows = FILLED + "s1,B1,run-in-15,sample,0.2,0.1,,,,\n" + "s1,B1,run-in-15,sample,,,icp-1,1,6.0,1.0\n"
    assert uses(read(folder, rows)) == ["", "", ""]
    other = rows + "s1,B1,run-in-15,sample,,,disc-1,1,7.0,\n"
    assert uses(read(folder, other)) == ["", "", "", "sample-twice"]


@pytest.mark.parametrize("said", ["ND", "-", "<1"])
def test_a_mark_is_something_told(folder: Folder, said: str) -> None:
    found = read(folder, FILLED + f",B1,run-in-15,sample,,,icp-1,1,{said},\n")
    assert uses(found) == ["", "sample-unnamed"]


# ---- what a cell may mean -------------------------------------------------------------------------------------------


def test_below_a_limit_not_detected_not_measured_and_blank_are_four_things(folder: Folder) -> None:
    rows = FILLED + FIRST.replace("6.0,1.0", "<2,ND")
    rows += FIRST.replace("s1", "s2").replace("run-in-15", "durability").replace("6.0,1.0", "-,")
    values = concluded(folder, read(folder, rows), STREAM.steps[0])
    iron, chromium = values["oil.iron", "run-in-15", ""], values["oil.chromium", "run-in-15", ""]
    assert (iron.status, iron.value) == (chromium.status, chromium.value) == ("below", None)
    assert iron.high == pytest.approx(2.0)
    assert chromium.high == pytest.approx(0.1)  # the laboratory's
    later = values["oil.iron", "durability", ""]
    assert (later.status, later.reason) == ("missing", "not-measured")
    assert ("oil.chromium", "durability", "") not in values  # nothing was said of it


def test_not_detected_by_a_laboratory_without_a_limit_is_refused(folder: Folder) -> None:
    found = concluded(folder, read(folder, FILLED + FIRST.replace("6.0,", "ND,")), STREAM.steps[0])
    assert found["oil.iron", "run-in-15", ""].reason == "no-detection-limit"


def test_a_bound_makes_a_bound_of_the_metal_and_never_zero(folder: Folder) -> None:
    found = concluded(folder, read(folder, FILLED + FIRST.replace("6.0,1.0", "<2,ND")), STREAM.steps[1])
    iron = found["wear.iron_mass", "run-in-15", "total"]
    assert iron.status == "below"
    assert iron.value is None
    assert iron.high is not None
    assert iron.high >= 5.2 * (2.0 - 1.0)  # all of the charge at the limit, less what fresh oil brought


def test_what_lies_outside_the_range_of_the_standard_has_no_interval(folder: Folder) -> None:
    """ASTM D5185 states iron from 2 mg/kg on (from memory); neither laboratory states its own precision here."""
    values = concluded(folder, read(folder, FILLED + FIRST.replace("6.0", "1.5")), STREAM.steps[0])
    low = values["oil.iron", "run-in-15", ""]
    assert low.value == pytest.approx(1.5)
    assert low.low is None
    assert low.flags == {"no-stated-precision"}


def test_metal_of_a_filter_joins_the_balance(folder: Folder) -> None:
    long = LONG.replace("concentration [mg/kg]", "concentration [mg/kg],metal [mg]")
    rows = ",B1,cold-build,fill,5.2,,,,\ns1,B1,run-in-15,sample,0.1,icp-1,Fe,6.0,\n"
    plain = concluded(folder, read(folder, rows, long), STREAM.steps[1])["wear.iron_mass", "run-in-15", "total"]
    found = read(folder, rows + ",B1,run-in-15,filter,,,Fe,,4.0\n", long)
    more = concluded(folder, found, STREAM.steps[1])["wear.iron_mass", "run-in-15", "total"]
    assert more.value is not None
    assert plain.value is not None
    assert more.value - plain.value == pytest.approx(4.0)
    stray = read(folder, rows + ",B1,run-in-15,drain,4.0,,Fe,,4.0\n", long)
    assert uses(stray) == ["", "", "metal-not-of-filter"] or uses(stray) == ["", "", "oil-not-of-sample"]


def test_keys_are_of_the_whole_engine(folder: Folder) -> None:
    values = concluded(folder, read(folder, FILLED + FIRST), STREAM.steps[0])
    assert values["oil.iron", "run-in-15", ""].key == Key("B1", 0, "nitrided", "run-in-15", "")
