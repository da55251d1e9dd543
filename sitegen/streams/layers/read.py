"""Records of layers to readings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sitegen.methods import layers
from sitegen.problems import listed, nearest, shown
from sitegen.program.model import Program, RecordSource
from sitegen.streams.layers.fields import CRATER, FIELDS, Reading
from sitegen.tables.checks import fitting, in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.tables.rows import given, rows_of
from sitegen.vocabulary import Readings

MOST_OFF = 3.0  # times the nominal thickness, or a part of it, from where a unit or a radius is likelier; ours


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all records of layers; see `tables.reading.read_stream`."""
    return read_stream(program, sources, FIELDS, (_subject, _known, _lengths, _plausible, _instruments, _repeats))


def coatings_of_lots(program: Program) -> dict[str, list[str]]:
    """Coatings of each lot of rings, as the builds say."""
    found: dict[str, list[str]] = {}
    for place in (place for build in program.builds for place in build.places if place.lot):
        if place.coating not in found.setdefault(place.lot, []):
            found[place.lot].append(place.coating)
    return found


def coating_of(program: Program, row: Reading) -> str:
    """Coating of the ring a row is of; "" where that is not known."""
    if given(row.engine):
        return program.build(str(row.engine)).coating_of(int(row.cylinder)) if given(row.cylinder) else ""
    coatings = coatings_of_lots(program).get(str(row.lot), [])
    return coatings[0] if len(coatings) == 1 else ""


def thickness(row: Reading) -> float:
    """Thickness of the layer [m]; of a crater its lengths must be known."""
    if row.method != CRATER:
        return row.thickness
    radius = row.face_radius if given(row.face_radius) else np.inf
    return layers.crater(row.outer, row.inner, row.ball, radius)


def _subject(program: Program, sheet: Sheet) -> None:
    """A row is of a ring of a lot, with its number, or of one built in."""
    del program
    frame = sheet.frame
    built, lot = frame["engine"].notna(), frame["lot"].notna()
    expected = "a lot and a ring of it, or a build and a cylinder"
    sheet.set_aside(~built & ~lot, "ring-unclear", "lot", "nothing says which ring was measured", expected)
    sheet.set_aside(built & lot, "ring-unclear", "lot", "the ring is said to be built in and cut for its lot", expected)
    sheet.set_aside(built & frame["cylinder"].isna(), "ring-unclear", "cylinder", "nothing says which cylinder's "
                    "ring was measured", expected)  # fmt: skip
    sheet.set_aside(lot & frame["ring"].isna(), "ring-unclear", "ring", "nothing says which ring of the lot was cut, "
                    "so that its scatter is not told from that of the lot", expected)  # fmt: skip


def _known(program: Program, sheet: Sheet) -> None:
    """Lots and layers are those of the program."""
    lots = coatings_of_lots(program)
    rows = rows_of(sheet.frame, Reading)
    for at in np.flatnonzero(sheet.open).tolist():
        row = rows[at]
        if given(row.lot) and len(lots.get(str(row.lot), [])) != 1:
            two = str(row.lot) in lots
            what = f'rings of the lot "{shown(str(row.lot))}" have ' + (
                f"several coatings: {listed(lots[str(row.lot)])}" if two else "no place in a build of this program"
            )
            sheet.tell(at, "lot-unknown", "lot", what, listed(lots), "" if two else nearest(str(row.lot), lots),
                       next_step="correct the record, or the program", level="error")  # fmt: skip
            continue
        names = [layer.name for layer in program.definitions.coatings[coating_of(program, row)].layers]
        if row.layer not in names:
            what = f'{coating_of(program, row)} has no layer "{shown(row.layer)}"'
            sheet.tell(at, "layer-unknown", "layer", what, listed(names) or "layers of the coating in definitions.yaml",
                       nearest(row.layer, names), next_step="correct the record, or the definitions",
                       level="error")  # fmt: skip


def _lengths(program: Program, sheet: Sheet) -> None:
    """A crater has a ball and two diameters, one inside the other and both inside the ball; a section a thickness."""
    del program
    frame = sheet.frame
    crater = frame["method"] == CRATER
    for name in ("ball", "outer", "inner"):
        why = " (one that does not reach the end of the layer tells nothing of it)" if name == "inner" else ""
        sheet.set_aside(crater & frame[name].isna(), "crater-not-whole", name, f'a crater without "{name}"{why}',
                        "ball diameter, outer and inner diameter")  # fmt: skip
    sheet.set_aside(~crater & frame["thickness"].isna(), "no-figure", "thickness", "a section without a thickness",
                    "the thickness of the layer")  # fmt: skip
    sheet.set_aside(crater & (frame["inner"] >= frame["outer"]), "crater-reversed", "inner",
                    "the layer ends outside where it begins", "an inner diameter below the outer one")  # fmt: skip
    least = frame[["ball"]].join(2 * frame["face_radius"]).min(axis=1)
    sheet.set_aside(crater & (frame["outer"] >= least / 2), "crater-too-wide", "outer", "the crater is wider than half "
                    "the ball or the face: no cap is so flat", "a diameter far below the ball's")  # fmt: skip


def _plausible(program: Program, sheet: Sheet) -> None:
    """Tell a thickness far from the nominal one: most often a unit, or a radius for a diameter."""
    rows = rows_of(sheet.frame, Reading)
    for at in np.flatnonzero(sheet.open).tolist():
        row = rows[at]
        coating = program.definitions.coatings.get(coating_of(program, row))
        nominal = next((each.thickness for each in coating.layers if each.name == row.layer), None) if coating else None
        if nominal and not nominal / MOST_OFF <= (found := thickness(row)) <= nominal * MOST_OFF:
            name = "outer" if row.method == CRATER else "thickness"
            what = f"{row.layer} comes out {1e6 * found:.3g} µm thick, nominal are {1e6 * nominal:.3g} µm"
            expected = "another unit, or diameters where radii are written"
            sheet.tell(at, "thickness-far-from-nominal", name, what, expected, next_step="correct it, or leave it in")


def _instruments(program: Program, sheet: Sheet) -> None:
    tools = program.definitions.tools
    fitting(sheet, "instrument", tools, ("microscope",), "the tool named reads no layer")
    in_force(sheet, "instrument", tools)


def _repeats(program: Program, sheet: Sheet) -> None:
    del program
    state = sheet.frame[["engine", "cylinder", "lot", "ring", "layer", "method", "angle", "repeat"]]
    why = "the same layer was measured at the same place of the same ring, without another repeat number, in"
    same_again(sheet, state, sheet.open, "repeat", why)
