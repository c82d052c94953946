"""What may stand behind an identifier of the GS1 standard, and what is wrong with what does.

Lengths and characters: GS1 Barcode Syntax Dictionary. Which identifiers need no separator behind
them: GS1 General Specifications, 7.8, "element strings with predefined length". Dates: the same,
3.4 and 7.12. Section numbers are as others quote them.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable, Iterator
from datetime import date
from enum import Enum, auto
from typing import NamedTuple

from checkwatch.core.gtin import check_digit_fits
from checkwatch.core.mistake import quoted
from checkwatch.errors import Problem

#: The character as which a scanner sends FNC1, the separator.
GS = "\x1d"

PUNCTUATION = "!\"%&'()*+,-./:;<=>?_"

#: The characters of a text: GS1 AI encodable character set 82.
ENCODABLE = re.compile(rf"[A-Za-z0-9{re.escape(PUNCTUATION)}]*")


class Kind(Enum):
    """What the characters of a value mean."""

    DIGITS = auto()
    CHECKED = auto()  # digits of which the last one checks the others
    DATE = auto()  # YYMMDD, where DD may be 00
    TEXT = auto()


class Form(NamedTuple):
    """What a value is, its least and its greatest length, whether a separator ends it."""

    kind: Kind
    least: int
    most: int
    separated: bool = True


class Element(NamedTuple):
    """An identifier and its value as they stand on the label."""

    identifier: str
    value: str


def _predefined(kind: Kind, length: int, names: Iterable[int | str]) -> dict[str, Form]:
    return {str(name): Form(kind, length, length, separated=False) for name in names}


def _separated(kind: Kind, least: int, most: int, names: str) -> dict[str, Form]:
    return {name: Form(kind, least, most) for name in names.split()}


#: The identifiers that are read. Every one of predefined length is among them, also those that the
#: standard keeps for later (04, 14, 18, 19, 418, 419): their length is known, so they are passed
#: over. Of the others those that stand on single items of medical supplies.
IDENTIFIERS: dict[str, Form] = {
    **_predefined(Kind.CHECKED, 18, ["00"]),
    **_predefined(Kind.CHECKED, 14, ["01", "02", "03"]),
    **_predefined(Kind.TEXT, 16, ["04"]),
    **_predefined(Kind.DATE, 6, [11, 12, 13, 15, 16, 17]),
    **_predefined(Kind.TEXT, 6, [14, 18, 19]),
    **_predefined(Kind.DIGITS, 2, [20]),
    **_predefined(Kind.DIGITS, 6, range(3100, 3700)),
    **_predefined(Kind.CHECKED, 13, range(410, 418)),
    **_predefined(Kind.TEXT, 13, [418, 419]),
    **_separated(Kind.TEXT, 1, 20, "10 21 22 243 710 711 712 713 714 715 716 717 7240 8012"),
    **_separated(Kind.TEXT, 1, 25, "8013"),
    **_separated(Kind.TEXT, 1, 28, "235"),
    **_separated(Kind.TEXT, 1, 30, "240 241 250 251 90"),
    **_separated(Kind.TEXT, 1, 90, "91 92 93 94 95 96 97 98 99"),
    **_separated(Kind.DIGITS, 1, 6, "242"),
    **_separated(Kind.DIGITS, 1, 8, "30 37"),
    **_separated(Kind.DIGITS, 3, 3, "422"),
    **_separated(Kind.DIGITS, 10, 10, "7003"),
    **_separated(Kind.DIGITS, 8, 12, "8008"),
    **_separated(Kind.DIGITS, 13, 25, "255"),
}


def mistakes_in(element: Element, where: str, today: date) -> Iterator[Problem]:
    """What is wrong with the value of an element whose identifier is known."""
    name, value = element
    form = IDENTIFIERS[name]
    where = f"{where}: ({name})"
    if not value:
        yield Problem(where, "has no value", "scan it again, or type its value")
        return
    wrong = [*_mistakes_in_characters(value, form, where), *_mistakes_in_length(value, form, where)]
    yield from wrong or _mistakes_in_meaning(value, form, where, today)


def _mistakes_in_characters(value: str, form: Form, where: str) -> Iterator[Problem]:
    if form.kind is Kind.TEXT:
        good = ENCODABLE.match(value)
        remedy = (
            f"letters, digits and {PUNCTUATION} can; let the scanner send FNC1 as GS (ASCII 29)"
        )
    else:
        good = re.match("[0-9]*", value)
        remedy = "only digits can; scan it again"
    if good and good.end() < len(value):
        what = f"{quoted(value[good.end()])} cannot stand in {quoted(value)}"
        yield Problem(where, what, remedy)


def _mistakes_in_length(value: str, form: Form, where: str) -> Iterator[Problem]:
    if form.least <= len(value) <= form.most:
        return
    bounds = f"{form.least}" if form.least == form.most else f"{form.least} to {form.most}"
    remedy = "scan it again"
    short = form.kind is Kind.CHECKED and len(value) < form.most
    if short and value.isascii() and value.isdigit() and check_digit_fits(value):
        remedy = f"put zeros before it: {quoted(value.zfill(form.most))}"
    elif form.separated and len(value) > form.most:
        remedy = "a separator (FNC1, sent as GS) may have been lost; type the label with brackets"
    yield Problem(where, f"{quoted(value)} has length {len(value)}, not {bounds}", remedy)


def _mistakes_in_meaning(value: str, form: Form, where: str, today: date) -> Iterator[Problem]:
    if form.kind is Kind.CHECKED and not check_digit_fits(value):
        what = f"the check digit of {quoted(value)} does not fit"
        yield Problem(where, what, "scan it again, or compare every digit with the package")
    if form.kind is Kind.DATE:
        try:
            calendar_day(value, today)
        except ValueError:
            what = f"{quoted(value)} is no day of the calendar"
            yield Problem(where, what, "it is year, month and day, as 271231; 00 is the last day")


def calendar_day(yymmdd: str, today: date) -> date:
    """The day that six digits mean; day 00 is the last day of the month.

    The century is the one that brings the year within 49 years before and 50 years after that of
    `today` (GS1 General Specifications, 7.12). Raises `ValueError` if there is no such day.
    """
    year, month, day = (int(yymmdd[at : at + 2]) for at in (0, 2, 4))
    ahead = year - today.year % 100
    century = today.year // 100 + (ahead <= -50) - (ahead >= 51)
    year += century * 100
    return date(year, month, day or calendar.monthrange(year, month)[1])
