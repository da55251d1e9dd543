"""From a compiled Vega specification to a drawing: plain functions that `theme/painter.js` calls.

The general library that draws Vega specifications in a browser weighs 900 kB and takes longer to start than a page may
take to show its first chart. Our kinds need little of it: linear scales, an axis with grid and labels, filters and
formulas, and five marks. So each specification is translated here, once, when the site is published; what is not
understood raises `DrawingError`, so that nothing a kind asks for is silently left out. A test holds what is painted
against the library's own drawing of the same specification and rows.

The specification language is public: Vega documentation, "Marks", "Scales", "Axes", "Expressions".
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any


class DrawingError(ValueError):
    """A chart kind asks for what the painter cannot draw."""


_COMMON = {"opacity"}
CHANNELS = {
    "rect": _COMMON | {"x", "x2", "y", "y2", "fill"},
    "rule": _COMMON | {"x", "x2", "y", "y2", "stroke", "strokeWidth", "strokeDash"},
    "line": _COMMON | {"x", "y", "stroke", "strokeWidth", "strokeDash", "strokeJoin"},
    "symbol": _COMMON | {"x", "y", "shape", "size", "fill", "stroke", "strokeWidth", "tooltip"},
    "text": _COMMON
    | {"x", "y", "dx", "dy", "text", "align", "baseline", "fill", "fontSize", "fontWeight", "lineHeight"},
}
FUNCTIONS = {"abs", "ceil", "floor", "format", "isValid", "length", "max", "min", "round", "toNumber"}  # in painter.js
_TOKEN = re.compile(
    r"""(?P<text>"(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*')|(?P<name>[A-Za-z_]\w*)|(?P<number>\d+\.?\d*|\.\d+)|(?P<other>.)""",
    re.DOTALL,
)
# Marks without a place: rows are checked before they come here, so the test that asks for one is always false.
_MISPLACED = re.compile(r'!isValid\(datum\["\w+"\]\) \|\| !isFinite\(\+datum\["\w+"\]\)')
Spec = dict[str, Any]  # a drawing, or a part of it, as Altair gives it
_INVISIBLE = {"aria", "maxExtent", "minExtent", "tickCount", "labelFlush", "labelOverlap", "zindex"}


def drawing(spec: Spec) -> str:
    """A specification as a JavaScript object of signals, derived rows, scales, axes and marks; `f` are its functions.

    Raises DrawingError for what the painter does not know.
    """
    signals = {each["name"]: each["value"] for each in spec["signals"]}
    known = {*signals, "width", "height"}
    sets = [each for each in spec["data"] if each.get("transform")]
    parts = {
        "signals": json.dumps(signals, separators=(",", ":")),
        "derive": f"function(rows,s){{{''.join(_derived(each, known) for each in sets)}}}",
        "scales": f"function(s){{return {_object((each['name'], _scale(each, known)) for each in spec['scales'])};}}",
        "axes": f"[{','.join(_axis(each, spec['config']['axis'], known) for each in spec['axes'])}]",
        "marks": f"[{','.join(_mark(each, known) for each in spec['marks'])}]",
        "font": json.dumps(spec["config"]["style"]["text"]["font"]),
    }
    return _object(parts.items())


def expression(text: str, signals: Iterable[str]) -> str:
    """A Vega expression as JavaScript: signals of `s`, functions of `f`, the row as `datum`.

    >>> expression("datum.v > min(top, 2) ? 'var(--ink)' : n", ["top", "n"])
    "datum.v > f.min(s.top, 2) ? 'var(--ink)' : s.n"
    """
    if "{" in text:
        raise DrawingError(f"object in the expression {text!r}")
    known = set(signals)
    made, before = "", ""
    for token in _TOKEN.finditer(text):
        piece = token[0]
        if token["name"] and before != "." and piece not in {"datum", "true", "false", "null"}:
            called = text[token.end() :].lstrip().startswith("(")
            if called and piece in FUNCTIONS:
                piece = f"f.{piece}"
            elif not called and piece in known:
                piece = f"s.{piece}"
            else:
                raise DrawingError(f"unknown {'function' if called else 'signal'} {piece!r} in {text!r}")
        made += piece
        before = piece.strip() or before
    return made


def _derived(data: Spec, signals: set[str]) -> str:
    """One set of rows made from another by filters and formulas."""
    made = f"(rows[{json.dumps(data['source'])}]||[])"
    for each in data["transform"]:
        told = expression(each["expr"], signals)
        if each["type"] == "filter":
            made += f".filter(function(datum){{return {told};}})"
        elif each["type"] == "formula":
            field = json.dumps(each["as"])
            made += f".map(function(datum){{return Object.assign({{}},datum,{{{field}:{told}}});}})"
        else:
            raise DrawingError(f"transform {each['type']!r}")
    return f"rows[{json.dumps(data['name'])}]={made};"


