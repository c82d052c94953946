"""Numbers as people write them beside a code: `leak=60;hold=28`, each with its unit or without."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from checkwatch.core.attempt import plain
from checkwatch.core.entry import Measures
from checkwatch.core.mistake import cut, quoted
from checkwatch.core.rulebook import Measure
from checkwatch.errors import Problem, WrongUse

# Longer numbers are slips of the keyboard, and those with an exponent nobody writes by hand.
_NUMBER = re.compile(r"([+-]?\d{1,12}(?:\.\d{1,12})?)(?:\s*([^\d\s.,].*))?", re.ASCII | re.DOTALL)

# What goes on with the number instead, so that 1e5 and 12:30 are not 1 and 12 of something.
_NO_UNIT = re.compile(r"[eE][+-]?\d|[-+:/*^]", re.ASCII)


def read_measures(text: str, takes: Mapping[str, Measure], where: str) -> Measures:
    """Measures in the order in which they are written, `;` between them.

    `takes` are the measures whose units are known; others are read too. Raises WrongUse for the
    first that cannot be read, and for one that is given twice.
    """
    found: dict[str, Decimal] = {}
    for part in text.split(";") if text.strip() else ():
        code, equals, number = part.partition("=")
        code = code.strip()
        if not equals or not code:
            what = f"{quoted(part.strip())} is no measure"
            raise WrongUse(Problem(where, what, "write it like leak=60;hold=28"))
        if code in found:
            raise WrongUse(Problem(where, f"{quoted(code)} stands there twice", "keep one of them"))
        found[code] = _number(number, code, takes.get(code), where)
    return tuple(found.items())


def write_measures(measures: Measures) -> str:
    """Measures as `read_measures` reads them, without units."""
    return ";".join(f"{code}={plain(value)}" for code, value in measures)


def _number(text: str, code: str, measure: Measure | None, where: str) -> Decimal:
    """The number that stands in a text, as it is or with the unit of its measure behind it."""
    written = text.strip()
    match = _NUMBER.fullmatch(written)
    if match is None or (measure is None and match[2] and _NO_UNIT.match(match[2])):
        what = f"{quoted(written)} is no number" if written else f"{cut(code)} has no number"
        raise WrongUse(Problem(where, what, f"write it like {cut(code)}=60 or {cut(code)}=60.5"))
    number, unit = match.groups()
    if unit and measure is not None and unit != measure.unit:
        what = f"{cut(code)} is not in {quoted(unit)}"
        raise WrongUse(Problem(where, what, f"convert it to {measure.unit}"))
    return Decimal(number)
