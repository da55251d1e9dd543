"""The drawings behind `charts.KINDS`, in Altair. Imported only when the compiled drawings are not in the cache.

Colours are CSS variables, so that one SVG follows light, dark and print. Sizes are set by the page's script through the
signals `width` and `narrow`; the drawing sizes nothing itself (`autosize: none`), so it can clip nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import altair as alt
from altair.utils.schemapi import debug_mode

from sitegen.pages.compiled import Spec
from sitegen.pages.styles import DASHES, SHAPES

_SANS = "Segoe UI, Roboto, Helvetica Neue, Liberation Sans, sans-serif"
_INK, _SOFT, _RULE, _PAPER, _GHOST, _FAINT = (f"var(--{n})" for n in ("ink", "soft", "rule", "paper", "ghost", "faint"))


def _expr(text: str) -> alt.ExprRef:
    return alt.ExprRef(expr=text)


# A coating's look by its place, -1 grey; past eight, shapes and dashes move on (see `styles.style_number`).
_COLOUR = "datum.c < 0 ? 'var(--ghost)' : 'var(--coating-' + (datum.c % 8) + ')'"
_TURN = "(datum.c < 0 ? 0 : (datum.c + floor(datum.c / 8)) % 8)"
_SHAPE = f"shapes[{_TURN}]"
_DASH = f"dashes[{_TURN}]"


def _params(extra: Mapping[str, object]) -> list[alt.Parameter]:
    fixed = {"shapes": list(SHAPES), "dashes": [list(dash) for dash in DASHES], "narrow": False, "left": 40, "rise": 14,
             "dot": 26}  # fmt: skip
    return [alt.param(name=name, value=value) for name, value in {**fixed, **extra}.items()]


# Ticks come ready: counted up by the drawing, 0.2 six times is a little more than 1.2 and falls off the axis.
_AXIS = alt.Axis(
    values=_expr("ticks"),
    title=None,
    labelOverlap=False,
    labelFlush=False,
    tickCount=99,
    labelExpr="format(datum.value, digits)",
)


def _data(name: str) -> alt.Chart:
    return alt.Chart(alt.NamedData(name=name))


def _finished(layers: Sequence[alt.Chart], extra: Mapping[str, object], height: int) -> Spec:
    titles = [
        _data("axis").mark_text(align="left", x=_expr("-left"), y=_expr("-rise"), text=_expr("datum.s"), color=_INK),
        _data("along").mark_text(
            align="right", x=_expr("width"), y=_expr("height + 38"), text=_expr("datum.s"), color=_INK
        ),
    ]
    config = alt.Config(
        aria=False,
        mark=alt.MarkConfig(invalid="show"),  # rows are checked before they come here: no filter for each layer
        view=alt.ViewConfig(stroke=None),
        axis=alt.AxisConfig(
            domain=False, ticks=False, title=None, labelColor=_SOFT, labelFont=_SANS, labelFontSize=13, labelPadding=6,
            gridColor=_RULE, labelAngle=0,
        ),
        text=alt.MarkConfig(font=_SANS, fontSize=13, color=_SOFT),
    )  # fmt: skip
    chart = alt.layer(
        *layers, *titles, width=400, height=height, background="transparent", padding=0, config=config,
        autosize=alt.AutoSizeParams(type="none"),
    ).add_params(*_params(extra))  # fmt: skip
    return dict(chart.to_dict(validate=False))


def _value_axis(field: str = "v") -> alt.Y:
    return alt.Y(
        f"{field}:Q",
        scale=alt.Scale(domain=_expr("[bottom, top]"), nice=False, zero=False),
        axis=_AXIS,
    )


def _whiskers(x: Callable[[], alt.X], stroke: float) -> list[alt.Chart]:
    """Upright intervals of the points, `stroke` px wide; one that leaves the axis ends in an arrow head."""
    y = _value_axis
    return [
        _data("points").transform_filter("isValid(datum.lo)").mark_rule(
            color=_expr(_COLOUR), strokeWidth=stroke, strokeDash=_expr("datum.o ? [2.5, 2] : []"),
        ).encode(x=x(), y=y("lo"), y2="hi:Q"),
        _data("points").transform_filter("datum.up == 1").mark_point(
            color=_expr(_COLOUR), filled=True, shape="triangle-up", size=30, y=2, opacity=1,
        ).encode(x=x()),
    ]  # fmt: skip


def _phased(height: int, *, history: bool) -> Spec:
    def x(field: str = "x") -> alt.X:
        scale = alt.Scale(domain=_expr("[-0.38, n - 0.62]"), nice=False, zero=False)
        return alt.X(f"{field}:Q", scale=scale, axis=None)

    y = _value_axis

    roomy = "(width / n > widest)"
    lower = "(width / n > slim ? 0 : (datum.x % 2) * 15 * drop)"  # where they are tight, every second one
    band = [
        _data("band").mark_rect(color=_FAINT, x=0, x2=_expr("width")).encode(y=y("lo"), y2="hi:Q"),
        _data("band").mark_rule(color=_GHOST, x=0, x2=_expr("width")).encode(y=y("lo")),
        _data("band").mark_rule(color=_GHOST, x=0, x2=_expr("width")).encode(y=y("hi")),
    ]
    base = [
        _data("phases").mark_rule(color=_SOFT, x=0, x2=_expr("width"), strokeWidth=1).encode(
            y=alt.YDatum(0)
        ),
        _data("phases").mark_text(
            y=_expr(f"height + 8 + {lower}"), baseline="top", align="center", lineHeight=15,
            color=_INK, text=_expr(f"{roomy} ? datum.long : datum.short"),
        ).encode(x=x()),
        _data("phases").mark_text(
            y=_expr(f"height + 9 + 15 * ({roomy} ? longest : shortest) + {lower}"), baseline="top", align="center",
             text=_expr(f"{roomy} ? datum.u : datum.us"),
        ).encode(x=x()),
        _data("phases").transform_filter("datum.x == 0").mark_text(
            x=-6, y=_expr("height + 9 + 15 * shortest"), baseline="top", align="right",
            text=_expr(f"{roomy} ? '' : under"),
        ),
    ]  # fmt: skip
    limits = [
        _data("limits").mark_rule(color=_INK, strokeDash=[2, 3], x=0, x2=_expr("width")).encode(y=y()),
        _data("limits").mark_text(
            x=2, dy=-6, align="left", text=_expr("datum.s"), opacity=_expr("narrow ? 1 : 0" if history else "1"),
        ).encode(y=y()),
        _data("band").mark_text(
            x=2, dy=0, align="left", baseline="middle", text=_expr("datum.s"), opacity=_expr("narrow ? 1 : 0"),
        ).transform_calculate(v="(datum.lo + datum.hi) / 2").encode(y=y()),
    ]  # fmt: skip
    lines = [
        _data("lines").transform_filter("datum.r == 't' && datum.c < 0").mark_line(
            strokeWidth=1.1, color=_GHOST, strokeJoin="round", strokeDash=_expr("datum.d ? [1.5, 3] : []"),
        ).encode(x=x(), y=y(), detail="g:N"),
        _data("lines").transform_filter("datum.r == 't' && datum.c >= 0").mark_line(
            strokeWidth=0.9, color=_expr(_COLOUR), strokeJoin="round",
            strokeDash=_expr("datum.d ? [1.5, 3] : []"),
        ).encode(x=x(), y=y(), detail="g:N"),
        _data("lines").transform_filter("datum.r == 'm'").mark_line(
            strokeWidth=_expr("datum.d ? 1.4 : named ? 1.2 : 2.2"), color=_expr(_COLOUR), strokeJoin="round",
            strokeDash=_expr(f"datum.d ? [1.5, 3] : {_DASH}"),
        ).encode(x=x(), y=y(), detail="g:N"),
    ]  # fmt: skip
    whiskers = _whiskers(x, 1.8)
    readings = [
        _data("readings").mark_point(
            shape="circle", size=24, stroke=_expr("datum.k ? 'var(--soft)' : " + _COLOUR.replace("--ghost", "--soft")),
            fill=_PAPER, strokeWidth=1.1, opacity=1, xOffset=_expr("datum.o"), tooltip=_expr("datum.t"),
        ).encode(x=x(), y=y()),
        _data("readings").transform_filter("datum.k == 1").mark_point(
            shape="M-1,-1L1,1M-1,1L1,-1", size=64, stroke=_INK, strokeWidth=1.3, fill=None, opacity=1,
            xOffset=_expr("datum.o"), tooltip=_expr("datum.t"),
        ).encode(x=x(), y=y()),
        _data("readings").transform_filter("datum.s != ''").mark_text(
            align=_expr("datum.x > n - 1.5 ? 'right' : 'center'"), dy=14,
            dx=_expr("datum.x > n - 1.5 ? min(datum.o, 18) + 4 : datum.o"), text=_expr("datum.s"),
            color=_SOFT,
        ).encode(x=x(), y=y()),
    ]  # fmt: skip
    leaders = [] if history else [
        _data("ends").transform_filter("datum.far == 1").mark_rule(color=_SOFT, strokeWidth=0.8, x2Offset=8).encode(
            x=x("f"), x2="x:Q", y=y("of"), y2="v:Q"
        ),
    ]  # fmt: skip
    points = [
        _data("points").mark_point(
            shape=_expr(_SHAPE), size=78 if history else _expr("datum.n == '' ? dot : narrow ? 26 : 40"),
            strokeWidth=1.6, opacity=1, stroke=_expr(_COLOUR),
            fill=_expr(f"datum.o ? 'var(--paper)' : {_COLOUR}"), tooltip=_expr("datum.t"),
        ).encode(x=x(), y=y()),
    ]  # fmt: skip
    labels = [
        _data("points").transform_filter("datum.n != ''").mark_text(
            align="center", dy=-6, text=_expr("datum.n"), color=_INK,
        ).transform_calculate(over="isValid(datum.hi) ? datum.hi : datum.v").encode(x=x(), y=y("over")),
        _data("ends").mark_text(
            align="left", dx=20 if history else 9, text=_expr("datum.s"),
            color=_expr("datum.b ? 'var(--ink)' : 'var(--soft)'"),
            fontWeight=_expr("datum.b ? 600 : 400"),
        ).encode(x=x(), y=y()),
        _data("texts").mark_text(
            align=_expr("narrow ? 'center' : 'left'"), dx=_expr("narrow ? 0 : 18"), dy=_expr("narrow ? -12 : -11"),
            text=_expr("datum.s"), color=_INK, fontWeight=600,
        ).encode(x=x(), y=y()),
        _data("edge").mark_text(
            align="left", x=_expr("width + 8"), text=_expr("datum.s"), opacity=_expr("narrow ? 0 : 1"),
        ).encode(y=y()),
        _data("inside").mark_text(
            align="right", dx=10, dy=12, text=_expr("datum.s"), opacity=_expr("narrow ? 1 : 0"),
        ).encode(x=x(), y=y()),
    ]  # fmt: skip
    parts = [*band, *base, *limits, *lines, *leaders, *whiskers, *readings, *points, *labels]
    extra = {
        "n": 5,
        "top": 1,
        "bottom": 0,
        "ticks": [0, 1],
        "digits": ".1f",
        "widest": 90,
        "under": "km",
        "longest": 1,
        "shortest": 2,
        "slim": 50,
        "drop": 3,
        "named": False,
    }
    return _finished(parts, extra, height)


def _dots() -> Spec:
    def x(field: str = "v") -> alt.X:
        scale = alt.Scale(domain=_expr("[bottom, top]"), nice=False, zero=False)
        return alt.X(
            f"{field}:Q",
            scale=scale,
            axis=_AXIS,
        )

    def y() -> alt.Y:
        scale = alt.Scale(domain=_expr("[-0.5, n - 0.5]"), nice=False, zero=False, reverse=True)
        return alt.Y("y:Q", scale=scale, axis=None)

    parts = [
        _data("lines").mark_rule(color=_RULE, x=0, x2=_expr("width")).encode(y=y()),
        _data("lines").mark_text(
            align="right", x=-10, dy=_expr("datum.u && !narrow ? -8 : 0"), text=_expr("datum.s"), color=_INK,
            fontWeight=600,
        ).encode(y=y()),
        _data("lines").mark_text(
            align="right", x=-10, dy=8, text=_expr("narrow ? '' : datum.u"),
        ).encode(y=y()),
        _data("limits").mark_rule(color=_INK, strokeDash=[2, 3], y=-4, y2=_expr("height")).encode(x=x()),
        _data("limits").mark_text(y=-8, baseline="bottom", align="center", text=_expr("datum.s")).encode(x=x()),
        _data("dots").mark_point(
            shape="circle", size=_expr("dot"), strokeWidth=1.1, fill=_PAPER, opacity=1, yOffset=7,
            stroke=_expr(_COLOUR), tooltip=_expr("datum.t"),
        ).encode(x=x(), y=y()),
        _data("dots").transform_filter("datum.k == 1").mark_point(
            shape="M-1,-1L1,1M-1,1L1,-1", size=60, stroke=_INK, strokeWidth=1.3, opacity=1, yOffset=7,
        ).encode(x=x(), y=y()),
        _data("points").transform_filter("isValid(datum.lo)").mark_rule(
            color=_expr(_COLOUR), strokeWidth=2, yOffset=_expr("-5 * apart"),
            strokeDash=_expr("datum.o ? [2.5, 2] : []"),
        ).encode(x=x("lo"), x2="hi:Q", y=y()),
        _data("points").transform_filter("datum.up == 1").mark_point(
            color=_expr(_COLOUR), filled=True, shape="triangle-right", size=30, x=_expr("width - 2"), opacity=1,
            yOffset=_expr("-5 * apart"),
        ).encode(y=y()),
        _data("points").mark_point(
            shape=_expr(_SHAPE), size=78, strokeWidth=1.6, opacity=1, stroke=_expr(_COLOUR),
            yOffset=_expr("-5 * apart"), fill=_expr(f"datum.o ? 'var(--paper)' : {_COLOUR}"), tooltip=_expr("datum.t"),
        ).encode(x=x(), y=y()),
    ]  # fmt: skip
    return _finished(parts, {"n": 5, "top": 1, "bottom": 0, "ticks": [0, 1], "digits": ".1f", "apart": 1}, 200)


def _upright() -> Spec:
    """A column of marks a group, each with its interval; the axis need not begin at zero."""

    def x() -> alt.X:
        return alt.X("x:Q", scale=alt.Scale(domain=_expr("[-0.6, n - 0.4]"), nice=False, zero=False), axis=None)

    y = _value_axis
    parts = [
        _data("groups").mark_text(
            y=_expr("height + 8"), baseline="top", align="center", text=_expr("datum.s"), color=_INK,
        ).encode(x=x()),
        _data("unders").mark_text(
            y=_expr("height + 24"), baseline="top", align="center", text=_expr("datum.s")
        ).encode(x=x()),
        _data("limits").mark_rule(color=_INK, strokeDash=[2, 3], x=0, x2=_expr("width")).encode(y=y()),
        *_whiskers(x, 1.6),
        _data("points").mark_point(
            shape=_expr(_SHAPE), size=_expr("dot"), strokeWidth=1.5, opacity=1, stroke=_expr(_COLOUR),
            fill=_expr(f"datum.o ? 'var(--paper)' : {_COLOUR}"), tooltip=_expr("datum.t"),
        ).encode(x=x(), y=y()),
        _data("limits").mark_text(
            x=2, dy=-6, align="left", text=_expr("datum.s")
        ).encode(y=y()),
        _data("ends").mark_text(align="center", dy=-7, text=_expr("datum.s"), color=_INK).encode(x=x(), y=y()),
    ]  # fmt: skip
    return _finished(parts, {"n": 7, "top": 1, "bottom": 0, "ticks": [0, 1], "digits": ".1f"}, 190)


def _along(values: str, form: str) -> Callable[..., alt.X]:
    """Axis along a quantity, its numbers and their form given by signals."""

    def x(field: str = "at") -> alt.X:
        scale = alt.Scale(domain=_expr("[from, to]"), nice=False, zero=False)
        ticks = alt.Axis(
            values=_expr(values), title=None, labelOverlap=False, labelFlush=False, tickCount=99, labelPadding=9,
            labelExpr=f"format(datum.value, {form})",
        )  # fmt: skip
        return alt.X(f"{field}:Q", scale=scale, axis=ticks)

    return x


def _run() -> Spec:
    """One channel of a stack over time: a line of means a run, upright strokes from least to most, bands and events
    through all panels. `up` and `down` [px] is how far they reach beyond the plot, to the panels above and below.
    """

    def x(field: str = "at") -> alt.X:
        return alt.X(f"{field}:Q", scale=alt.Scale(domain=_expr("[from, to]"), nice=False, zero=False), axis=None)

    y = _value_axis
    middle = _expr("-mid - 25 * datum.lane")  # as far apart as report.js sets them beside each other
    parts = [
        _data("bands").mark_rect(color=_FAINT, y=_expr("-up"), y2=_expr("height + down")).encode(x=x(), x2="to:Q"),
        _data("bands").mark_rect(color=_GHOST, y=_expr("height"), y2=_expr("height + 3")).encode(x=x(), x2="to:Q"),
        _data("spread").mark_rule(color=_GHOST, strokeWidth=1).encode(x=x(), y=y("lo"), y2="hi:Q"),
        _data("path").mark_line(strokeWidth=1.3, color=_INK, strokeJoin="round").encode(
            x=x(), y=y(), detail="l:N"
        ),
        _data("events").mark_rule(
            color=_INK, y=_expr("-up"), y2=_expr("height + down"), strokeDash=[2, 3],
        ).encode(x=x()),
        _data("circles").mark_rule(color=_INK, y=middle, y2=_expr("-up"), strokeDash=[2, 3]).encode(
            x=x("over"), x2="at:Q"
        ),
        _data("circles").mark_point(
            shape="circle", size=_expr("datum.wide ? 380 : 270"), strokeWidth=1.2, opacity=1, stroke=_INK, fill=_PAPER,
            y=middle, tooltip=_expr("datum.t"),
        ).encode(x=x("over")),
        _data("circles").mark_text(
            align="center", baseline="middle", y=middle, text=_expr("datum.s"), color=_INK, fontWeight=600,
        ).encode(x=x("over")),
        _data("names").mark_text(
            align="left", x=_expr("datum.px"), y=_expr("datum.py"), text=_expr("datum.s"), color=_INK, fontWeight=600,
        ),
        _data("times").mark_rule(color=_SOFT, y=_expr("height"), y2=_expr("height + 5")).encode(x=x()),
        _data("times").mark_text(
            align="center", baseline="top", y=_expr("height + 8"), text=_expr("datum.s"),
        ).encode(x=x()),
    ]  # fmt: skip
    extra = {
        "from": 0,
        "to": 60,
        "top": 1,
        "bottom": 0,
        "ticks": [0, 1],
        "digits": ".1f",
        "up": 24,
        "down": 6,
        "mid": 34,
    }
    return _finished(parts, extra, 78)


def _curves() -> Spec:
    """Curves and points over a quantity: grey before, in the coating's colour after; bands stand upright."""
    x, y = _along("places", "form"), _value_axis
    parts = [
        _data("bands").mark_rect(color=_FAINT, y=0, y2=_expr("height")).encode(x=x(), x2="to:Q"),
        _data("bands").mark_text(
            align="left", dx=3, y=-8, baseline="bottom", text=_expr("datum.s"),
            opacity=_expr("narrow && datum.k ? 0 : 1"),
        ).encode(x=x()),
        _data("bands").mark_rect(color=_GHOST, y=_expr("height"), y2=_expr("height + 3")).encode(x=x(), x2="to:Q"),
        _data("levels").mark_rule(color=_SOFT, strokeDash=[2, 3], x=0, x2=_expr("width")).encode(y=y()),
        _data("path").transform_filter("datum.c < 0").mark_line(
            strokeWidth=1.1, color=_GHOST, strokeJoin="round",
        ).encode(x=x(), y=y(), detail="g:N"),
        _data("path").transform_filter("datum.c >= 0").mark_line(
            strokeWidth=1.3, color=_expr(_COLOUR), strokeJoin="round",
        ).encode(x=x(), y=y(), detail="g:N"),
        _data("points").transform_filter("isValid(datum.lo)").mark_rule(
            color=_expr(_COLOUR), strokeWidth=1.4,
        ).encode(x=x(), y=y("lo"), y2="hi:Q"),
        _data("points").mark_point(
            shape=_expr(_SHAPE), size=60, strokeWidth=1.5, opacity=1, stroke=_expr(_COLOUR),
            fill=_expr(f"datum.o ? 'var(--paper)' : {_COLOUR}"), tooltip=_expr("datum.t"),
        ).encode(x=x(), y=y()),
        _data("points").mark_text(align="left", dx=8, text=_expr("datum.s")).encode(x=x(), y=y()),
    ]  # fmt: skip
    extra = {"from": 0, "to": 1, "places": [0, 1], "form": ",.0f", "top": 1, "bottom": 0, "ticks": [0, 1],
             "digits": ".1f"}  # fmt: skip
    return _finished(parts, extra, 150)


def drawings() -> dict[str, Spec]:
    """Vega-Lite specification of every kind, by name.

    Altair would hold every part against its schema whenever it copies one, which takes half of the time; a test does.
    """
    made: dict[str, Callable[[], Spec]] = {
        "slope": lambda: _phased(190, history=False),
        "history": lambda: _phased(240, history=True),
        "dots": _dots,
        "upright": _upright,
        "run": _run,
        "curves": _curves,
    }
    with debug_mode(False):
        return {name: make() for name, make in made.items()}