def _scale(scale: Spec, signals: set[str]) -> str:
    """Ends of a linear scale: domain, range."""
    if scale["type"] != "linear" or scale.get("nice") or scale.get("zero") or scale.get("clamp"):
        raise DrawingError(f"scale {scale['name']!r} is not plainly linear")
    range_ = [_value(end, signals) if isinstance(end, Mapping) else json.dumps(end) for end in scale["range"]]
    if scale.get("reverse"):
        range_.reverse()
    return f"[{_value(scale['domain'], signals)},[{','.join(range_)}]]"


def _axis(axis: Spec, config: Spec, signals: set[str]) -> str:
    """Grid lines, or labels, of one scale."""
    whole = {**config, **axis}
    told = {"orient", "scale", "values", "grid", "gridScale", "gridColor", "labels", "labelColor", "labelFont",
            "labelFontSize", "labelPadding", "labelAlign", "labelBaseline", "encode"}  # fmt: skip
    off = {"domain", "ticks", "title", "labelAngle"}
    strange = [name for name in whole if name not in told | off | _INVISIBLE or (name in off and whole[name])]
    if strange or whole["orient"] not in {"left", "bottom"}:
        raise DrawingError(f"axis with {strange[0] if strange else whole['orient']!r}")
    made = {
        "scale": json.dumps(whole["scale"]),
        "orient": json.dumps(whole["orient"]),
        "values": f"function(s){{return {_value(whole['values'], signals)};}}",
    }
    if whole["grid"]:
        made["grid"] = json.dumps(whole["gridColor"])
    if whole.get("labels", True):
        text = _value(whole["encode"]["labels"]["update"]["text"], signals)
        made["text"] = f"function(datum,s){{return {text};}}"
        made["colour"] = json.dumps(whole["labelColor"])
        made["size"] = json.dumps(whole["labelFontSize"])
        made["padding"] = json.dumps(whole["labelPadding"])
    return _object(made.items())


def _mark(mark: Spec, signals: set[str]) -> str:
    """One layer: its rows, and a function from a row to channels."""
    made: dict[str, str] = {}
    inner = mark
    if mark["type"] == "group":  # lines by group: the only nesting there is
        facet = mark["from"]["facet"]
        if len(mark["marks"]) != 1 or mark["marks"][0]["type"] != "line" or len(facet["groupby"]) != 1:
            raise DrawingError(f"group {mark['name']!r}")
        inner = mark["marks"][0]
        made["by"] = json.dumps(facet["groupby"][0])
        made["from"] = json.dumps(facet["data"])
    else:
        made["from"] = json.dumps(mark["from"]["data"])
    kind = inner["type"]
    if kind not in CHANNELS or (kind == "line") != ("by" in made):
        raise DrawingError(f"mark {kind!r} of {inner['name']}")
    if sort := inner.get("sort"):
        made["sort"] = json.dumps(sort["field"])
    channels = inner["encode"]["update"]
    if strange := sorted(set(channels) - CHANNELS[kind]):
        raise DrawingError(f"{strange[0]} of the {kind} {inner['name']}")
    made["type"] = json.dumps(kind)
    told = _object((name, _value(given, signals)) for name, given in sorted(channels.items()))
    made["channels"] = f"function(datum,s,k){{return {told};}}"
    return _object(made.items())


def _value(given: Any, signals: set[str]) -> str:
    """A channel's value as JavaScript."""
    if isinstance(given, Sequence):
        *tests, last = given
        if any(not _MISPLACED.fullmatch(each.get("test", "")) for each in tests):
            raise DrawingError(f"a condition: {tests[0]}")
        return _value(last, signals)
    if strange := set(given) - {"value", "signal", "field", "scale", "offset"}:
        raise DrawingError(f"{sorted(strange)[0]} in {given}")
    if "signal" in given:
        made = expression(given["signal"], signals)
    elif "field" in given:
        made = f"datum[{json.dumps(given['field'])}]"
    else:
        made = json.dumps(given["value"])
    if "scale" in given:
        made = f"k[{json.dumps(given['scale'])}]({made})"
    if "offset" in given:
        offset = given["offset"]
        made += f"+({_value(offset, signals) if isinstance(offset, Mapping) else json.dumps(offset)})"
    return made


def _object(parts: Iterable[tuple[str, str]]) -> str:
    return "{" + ",".join(f"{json.dumps(name)}:{made}" for name, made in parts) + "}"
