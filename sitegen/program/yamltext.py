"""Texts and quantities as they may stand in a YAML file that is written for somebody."""

from __future__ import annotations

import json
import re

_PLAIN = re.compile(r"[A-Za-z](?:[A-Za-z0-9 ._/()%+?-]*[A-Za-z0-9.)%?])?")
_YAML_WORDS = {"true", "false", "null", "yes", "no", "on", "off", "y", "n"}


def scalar(text: str) -> str:
    """A text as it may stand in a YAML file: plain where that is safe, else in double quotes.

    >>> scalar("hard chromium nitride"), scalar("no"), scalar("A: b")
    ('hard chromium nitride', '"no"', '"A: b"')
    """
    if _PLAIN.fullmatch(text) and text.casefold() not in _YAML_WORDS:
        return text
    return json.dumps(text, ensure_ascii=False)


def quantity(text: str) -> str:
    """A quantity with one blank between number and unit.

    >>> quantity("1500rpm"), quantity("80 psig")
    ('1500 rpm', '80 psig')
    """
    match = re.fullmatch(r"([-+0-9.eE]*[0-9.])\s*(.+)", text)
    return f"{match[1]} {match[2]}" if match else text


_PLAIN_NUMBER = re.compile(r"[0-9][0-9.]* [A-Za-z%][A-Za-z0-9 /%]*|[0-9]{4}-[0-9]{2}-[0-9]{2}")


def key(text: str) -> str:
    """A key; numbers are plain, since a key is always text here.

    >>> key("3"), key("on")
    ('3', '"on"')
    """
    return text if text.isdecimal() else scalar(text)


def flow(value: object) -> str:
    """Plain values on one line, as `program.yamlfile` reads them back.

    >>> flow({"header": "Fe", "unit": "mg/kg"}), flow([80, True, "80 psig", "<1"])
    ('{header: Fe, unit: mg/kg}', '[80, true, 80 psig, "<1"]')
    """
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key(name)}: {flow(each)}" for name, each in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(flow, value))}]"
    if isinstance(value, str):
        return value if _PLAIN_NUMBER.fullmatch(value) else scalar(value)
    return json.dumps(value)
