"""Numbers as people write them beside a code: `leak=60;hold=28`, each with its unit or without."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from checkwatch.core.attempt import plain
from checkwatch.core.entry import Measures
from checkwatch.core.rulebook import Measure
from checkwatch.errors import Problem, WrongUse

# Longer numbers are slips of the keyboard, and those with an exponent nobody writes by hand.
_NUMBER = re.compile(r"([+-]?\d{1,12}(?:\.\d{1,12})?)(?:\s*([^\d\s.,].*))?", re.ASCII | re.DOTALL)

_SHOWN = 60


def read_number(text: str, code: str, unit: str | None, where: str) -> Decimal:
    """The number that stands in a text, as it is or with its unit behind it.

    `unit` is that of the measure, empty for what has none, None where it is not known. Raises
    WrongUse for what is no decimal number, and for another unit.
    """
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        what = f"{_shown(text.strip())} is no number" if text.strip() else f"{code} has no number"
        raise WrongUse(Problem(where, what, f"write it like {code}=60 or {code}=60.5"))
    number, given = match.groups()
    if given and unit is not None and given != unit:
        remedy = f"convert it to {unit}" if unit else f"write it like {code}=60"
        raise WrongUse(Problem(where, f"{code} is not in {_shown(given)}", remedy))
    return Decimal(number)


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
            what = f"{_shown(part.strip())} is no measure"
            raise WrongUse(Problem(where, what, "write it like leak=60;hold=28"))
        if code in found:
            raise WrongUse(Problem(where, f"{_shown(code)} stands there twice", "keep one of them"))
        unit = takes[code].unit if code in takes else None
        found[code] = read_number(number, code[:_SHOWN], unit, where)
    return tuple(found.items())


def write_measures(measures: Measures) -> str:
    """Measures as `read_measures` reads them, without units."""
    return ";".join(f"{code}={plain(value)}" for code, value in measures)


def _shown(text: str) -> str:
    return repr(text if len(text) <= _SHOWN else f"{text[: _SHOWN - 1]}…")
