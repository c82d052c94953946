"""Labels of the GS1 standard on packages: the item, its lot, its expiry, its serial number.

Read are the bracketed form that is printed below a barcode, the element string that a scanner
sends (FNC1 as the character GS, with or without the symbology identifier before it), and the bare
number of an EAN, UPC or ITF-14 barcode. Nothing is guessed: an identifier that is not known, a
separator that was lost or replaced, a date that does not exist refuse the whole label.

Sources: GS1 General Specifications and the GS1 Barcode Syntax Dictionary; the figures are held by
tests/outside/test_gs1.py.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from checkwatch.core.gtin import check_digit_fits
from checkwatch.core.mistake import quoted
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.gs1_elements import (
    GS,
    IDENTIFIERS,
    Element,
    Kind,
    calendar_day,
    mistakes_in,
)

WHERE = "label"

#: The item, its lot, the day it was made, its expiry, its serial number.
USED = ("01", "10", "11", "17", "21")

#: What a scanner sends before an element string: GS1-128, GS1 DataMatrix, GS1 QR Code, GS1 DataBar.
OF_ELEMENTS = frozenset({"]C1", "]d2", "]Q3", "]e0"})

#: What it sends before a bare number, and the digits of that: EAN-13 and UPC, EAN-8, ITF-14.
OF_NUMBERS = {"]E0": 13, "]E4": 8, "]I1": 14}

#: No barcode holds more: the digits of the largest QR Code (ISO/IEC 18004, from memory).
LONGEST = 7089

#: Identifiers that may not stand beside each other on one item.
APART = (("01", "02"), ("01", "03"), ("01", "37"), ("01", "255"), ("21", "235"))

AS_PRINTED = 'type what is printed on the package, as "(01)01234567890128(17)271231(10)LOT7A"'
SCANNER = f"let the scanner send FNC1 as GS (ASCII 29), or {AS_PRINTED}"
NEEDED = f"leave it out: needed are ({'), ('.join(USED)})"
ESCAPE = r'write a bracket that belongs to a lot or a serial number as "\(" or "\)"'

BLANKS = " \t\r\n"
NUMBER = re.compile(r"[0-9]{8}|[0-9]{12,14}")
BRACKETED = re.compile(r"\(([0-9]{2,4})\)((?:\\\([^()\\]*\)|\\[()]|[^()])*)")
SPELT_OUT = re.compile(r"[<(](?:GS|FNC1)[>)]", re.IGNORECASE)
EXPIRY_WITHIN = re.compile(r"17[0-9]{2}(?:0[1-9]|1[0-2])(?:[0-2][0-9]|3[01])")


class Label(NamedTuple):
    """What a label says of an item.

    `gtin` has 14 digits. `lot` and `serial` are empty where the label has none. `expiry` is the
    last day on which the item is good, `made` the day on which it was made. `others` are the
    elements that were read and are not used, in the label's order; `warnings` what a person should
    compare with the package.
    """

    gtin: str
    lot: str = ""
    expiry: date | None = None
    made: date | None = None
    serial: str = ""
    others: tuple[Element, ...] = ()
    warnings: tuple[str, ...] = ()

    def expired_on(self, day: date) -> bool:
        """Whether the expiry is over on `day`; the day of expiry itself is still good.

        A label without an expiry never expires: whether it may go without is the caller's matter.
        """
        return self.expiry is not None and day > self.expiry


def read_label(text: str, today: date) -> Label:
    """The label that was scanned or typed.

    `today` decides the century of a date: GS1 dates reach from 49 years back to 50 years ahead.
    Raises `WrongUse` with everything that is wrong with the label.
    """
    text = text.strip(BLANKS)
    if len(text) > LONGEST:
        what = f"has {len(text)} characters, more than any barcode holds"
        raise WrongUse(Problem(WHERE, what, AS_PRINTED))
    if number := _bare_number(text):
        return Label(gtin14(number, WHERE))
    elements, problems = _elements(text)
    if not problems:
        problems += _mistakes_between(elements)
    problems += (p for element in elements for p in mistakes_in(element, WHERE, today))
    if problems:
        raise WrongUse(*dict.fromkeys(problems))
    return _label(dict(elements), text, today)


def gtin14(text: str, where: str = "gtin") -> str:
    """A GTIN of 8, 12, 13 or 14 digits as its 14 digits, zeros before it.

    Raises `WrongUse` at `where` if it is none.
    """
    if not NUMBER.fullmatch(text):
        raise WrongUse(
            Problem(where, f"{quoted(text)} is no GTIN", "it has 8, 12, 13 or 14 digits")
        )
    if not check_digit_fits(text):
        what = f"the check digit of {quoted(text)} does not fit"
        raise WrongUse(Problem(where, what, "compare every digit with the package"))
    return text.zfill(14)


def bracketed(label: Label) -> str:
    """The label as it is printed below a barcode; `read_label` reads it back."""
    days = {"11": label.made, "17": label.expiry}
    dates = [(name, f"{day.year % 100:02}{day:%m%d}") for name, day in days.items() if day]
    texts = [("10", label.lot), ("21", label.serial)]
    every = [("01", label.gtin), *dates, *((name, value) for name, value in texts if value)]
    return "".join(f"({name}){_escaped(value)}" for name, value in (*every, *label.others))


def _escaped(value: str) -> str:
    return re.sub(r"[()]", r"\\\g<0>", value)


def _bare_number(text: str) -> str:
    """The number of a barcode that holds nothing else; empty if it holds elements."""
    head, rest = text[:3], text[3:]
    if head in OF_NUMBERS:
        if len(rest) != OF_NUMBERS[head]:
            what = f"{quoted(rest)} came with {head}, which goes before {OF_NUMBERS[head]} digits"
            raise WrongUse(Problem(WHERE, what, "scan it again"))
        return rest
    return text if NUMBER.fullmatch(text) else ""


def _elements(text: str) -> tuple[list[Element], list[Problem]]:
    """The elements of a label as far as it can be taken apart, and why not further."""
    if not text:
        return [], [Problem(WHERE, "is empty", AS_PRINTED)]
    if text.startswith("("):
        return _typed(text)
    if text.startswith("]") and text[:3] not in OF_ELEMENTS:
        what = f"the scanner says {quoted(text[:3])}, which goes before no barcode of GS1 elements"
        return [], [Problem(WHERE, what, f"scan the barcode that has (01), or {AS_PRINTED}")]
    return _sent(text[3:] if text.startswith("]") else text)


def _typed(text: str) -> tuple[list[Element], list[Problem]]:
    """The elements of the bracketed form. Blanks around a value are the printer's."""
    elements: list[Element] = []
    problems: list[Problem] = []
    at = 0
    while at < len(text):
        found = BRACKETED.match(text, at)
        if not found:
            what = f"{quoted(text[at:])} does not begin with an identifier in brackets"
            return elements, [*problems, Problem(WHERE, what, f"{AS_PRINTED}; {ESCAPE}")]
        name, value = found.groups()
        at = found.end()
        if name in IDENTIFIERS:
            elements.append(Element(name, re.sub(r"\\([()])", r"\1", value).strip(BLANKS)))
        else:
            what = "is no identifier known here, and its meaning is not guessed"
            problems.append(Problem(f"{WHERE}: ({name})", what, NEEDED))
    return elements, problems


