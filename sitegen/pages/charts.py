"""Chart kinds: what rows a panel gives, and how they are laid out for the compiled drawing.

A kind is drawn once (`kinds.py`, with Altair), compiled when the site is published and written into one script; pages
hold rows only. The layout that needs the sight of all panels is done here, so it is the same on every machine: the end
of the shared axis, segments of lines, labels that would cover each other, phase labels in a long and a short form.

Rows of `slope` and `history` (x is the place of the phase: 0, 1, 2 ...):

    phases    x, label ("run-in, 15 min"), under ("18 km", sliding distance at its end)
    means     line, x, value, low, high; open (not yet to rely on), part (id of the assembly: lines break between
              parts), cold (not fired yet: the line to the next check is dashed), coating, label (at the end of the
              line: "B3"), text (at the point: "0.53"), name (beside the mark: "2", the cylinder), tip, series
    thin      line, x, value, part, cold, coating ("" grey), label, tip, series: cylinders, neighbours, other coatings
    readings  x, value, crossed (left out, but visible), label, tip, series: single readings beside the mean
    limits    value, label ("limit 0.35")
    band      low, high, label ("end gaps alone")

Rows of `dots`, a line a build, for engines of more than eight cylinders:

    lines     y, label ("B3"), under ("graded chromium nitride")
    dots      y, value, coating, crossed, tip, series: cylinders
    means     y, value, low, high, open, coating, tip, series
    limits    value, label

Rows of `upright`, a column of marks a group, on an axis that holds its data (signals `least` and `most` set its ends):

    groups    x, label ("B1"), under ("nitrided"; once under neighbours that share it)
    points    x, value, low, high, open, coating, label (over its interval: "cylinder 2"), tip, series; points of one
              group stand side by side in the order given, their intervals upright
    limits    value, label ("limit 0.35")

Rows of `run`, one channel over time; panels are stacked on one axis, runs one after the other with gaps between them,
which the page's script lays out, since they depend on the stretch looked at. Signals `from` and `to` are the ends of
the axis, `floor` is what the channel cannot be below:

    path      at [min], value, low, high (least and most about that instant), run (place of its run), piece (of the
              record: the line breaks between two), series
    bands     at, to, run: reference points
    runs      at, to, label
    events    at, run: numbered in their order; `Figure.events` says what they are

Rows of `curves`, over a quantity; signals `from` and `to` are the ends of its axis, `least` and `most` those of the
value axis where panels share it, `small` for panels in a row:

    path      at, value, line (lines break between lines), grey (before; else the coating's colour), series
    bands     at, to, label (minor: not on narrow screens): stretches of the axis
    levels    value
    points    at, value, low, high, open, coating, label, tip, series

`series` is what the reader may hide, by the name it is offered under ("B3"); where a figure has fewer than two, nothing
is offered. What a row does not give takes its default. Signals a panel may set: `top` (end of the value axis; else
shared over the panels of the figure), `unit` and `along` (of values and of the axis, for the data), `ticks`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, compress, count, groupby, islice, pairwise
from operator import ne
from typing import Any

from sitegen.page.axes import decimals, tick_step
from sitegen.page.blocks import Datum, Figure, Panel, Track, number_of
from sitegen.page.counts import MANY

Drawn = dict[str, Any]  # a row of a set with its defaults, or what is laid out of rows: what the script reads
Orders = Mapping[str, int]  # coating id -> place in definitions.yaml

_NEEDED = object()
_LINE_HEIGHT = 15  # px between the baselines of 13 px text
_CHAR = 6.9  # px, mean width of a character of 13 px sans serif
_TITLE = 22  # px, the line of the title of an axis
_TEXT_RISE = 11  # px, the middle of the number at a point above the point (`texts` in kinds.py)
LOW = 3.3  # steps of the axis of a panel in a stack
EVEN = 2.1e-4  # min, what rounding to four digits may do to a second difference
DOT = 12  # px2, of a mark among many
GOLDEN = 0.618  # golden section: dots that follow each other stand far from each other
SWARM = 200  # dots from which those of a line stand above each other
NAMES = 8  # of many groups: so many are named along the axis
LONGEST = 28  # characters of a name in a chart; the table below has all of it
TITLE = 46  # characters of the title of an axis, which has to stand on a telephone
WORD, LINES = 16, 4  # characters of a word and lines of the name of a phase
NOISE = 0.1  # share of the most of a channel: what lies no further below zero is noise where it cannot be below
_MARK = 7  # px, what a small ring takes
_PLOT = {"slope": 190, "history": 240}  # px, height inside the axes

# a mark with its interval, whatever axis it stands on
_POINT: dict[str, object] = {"value": _NEEDED, "low": None, "high": None, "open": False, "coating": "", "label": "",
                             "tip": "", "series": ""}  # fmt: skip

_PHASED: dict[str, dict[str, object]] = {
    "phases": {"x": _NEEDED, "label": _NEEDED, "under": ""},
    "means": {"line": _NEEDED, "x": _NEEDED, "value": _NEEDED, "low": None, "high": None, "open": False, "part": "",
              "cold": False, "coating": "", "label": "", "text": "", "name": "", "tip": "", "series": ""},
    "thin": {"line": _NEEDED, "x": _NEEDED, "value": _NEEDED, "part": "", "cold": False, "coating": "", "label": "",
             "tip": "", "series": ""},
    "readings": {"x": _NEEDED, "value": _NEEDED, "crossed": False, "coating": "", "label": "", "tip": "",
                 "series": ""},
    "limits": {"value": _NEEDED, "label": ""},
    "band": {"low": _NEEDED, "high": _NEEDED, "label": ""},
}  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """One kind of chart: the rows it takes, and how they are laid out."""

    name: str
    rows: Mapping[str, Mapping[str, object]]  # dataset -> field -> default
    lay: Callable[[str, Mapping[str, list[Drawn]], Mapping[str, Datum], Panel, Orders], Drawn]


class ChartError(ValueError):
    """A panel gives rows its kind cannot draw: a fault of the content, not of the data."""


# ---- from a figure to what the script draws -------------------------------------------------------------------------


def payloads(figure: Figure, orders: Orders) -> list[Drawn]:
    """What the page's script needs for each panel: kind, rows, signals, paddings [px], height [px].

    Raises ChartError for an unknown kind or dataset, a row without what its kind needs, or a number that is not finite.
    """
    if figure.kind not in KINDS:
        raise ChartError(f"{figure.name}: no chart kind {figure.kind!r}; there are {', '.join(KINDS)}")
    kind = KINDS[figure.kind]
    filled = [_filled(figure, kind, panel) for panel in figure.panels]
    numbers = {name: number for number, (name, _) in enumerate(series(figure))}
    for panel in filled:
        for row in (row for rows in panel.values() for row in rows):
            row["series"] = numbers.get(row.get("series", ""), -1)
    most = 12.0 if figure.kind == "dots" else 1.6  # of dots the interval is the news: where the next build may lie
    ends = [_ends(filled, most)] * len(filled) if figure.one_scale else [_ends([rows], most) for rows in filled]
    laid = [
        kind.lay(kind.name, rows, {**own, **panel.signals, "series": numbers.get(panel.title, -1)}, panel, orders)
        for panel, rows, own in zip(figure.panels, filled, ends, strict=True)
    ]
    for each, of in zip(laid, figure.panels, strict=True):
        titles = {
            "along" if kind.name == "dots" else "axis": of.axis,
            **({"along": of.along} if of.along else {}),
        }
        each["data"] |= {name: [{"s": shortened(title, TITLE)}] for name, title in titles.items() if title}
    for side in ("left", "leftNarrow"):  # panels in a column begin at one place
        widest = max((each["pad"].get(side, 0) for each in laid), default=0)
        for each in laid:
            each["pad"][side] = widest
    return laid


def series(figure: Figure) -> list[tuple[str, str]]:
    """What a reader may hide: name, and coating where all its coloured rows have the same; none where there is one."""
    coatings: dict[str, set[str]] = {}
    for panel in figure.panels:
        if panel.path is not None:
            coatings.setdefault(panel.title, set())
        for kind, rows in panel.data.items():
            for name, coating in dict.fromkeys((row.get("series", ""), row.get("coating")) for row in rows):
                if name:
                    own = coating or (panel.coating if kind in {"means", "readings"} else "")
                    coatings.setdefault(str(name), set()).update({str(own)} - {""})
    if len(coatings) < 2:
        return []
    return [(name, found.pop() if len(found) == 1 else "") for name, found in coatings.items()]


def packed(payload: Drawn) -> Drawn:
    """The same by column: rows repeat their names and most of what they hold. Empty sets are left out.

    A set becomes {n: rows, of: {field: column}}; a column one value that all rows share, {r: [value, times, ...]}, or a
    list with a value a row; times evenly apart {a: [first, last, how many, ...]}, to a hundredth of a second.

    >>> packed({"data": {"limits": [{"v": 1, "s": "a"}, {"v": 2, "s": "a"}], "band": []}})
    {'data': {'limits': {'n': 2, 'of': {'v': [1, 2], 's': 'a'}}}}
    """
    sets = {}
    for name, rows in payload["data"].items():
        by_column = isinstance(rows, dict)
        many = len(rows["at"]) if by_column else len(rows)
        if many:
            named = rows if by_column else {key: [row[key] for row in rows] for key in rows[0]}
            sets[name] = {"n": many, "of": {key: _column(own, key) for key, own in named.items()}}
    return {**payload, "data": sets}


def finer(panel: Panel, rows: Drawn) -> Drawn:
    """The finer path of a panel over time, packed as that of its payload is."""
    if panel.finer is None:
        raise ChartError(f"{panel.title}: there is nothing finer to look at")
    path = columns(panel.finer, rows["data"]["path"]["q"][0])
    return packed({"data": {"path": path}, "grains": panel.finer.grains})


def _column(values: list[Any], field: str) -> object:
    if field in {"at", "x"} and len(values) > 20:
        even = _even(values)
        if 3 * len(even) < len(values):
            return {"a": [each for piece in even for each in piece]}
    runs = 1 + sum(map(ne, values, islice(values, 1, None)))
    if runs == 1 and not isinstance(values[0], list):
        return values[0]
    if 3 * runs < len(values):
        return {"r": [each for value, same in groupby(values) for each in (value, len(list(same)))]}
    return values


def _even(values: list[float]) -> list[tuple[float, float, int]]:
    """Stretches of values evenly apart: first, last, how many.

    >>> _even([0.0, 0.1, 0.2, 0.3, 1.0, 1.5])
    [(0.0, 0.3, 4), (1.0, 1.5, 2)]
    """
    pieces, first = [], 0
    bent = (abs(c - 2 * b + a) > EVEN for a, b, c in zip(values, values[1:], values[2:], strict=False))
    for at in chain(compress(count(2), bent), (len(values),)):
        if at > first + 1 or at == len(values):
            pieces.append((values[first], values[at - 1], at - first))
            first = at
    return pieces


def _filled(figure: Figure, kind: Kind, panel: Panel) -> dict[str, list[Drawn]]:
    unknown = [name for name in panel.data if name not in kind.rows]
    if unknown:
        raise ChartError(f"{figure.name}: kind {kind.name} has no rows {unknown[0]!r}; it has {', '.join(kind.rows)}")
    filled: dict[str, list[Drawn]] = {name: [] for name in kind.rows}
    for name, rows in panel.data.items():
        fields = kind.rows[name]
        needed = [field for field, default in fields.items() if default is _NEEDED]
        empty = {field: None if default is _NEEDED else _plain(figure.name, name, field, default)
                 for field, default in fields.items()}  # fmt: skip
        for row in rows:
            if not row.keys() <= fields.keys():
                stray = sorted(set(row) - set(fields))
                raise ChartError(
                    f"{figure.name}: rows {name!r} have no field {stray[0]!r}; they have {', '.join(fields)}"
                )
            for field in needed:
                if field not in row:
                    raise ChartError(f"{figure.name}: a row of {name!r} lacks {field!r}")
            whole: Drawn = {**empty, **row}
            for field, given in row.items():
                if given is not None and not isinstance(given, str):
                    whole[field] = _plain(figure.name, name, field, given)
                if field in {"label", "under"} and name != "phases":
                    whole[field] = shortened(str(whole[field]), LONGEST)
            filled[name].append(whole)
    return filled


def _plain(figure: str, name: str, field: str, given: Any) -> Datum:
    if given is None or isinstance(given, str | bool):
        return given
    number = float(given)
    if field in {"x", "y"}:
        return int(number)
    if field in {"low", "high"} and math.isinf(number):
        return number  # an unbounded end is cut at the edge of the panel, with an arrow head
    if not math.isfinite(number):
        raise ChartError(f"{figure}: {field!r} of a row of {name!r} is {number}, which nothing can draw")
    return number


def _ends(panels: Sequence[Mapping[str, list[Drawn]]], stretch: float) -> Drawn:
    """Ends of the value axis shared by all panels: from zero, past every mark, past intervals up to `stretch` times."""
    seen = [
        row["value"]
        for rows in panels
        for name in ("means", "thin", "readings", "limits", "dots")
        for row in rows.get(name, [])
    ]
    seen += [row["high"] for rows in panels for row in rows.get("band", [])]
    most, least = max(seen, default=1.0), min(seen, default=0.0)
    highs = [
        r["high"]
        for rows in panels
        for r in rows.get("means", [])
        if r["high"] is not None and math.isfinite(r["high"])
    ]
    lows = [
        r["low"] for rows in panels for r in rows.get("means", []) if r["low"] is not None and math.isfinite(r["low"])
    ]
    reach = max([most, *(high for high in highs if high <= stretch * most)])
    step = tick_step(max(reach, 1e-12))
    top = step * math.ceil(round(reach * 1.02 / step, 9))
    bottom = 0.0
    if least < 0:  # a measure that can fall below zero shows it; else an interval below zero ends at the axis
        bottom = -step * math.ceil(round(-min([least, *lows]) * 1.02 / step, 9))
    return {"top": float(f"{top:.10g}"), "bottom": float(f"{bottom:.10g}"), "step": step}


# ---- charts over phases ---------------------------------------------------------------------------------------------


def _lay_phased(
    kind: str, rows: Mapping[str, list[Drawn]], signals: Mapping[str, Datum], panel: Panel, orders: Orders
) -> Drawn:
    plot = _PLOT[kind]
    top, bottom = number_of(signals["top"]), number_of(signals.get("bottom", 0.0))
    means, thin = rows["means"], rows["thin"]
    own = panel.coating
    shift = _shifts(means)
    many = len(shift) > MANY
    lines: list[Drawn] = []
    by_series = {row["series"]: shift[row["line"]] for row in means if row["series"] >= 0}
    for row in thin:  # a thin line stands with the marks of its series
        shift.setdefault(row["line"], by_series.get(row["series"], 0.0))
    for role, members in (("t", thin), ("m", [] if many else means)):
        lines += _segments(role, members, shift, own, orders)
    points = [
        {**_point(row, row["x"] + shift.get(row["line"], 0.0), own, orders, top, bottom), "n": row["name"]}
        for row in means
    ]
    if many:
        points.sort(key=lambda point: point["x"])  # evenly apart, so that they are light
    edge: list[Drawn] = [
        *({"v": row["value"], "s": row["label"], "b": 0, "q": -1} for row in rows["limits"] if row["label"]),
        *(
            {"v": (row["low"] + row["high"]) / 2, "s": row["label"], "b": 0, "q": -1}
            for row in rows["band"]
            if row["label"]
        ),
    ]
    ends = _line_ends(thin, 0) + _line_ends(means, 1)
    for label in ends:
        label["from"] = round(label["x"] + shift.get(label.pop("line"), 0.0), 3)
        label["x"] += max(shift.values(), default=0.0)  # past the last of the marks that stand apart
    count = len(rows["phases"])
    outside = kind == "history"  # limits and bands are named beside the plot where there is room for it
    if outside:
        for label in ends:
            label["edge"] = label["x"] >= count - 1.01 and not label["b"]
        group = [label for label in ends if label.pop("edge")]
        ends = [label for label in ends if label not in group]
        edge += [{"v": label["v"], "s": label["s"], "b": 0, "q": label["q"]} for label in group]
        told = any(row["label"] and row["x"] >= count - 1.01 for row in rows["readings"])
        inside = [] if told else [{**label, "b": 0} for label in group]
        # The number at the last point reaches beyond the plot when the phases stand close.
        reaching = [row["value"] + (top - bottom) * _TEXT_RISE / plot for row in means
                    if row["text"] and row["x"] >= count - 1]  # fmt: skip
        _apart_from(edge, reaching, (top - bottom) * _LINE_HEIGHT / plot, bottom)
    else:
        inside = []
    for x in sorted({label["x"] for label in ends}):
        here = _fitting([label for label in ends if label["x"] == x], plot)
        ends = [label for label in ends if label["x"] != x] + here
        _apart(here, (top - bottom) * _LINE_HEIGHT / plot, bottom)
    for label in [*ends, *edge, *inside]:
        of = label.pop("of", label["v"])  # where its line ends; a label moved away from there is led to by a stroke
        label |= {"of": of, "far": int(abs(label["v"] - of) * plot > 4 * (top - bottom)), "f": label.pop("from", 0.0)}
    texts = [
        {"x": row["x"] + shift.get(row["line"], 0.0), "v": row["value"], "s": row["text"], "q": row["series"]}
        for row in means
        if row["text"]
    ]
    phases, widest, under = _phase_labels(rows["phases"])
    last = max((label["x"] for label in ends), default=0)
    beside = max((len(label["s"]) for label in ends if label["x"] >= count - 1.5 and label["x"] == last), default=0)
    right = max(14.0, 10 + beside * _CHAR)
    wide = max(right, 14 + max((len(label["s"]) for label in edge), default=0) * _CHAR) if outside else right
    left = _left(top, bottom, number_of(signals["step"]))
    short = max((len(p["short"]) for p in phases), default=1)
    slim = round(max((len(line) for p in phases for line in [*p["short"], p["us"]]), default=0) * _CHAR + 4)
    foot = 10 + _LINE_HEIGHT * (2 + short)
    # lines of the upper row, where labels stand in two: those of every second phase, and the distances
    drop = max((len(p["short"]) for p in phases if not p["x"] % 2), default=1) + any(p["us"] for p in phases)
    rise = 14 + (16 if kind == "history" else 0)
    return {
        "kind": kind,
        "data": {
            "phases": phases,
            "lines": lines,
            "points": points,
            "readings": _readings(rows["readings"], (top - bottom) * _MARK / plot, own, orders),
            "limits": [{"v": row["value"], "s": row["label"]} for row in rows["limits"]],
            "band": [{"lo": row["low"], "hi": row["high"], "s": row["label"]} for row in rows["band"]],
            "ends": ends,
            "inside": inside,
            "edge": edge if outside else [],
            "texts": texts,
        },
        "signals": {
            "n": count,
            "dot": DOT if many else 68,
            "top": top,
            "bottom": bottom,
            **_ticks(top, bottom, number_of(signals["step"])),
            "widest": round(widest * _CHAR + 8),
            "under": under,
            "longest": max((len(p["long"]) for p in phases), default=1),
            "shortest": short, "slim": slim, "drop": drop, "rise": rise,
            "named": any(row["name"] for row in means),
        },
        "pad": {"top": (rise + 14) if panel.axis else 14, "bottom": foot,
                "bottomNarrow": foot + (_LINE_HEIGHT * drop if slim * count > 240 else 0),
                "left": left, "wide": round(wide), "narrow": round(right)},
        "height": plot,
    }  # fmt: skip


def _segments(role: str, members: Sequence[Drawn], shift: Mapping[str, float], own: str, orders: Orders) -> list[Drawn]:
    """Rows of line pieces: broken between parts; the piece that leaves a cold check apart, to be dashed."""
    rows: list[Drawn] = []
    by_line: dict[tuple[str, str], list[Drawn]] = {}
    for row in members:
        by_line.setdefault((row["line"], row["part"]), []).append(row)
    piece = 0  # a number no other piece of this role has
    for (line, _), own_rows in by_line.items():
        ordered = sorted(own_rows, key=lambda row: row["x"])
        last: bool | None = None
        for before, after in pairwise(ordered):
            cold = bool(before["cold"])
            ends = (after,) if cold == last and not cold else (before, after)
            piece += len(ends) - 1
            last = cold
            rows += [
                {"g": piece, "x": round(row["x"] + shift.get(line, 0.0), 3), "v": row["value"],
                 "c": _c(row, own, orders), "r": role, "d": int(cold), "q": row["series"]}
                for row in ends
            ]  # fmt: skip
    return rows


def _c(row: Drawn, own: str, orders: Orders) -> int:
    """Place of the row's coating; -1: grey. A mean takes the panel's coating when it names none."""
    coating = row["coating"] or (own if "low" in row or "crossed" in row else "")
    return orders.get(coating, -1)


def _shifts(means: Sequence[Drawn]) -> dict[str, float]:
    """Lines of means stand a little apart, so that their intervals do not cover each other."""
    names = list(dict.fromkeys(row["line"] for row in means))
    many = len(names) > MANY
    named = any(row["name"] for row in means)  # each has its number over it, and room for that
    room = min(0.18, 0.72 / len(names)) if named else min(0.07, (0.7 if many else 0.5) / max(1, len(names)))
    return {name: round((i - (len(names) - 1) / 2) * room, 6 if many else 3) for i, name in enumerate(names)}


def _point(row: Drawn, x: float, own: str, orders: Orders, top: float, bottom: float) -> Drawn:
    low, high = row["low"], row["high"]
    known = low is not None and high is not None
    return {
        "x": round(x, 6),
        "v": row["value"],
        "lo": max(bottom, low) if known else None,
        "hi": min(top, high) if known else None,
        "up": int(known and high > top),
        "c": _c(row, own, orders),
        "o": int(row["open"]),
        "t": row["tip"],
        "q": row["series"],
    }


def _readings(rows: Sequence[Drawn], gap: float, own: str, orders: Orders) -> list[Drawn]:
    """Single readings beside their mean; those that would cover each other step aside (`o` [px])."""
    placed: list[Drawn] = []
    for row in sorted(rows, key=lambda row: (row["x"], row["value"])):
        last = placed[-1] if placed else None
        close = last is not None and last["x"] == row["x"] and row["value"] - last["v"] < gap
        step = 0 if last is None or not close else (last["o"] - 11) // 7 + 1
        placed.append(
            {"x": row["x"], "v": row["value"], "k": int(row["crossed"]), "c": _c(row, own, orders), "s": row["label"],
             "t": row["tip"], "o": 11 + 7 * (step % 3), "q": row["series"]}
        )  # fmt: skip
    return placed


def _line_ends(members: Sequence[Drawn], strong: int) -> list[Drawn]:
    """Labels where their line ends; a row that carries a label before the end of its line names that point."""
    return [
        {
            "x": row["x"],
            "v": row["value"],
            "s": row["label"],
            "b": strong,
            "q": row["series"],
            "line": row["line"],
            "of": row["value"],
        }
        for row in members
        if row["label"]
    ]


def _apart(labels: list[Drawn], gap: float, floor: float) -> None:
    """Move labels up and down until none covers another: each cluster keeps its middle."""
    ordered = sorted(labels, key=lambda label: label["v"])
    clusters: list[list[int]] = []
    middles: list[float] = []
    for i, label in enumerate(ordered):
        clusters.append([i])
        middles.append(label["v"])
        while len(clusters) > 1:
            below_top = middles[-2] + gap * (len(clusters[-2]) - 1) / 2
            above_low = middles[-1] - gap * (len(clusters[-1]) - 1) / 2
            if above_low - below_top >= gap:
                break
            merged = clusters[-2] + clusters[-1]
            middle = sum(ordered[j]["v"] for j in merged) / len(merged)
            clusters[-2:], middles[-2:] = [merged], [middle]
    least = floor
    for members, middle in zip(clusters, middles, strict=True):
        start = max(middle - gap * (len(members) - 1) / 2, least)
        for place, i in enumerate(members):
            ordered[i]["v"] = float(f"{start + gap * place:.6g}")
        least = start + gap * len(members)  # a cluster lifted off the floor lifts the next


def _fitting(labels: list[Drawn], plot: float) -> list[Drawn]:
    """Labels of one place that have room beside each other: all of them, else of the many lines the highest and lowest.

    The others are named by their marks when pointed at, in the choice of series and in the table.
    """
    if len(labels) * _LINE_HEIGHT <= plot + _LINE_HEIGHT:
        return labels
    ordered = sorted(labels, key=lambda label: label["v"])
    return [label for label in ordered if not label["b"] or label in (ordered[0], ordered[-1])]


def _apart_from(labels: list[Drawn], fixed: Sequence[float], gap: float, floor: float) -> None:
    """The same beside a text that stays where it is: labels above it move up, those below it down, or up for want of
    room. More than one such text is taken as one block.
    """
    if not fixed:
        _apart(labels, gap, floor)
        return
    low, high = min(fixed), max(fixed)
    ordered = sorted(labels, key=lambda label: label["v"])
    room = max(0, math.floor((low - floor) / gap + 1e-9))  # labels that fit between the floor and the text
    below = [label for label in ordered if label["v"] < low][:room]
    above = ordered[len(below) :]
    _apart(above, gap, high + gap)
    for label in below:  # the same upside down
        label["v"] = -label["v"]
    _apart(below, gap, gap - low)
    least = floor
    for label in sorted(below, key=lambda label: -label["v"]):
        label["v"] = max(-label["v"], least)
        least = label["v"] + gap


def _phase_labels(phases: Sequence[Drawn]) -> tuple[list[Drawn], int, str]:
    """Phase rows with a long and a short form of the label; widest long line [characters]; unit of the distances."""
    units = {row["under"].replace("\u00a0", " ").rpartition(" ")[2] for row in phases if row["under"]}
    unit = units.pop() if len(units) == 1 else ""
    rows = []
    for row in phases:
        under = row["under"]
        bare = under.replace("\u00a0", " ").rpartition(" ")[0] if unit else under
        rows.append({"x": row["x"], "long": wrapped(row["label"], 14), "short": wrapped(row["label"], 7), "u": under,
                     "us": bare})  # fmt: skip
    widest = max((len(line) for row in rows for line in [*row["long"], row["u"]]), default=0)
    return rows, widest, unit


def wrapped(text: str, width: int) -> list[str]:
    """Text in lines of at most `width` characters where its words allow it.

    >>> wrapped("run-in, 15 min", 7), wrapped("run-in, 15 min", 14), wrapped("durability", 7)
    (['run-in,', '15 min'], ['run-in, 15 min'], ['durability'])

    >>> wrapped("a b c d e", 1)
    ['a', 'b', 'c', 'd …']
    """
    lines: list[str] = []
    for whole in text.split(" "):
        word = shortened(whole, WORD)
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines if len(lines) <= LINES else [*lines[: LINES - 1], f"{lines[LINES - 1]} …"]


def shortened(text: str, most: int) -> str:
    """A text of at most so many characters.

    >>> shortened("B3", 4), shortened("durability", 4)
    ('B3', 'dur…')
    """
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _ticks(top: float, bottom: float, step: float) -> Drawn:
    """Ticks and the form of their labels.

    >>> _ticks(1.2, 0.0, 0.4)
    {'ticks': [0.0, 0.4, 0.8, 1.2], 'digits': ',.1f'}
    """
    first, last = round(bottom / step), math.floor(top / step + 1e-9)
    return {"ticks": [float(f"{n * step:.10g}") for n in range(first, last + 1)], "digits": f",.{decimals(step)}f"}


def _left(top: float, bottom: float, step: float) -> int:
    widest = max(len(f"{end:,.{decimals(step)}f}") for end in (top, bottom))
    return round(12 + widest * _CHAR)


# ---- dots by build --------------------------------------------------------------------------------------------------


def _lay_dots(
    kind: str, rows: Mapping[str, list[Drawn]], signals: Mapping[str, Datum], panel: Panel, orders: Orders
) -> Drawn:
    top, bottom = number_of(signals["top"]), number_of(signals.get("bottom", 0.0))
    own = panel.coating
    count = len(rows["lines"])
    ticks = _ticks(top, bottom, number_of(signals["step"]))
    if len(f"{top:{ticks['digits']}}") > 4 and len(ticks["ticks"]) > 5:  # long numbers would touch
        ticks["ticks"] = ticks["ticks"][::2]
    left = 14 + max((max(len(row["label"]), len(row["under"])) for row in rows["lines"]), default=0) * _CHAR
    short = 14 + max((len(row["label"]) for row in rows["lines"]), default=0) * _CHAR
    room = max(16, _left(top, bottom, number_of(signals["step"])) // 2)  # half of the last tick's number stands beyond
    swarm = len(rows["dots"]) > SWARM * max(1, count)
    means = []
    for row in rows["means"]:
        point = _point({**row, "x": row["y"], "line": ""}, 0, own, orders, top, bottom)
        means.append({**point, "y": row["y"]})
    return {
        "kind": kind,
        "data": {
            "lines": [{"y": row["y"], "s": row["label"], "u": row["under"]} for row in rows["lines"]],
            "dots": [
                {"y": row["y"] + (round(0.5 * (n * GOLDEN % 1) - 0.35, 2) if swarm else 0), "v": row["value"],
                 "c": _c(row, own, orders), "k": int(row["crossed"]), "t": row["tip"], "q": row["series"]}
                for n, row in enumerate(rows["dots"])
            ],
            "points": means,
            "limits": [{"v": row["value"], "s": row["label"]} for row in rows["limits"]],
        },
        "signals": {
            "n": count, "apart": int(bool(rows["dots"])), "dot": DOT if swarm else 26, "top": top, "bottom": bottom,
            **ticks,
        },
        "pad": {"top": 24, "bottom": 26 + (_TITLE if panel.axis else 0),
                "left": round(left), "leftNarrow": round(short), "wide": room, "narrow": room},
        "height": 34 * max(1, count),
    }  # fmt: skip


# ---- a channel over the time of a run -------------------------------------------------------------------------------


def _lay_run(
    kind: str, rows: Mapping[str, list[Drawn]], signals: Mapping[str, Datum], panel: Panel, orders: Orders
) -> Drawn:
    del orders
    path, floor = panel.path, signals.get("floor")
    if path is None:
        raise ChartError(f"{panel.title}: a run chart without a path")
    most = path.most if path.least or path.most else 1.0  # a channel that stood at zero has an axis too
    top, bottom, step = _span(path.least, most, floor is not None, steps=LOW)
    begin, end = number_of(signals["from"]), number_of(signals["to"])
    if end <= begin:
        end = begin + 1.0  # a log of a single moment still has an axis
    return {
        "kind": kind,
        "data": {
            "path": columns(path, int(number_of(signals["series"]))),
            "bands": [{"at": r["at"], "to": r["to"], "g": int(r["run"])} for r in rows["bands"]],
            "runs": [{"at": r["at"], "to": r["to"], "s": r["label"]} for r in rows["runs"]],
            "events": [{"at": r["at"], "g": int(r["run"]), "n": n} for n, r in enumerate(rows["events"], 1)],
        },
        "signals": {
            "from": begin, "to": end, "floor": floor, "grains": path.grains, "top": top, "bottom": bottom,
            **_ticks(top, bottom, step),
        },
        "pad": {"top": 24, "bottom": 8, "left": _left(top, bottom, step), "wide": 16, "narrow": 16},
        "height": 78,
        "unit": panel.note,
    }  # fmt: skip


PIECES = 10_000  # of a run: more gaps are not drawn apart


def columns(path: Track, series: int) -> Drawn:
    """A path as the script takes it; `series` is the number of what a reader may hide."""
    pieces = [PIECES * run + piece for run, piece in zip(path.run, path.piece, strict=True)]
    return {
        "at": [*path.at], "v": [*path.steps], "lo": [*path.below], "hi": [*path.above], "g": [*path.run], "l": pieces,
        "q": [series] * len(path.at),
    }  # fmt: skip


# ---- columns of marks -----------------------------------------------------------------------------------------------


def _lay_upright(
    kind: str, rows: Mapping[str, list[Drawn]], signals: Mapping[str, Datum], panel: Panel, orders: Orders
) -> Drawn:
    points, groups = rows["points"], rows["groups"]
    seen = [row["value"] for row in (*points, *rows["limits"])]
    seen += [row[end] for row in points for end in ("low", "high") if row[end] is not None and math.isfinite(row[end])]
    least, most = (signals.get(name) for name in ("least", "most"))
    least = min(seen, default=0.0) if least is None else number_of(least)
    top, bottom, step = _span(least, max(seen, default=1.0) if most is None else number_of(most), near=False)
    drawn, ends = [], []
    for group in groups:
        own = [row for row in points if row["x"] == group["x"]]
        for place, row in enumerate(own):
            x = group["x"] + (place - (len(own) - 1) / 2) * min(0.2, 0.8 / len(own))
            drawn.append(_point(row, x, panel.coating, orders, top, bottom))
            if row["label"]:
                ends.append({"x": round(x, 3), "v": drawn[-1]["hi"] or row["value"], "s": row["label"]})
    shared = [list(same) for _, same in groupby(groups, lambda group: group["under"])]
    many = len(groups) > MANY
    pace = math.ceil(len(groups) / NAMES) if many else 1
    return {
        "kind": kind,
        "data": {
            "groups": [{"x": group["x"], "s": group["label"]} for group in groups[::pace]],
            "unders": [{"x": sum(g["x"] for g in same) / len(same), "s": same[0]["under"]} for same in shared],
            "points": drawn,
            "ends": ends,
            "limits": [{"v": row["value"], "s": row["label"]} for row in rows["limits"]],
        },
        "signals": {
            "n": len(groups),
            "dot": DOT if many else 50,
            "top": top,
            "bottom": bottom,
            **_ticks(top, bottom, step),
        },
        "pad": {"top": 28, "bottom": 44, "left": _left(top, bottom, step), "wide": 14, "narrow": 14},
        "height": 190,
    }


# ---- curves over a quantity -----------------------------------------------------------------------------------------


def _lay_curves(
    kind: str, rows: Mapping[str, list[Drawn]], signals: Mapping[str, Datum], panel: Panel, orders: Orders
) -> Drawn:
    own = panel.coating
    path, points = rows["path"], rows["points"]
    seen = [row["value"] for row in (*path, *points, *rows["levels"])]
    seen += [row[end] for row in points for end in ("low", "high") if row[end] is not None and math.isfinite(row[end])]
    least, most = signals.get("least"), signals.get("most")
    least = min(seen, default=0.0) if least is None else number_of(least)
    top, bottom, step = _span(least, max(seen, default=1.0) if most is None else number_of(most))
    begin, end = number_of(signals["from"]), number_of(signals["to"])
    small = bool(signals.get("small"))
    places, form = _along(begin, end, 2.0 if small else 1.0)
    labelled = any(row["label"] for row in rows["bands"])

    def within(value: float | None) -> float | None:
        return None if value is None else min(max(value, bottom), top)

    return {
        "kind": kind,
        "data": {
            "path": [
                {"at": r["at"], "v": r["value"], "g": r["line"],
                 "c": -1 if r["grey"] else orders.get(r["coating"] or own, -1), "q": r["series"]}
                for r in path
            ],
            "bands": [{"at": r["at"], "to": r["to"], "s": r["label"], "k": int(r["minor"])} for r in rows["bands"]],
            "levels": [{"v": r["value"]} for r in rows["levels"]],
            "points": [
                {"at": r["at"], "v": r["value"], "lo": within(r["low"]), "hi": within(r["high"]),
                 "o": int(r["open"]), "c": _c(r, own, orders), "s": r["label"], "t": r["tip"], "q": r["series"]}
                for r in points
            ],
        },
        "signals": {
            "from": begin, "to": end, "places": places, "form": form, "top": top, "bottom": bottom,
            "rise": (18 if small else 12) + (_TITLE if labelled else 0),
            "unit": signals.get("unit", ""), "along": signals.get("along", ""), **_ticks(top, bottom, step),
        },
        "pad": {"top": (30 if small else 24) + (_TITLE if panel.axis and labelled else 0),
                "bottom": 26 + (_TITLE if panel.along else 0), "left": _left(top, bottom, step),
                "wide": 12 if small else 22, "narrow": 12 if small else 22},
        "height": 120 if small else 150,
    }  # fmt: skip


def _along(begin: float, end: float, sparse: float = 1.0) -> tuple[list[float], str]:
    """Numbers of an axis along a quantity, and their form; `sparse` times fewer.

    >>> _along(0.0, 60.0)
    ([0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0], ',.0f')
    """
    pace = tick_step(sparse * (end - begin))
    first, last = math.ceil(begin / pace - 1e-9), math.floor(end / pace + 1e-9)
    return [float(f"{n * pace:.10g}") for n in range(first, last + 1)], f",.{decimals(pace)}f"


def _span(
    least: float, most: float, positive: bool = False, near: bool = True, steps: float = 6.5
) -> tuple[float, float, float]:
    """Ends and step of an axis about what was measured: from zero where that is near and asked for, or where what
    cannot be below zero lies below it by noise only.

    >>> _span(0.0, 141.0), _span(88.2, 91.4), _span(-4.0, 141.0, positive=True), _span(-40.0, 141.0, positive=True)
    ((150.0, 0.0, 25.0), (91.5, 88.0, 0.5), (150.0, 0.0, 25.0), (150.0, -50.0, 50.0))
    """
    if (near and 0 <= least < 0.4 * most) or (positive and -NOISE * most <= least < 0):
        least = 0.0
    step = tick_step(max(most - least, abs(most) * 1e-6, 1e-12), steps)
    top, bottom = step * math.ceil(round(most / step, 9)), step * math.floor(round(least / step, 9))
    if top == bottom:
        top = bottom + step
    return float(f"{top:.10g}"), float(f"{bottom:.10g}"), step


KINDS: Mapping[str, Kind] = {
    "slope": Kind("slope", _PHASED, _lay_phased),
    "history": Kind("history", _PHASED, _lay_phased),
    "dots": Kind(
        "dots",
        {
            "lines": {"y": _NEEDED, "label": _NEEDED, "under": ""},
            "dots": {"y": _NEEDED, "value": _NEEDED, "coating": "", "crossed": False, "tip": "", "series": ""},
            "means": {
                "y": _NEEDED,
                "value": _NEEDED,
                "low": None,
                "high": None,
                "open": False,
                "coating": "",
                "tip": "",
                "series": "",
            },
            "limits": {"value": _NEEDED, "label": ""},
        },
        _lay_dots,
    ),
    "upright": Kind(
        "upright",
        {
            "groups": {"x": _NEEDED, "label": _NEEDED, "under": ""},
            "points": {"x": _NEEDED, **_POINT},
            "limits": {"value": _NEEDED, "label": ""},
        },
        _lay_upright,
    ),
    "run": Kind(
        "run",
        {
            "bands": {"at": _NEEDED, "to": _NEEDED, "run": 0},
            "runs": {"at": _NEEDED, "to": _NEEDED, "label": _NEEDED},
            "events": {"at": _NEEDED, "run": 0},
        },
        _lay_run,
    ),
    "curves": Kind(
        "curves",
        {
            "path": {"at": _NEEDED, "value": _NEEDED, "line": "", "grey": False, "coating": "", "series": ""},
            "bands": {"at": _NEEDED, "to": _NEEDED, "label": "", "minor": False},
            "levels": {"value": _NEEDED},
            "points": {"at": _NEEDED, **_POINT},
        },
        _lay_curves,
    ),
}
