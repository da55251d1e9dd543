"""What functions print of tables and plans is what the template they stand for printed."""

from __future__ import annotations

import itertools

import pytest
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from sitegen.page.addresses import Link
from sitegen.page.blocks import Cell, Column, Disc, Plan, Row, Table
from sitegen.pages import printed
from sitegen.pages.setting import Setter
from sitegen.pages.styles import style
from sitegen.program.model import Coating

HEADINGS = """\
{% for c in t.columns %}{% set link = how(c.measure) %}<th scope="col"{% if c.numeric %} class="n"{% endif %}\
{% if drawn is not none and loop.index0 == drawn + 1 %} style="padding-left:1rem"{% endif %}\
{% if c.unit not in ["", "1"] %} data-unit="{{ c.unit }}"{% endif %}\
{% if c.group %} data-group="{{ c.group }}"{% endif %}>\
{% if link %}<a class="to-method" href="{{ link.href }}" title="How it is worked out">{{ c.title }}</a>\
{% else %}{{ c.title }}{% endif %}\
{% if c.unit not in ["", "1"] %}<br><span class="unit">{{ c.unit }}</span>{% endif %}</th>{% endfor %}"""
ROWS = """\
{% for row in t.rows %}
<tr{% if row.anchor %} id="{{ id(row.anchor) }}"{% endif %}{% if row.here %} class="here"{% endif %}>\
{% for p in row.cells %}{% set c = t.columns[loop.index0] %}\
{% if loop.first %}<th scope="row"{% if c.numeric %} class="n"{% endif %}>{{ cell(p) }}</th>\
{% else %}<td{% if loop.index0 == drawn %} class="draw"{% elif c.numeric %} class="n"{% endif %}\
{% if t.stack %} data-column="{{ c.title }}{% if c.unit not in ["", "1"] %}, {{ c.unit }}{% endif %}"{% endif %}>\
{{ cell(p) }}</td>{% endif %}{% endfor %}</tr>
{% endfor %}
"""
DISCS = """\
{% for d in discs %}
{% if d.disc.href %}<a href="{{ d.disc.href }}" aria-label="{{ d.label }}">{% else %}\
<g role="img" aria-label="{{ d.label }}">{% endif %}

{% if d.me %}<circle class="me" cx="{{ d.x }}" cy="{{ d.y }}" r="{{ d.radius + 2 }}"/>{% endif %}\
<circle class="hit thinly" cx="{{ d.x }}" cy="{{ d.y }}" r="{{ d.radius }}"/>
{% if d.filled %}<circle class="fill {% if d.coating %}coating-{{ colour(d.coating) }}{% endif %}\
{% if d.me %} full{% endif %}" cx="{{ d.x }}" cy="{{ d.y }}" r="{{ d.filled }}"/>{% endif %}\
<text class="m{% if d.me %} ink b{% endif %}" x="{{ d.x }}" y="{{ d.word_y }}">{{ d.disc.text }}</text>

{% if d.disc.href %}</a>{% else %}</g>{% endif %}

{% endfor %}
"""
HARM = ("", "plain", "<b> & \"quotes\" 'both'", "0.38 ± 0.03", "</td><script>", "&amp;")
ORDERS = {"nitrided": 0, "<graded>": 1}


def by_template(template: str, **given: object) -> str:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True
    )
    return environment.from_string(template).render(**given)


def table(stack: bool) -> Table:
    units, numeric = ("", "1", "mm²", "<", "%", ""), (False, True, False, True, True, False)
    named = zip(HARM, units, numeric, HARM, HARM[::-1], strict=True)
    columns = [Column(*each) for each in named]
    texts = itertools.cycle((*HARM, *HARM[1:]))
    rows = [
        Row(
            [Cell(next(texts), note="more" if (n + column) % 4 == 0 else "") for column in range(6)], n % 3 == 0, anchor
        )
        for n, anchor in enumerate(("", "a", "<a>", "a", ""))
    ]
    return Table("any", columns, rows, stack=stack)


@pytest.mark.parametrize("drawn", [None, 0, 2, 5])
@pytest.mark.parametrize("stack", [False, True])
def test_headings_and_rows(drawn: int | None, stack: bool) -> None:
    def how(measure: str) -> Link | None:
        return Link(measure, f"../methods.html#{measure}") if "&" in measure else None

    def cell(of: Cell) -> str:
        return by_template("{{ text }}{% if note %}<small>{{ note }}</small>{% endif %}", text=of.text, note=of.note)

    def safe(of: Cell) -> object:
        return Markup(cell(of))  # noqa: S704 - the template escaped it

    own, ids = table(stack), iter(range(100))
    assert printed.headings(own, drawn, how) == by_template(HEADINGS, t=own, drawn=drawn, how=how)
    made = printed.rows(own, own.rows, drawn, cell, lambda of: f"{len(of)}-{next(ids)}")
    ids = iter(range(100))
    assert made == by_template(ROWS, t=own, drawn=drawn, cell=safe, id=lambda of: f"{len(of)}-{next(ids)}")
    assert "<script>" not in made


def test_small_discs() -> None:
    setter = Setter({name: Coating(name, name, order) for name, order in ORDERS.items()})
    discs = [
        Disc(n + 1, text, "mm²", coating, href=href, share=share, label=text)
        for n, (text, coating, href, share) in enumerate(
            zip(
                HARM,
                ("", *ORDERS, *ORDERS, ""),
                ("", "a.html", "", 'b"c', "d", ""),
                (0, 1, None, 0.3, 2, 0.1),
                strict=True,
            )
        )
    ]
    at = setter.small_plan(Plan("strip", discs, me=4))
    colours = {name: style(order).colour for name, order in ORDERS.items()}
    assert setter.small_discs(at) == by_template(DISCS, discs=at.discs, colour=colours.__getitem__)