def _sent(text: str) -> tuple[list[Element], list[Problem]]:
    """The elements of a string as a scanner sends it."""
    if spelt := SPELT_OUT.search(text):
        what = f"{quoted(spelt[0])} stands in it in letters; it is not guessed to be a separator"
        return [], [Problem(WHERE, what, SCANNER)]
    elements: list[Element] = []
    rest = text.removeprefix(GS)
    while rest:
        name = next((rest[:n] for n in (2, 3, 4) if rest[:n] in IDENTIFIERS), "")
        if not name:
            where = f"{WHERE}: character {len(text) - len(rest) + 1}"
            what = f"{quoted(rest[:4])} begins with no identifier known here; the rest is not read"
            return elements, [Problem(where, what, SCANNER)]
        form = IDENTIFIERS[name]
        rest = rest[len(name) :]
        value = rest.split(GS, 1)[0]
        elements.append(Element(name, value if form.separated else value[: form.most]))
        rest = rest[len(elements[-1].value) :].removeprefix(GS)
    return elements, [] if GS in text else list(_lost_separators(elements))


def _lost_separators(elements: list[Element]) -> Iterator[Problem]:
    """An expiry that a lot or a serial number may have swallowed.

    A scanner that types into a terminal may drop GS. What followed it is then part of the lot, and
    an expired item would look like one without an expiry.
    """
    if any(element.identifier == "17" for element in elements):
        return
    for name, value in elements:
        hidden = EXPIRY_WITHIN.search(value)
        if hidden and IDENTIFIERS[name].kind is Kind.TEXT:
            what = f"{quoted(value)} may hold the expiry {hidden[0]}, for no separator was sent"
            yield Problem(f"{WHERE}: ({name})", what, SCANNER)


def _mistakes_between(elements: list[Element]) -> Iterator[Problem]:
    """What the elements of a label say against each other."""
    seen: dict[str, str] = {}
    for name, value in elements:
        if (first := seen.setdefault(name, value)) != value:
            what = f"stands twice, as {quoted(first)} and as {quoted(value)}"
            yield Problem(f"{WHERE}: ({name})", what, "scan the label of one item")
    if "01" not in seen:
        what = "has no (01), so that the item is not known"
        yield Problem(WHERE, what, f"scan the barcode that has it, or {AS_PRINTED}")
    for one, other in APART:
        if one in seen and other in seen:
            what = f"may not stand beside ({one})"
            yield Problem(f"{WHERE}: ({other})", what, "scan the label of the item itself")


def _label(values: dict[str, str], text: str, today: date) -> Label:
    """The label of elements that are right each by itself and fit each other."""
    made, expiry = (
        calendar_day(values[name], today) if name in values else None for name in ("11", "17")
    )
    if made and expiry and made > expiry:
        what = f"the expiry {expiry} is before the day of making, (11) {made}"
        raise WrongUse(Problem(f"{WHERE}: (17)", what, "compare both with the package"))
    others = tuple(Element(name, values[name]) for name in values if name not in USED)
    return Label(
        values["01"],
        lot=values.get("10", ""),
        expiry=expiry,
        made=made,
        serial=values.get("21", ""),
        others=others,
        warnings=(*_warnings(values, today), *_swallowed(values, text)),
    )


def _warnings(values: dict[str, str], today: date) -> Iterator[str]:
    """What a person should compare with the package."""
    for name in ("11", "17"):
        if values.get(name, "").endswith("00"):
            day = calendar_day(values[name], today)
            yield f"({name}) names no day of the month; the last one is taken, {day}"
    if "7003" in values:
        yield "(7003) is an expiry with its hour and is not read: see the package"
    if "15" in values and "17" not in values:
        yield "(15) is a best-before date and does not count as an expiry; there is no (17)"


def _swallowed(values: dict[str, str], text: str) -> Iterator[str]:
    """A lot that may hold the serial number too, or a serial number the lot."""
    if text.startswith("(") or GS in text:
        return
    for name, other in (("10", "21"), ("21", "10")):
        value = values.get(name, "")
        if other in value[1:-1]:
            yield f"({name}) {quoted(value)} may hold ({other}) too, for no separator was sent"
