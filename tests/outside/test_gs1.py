"""GS1 labels: what the standard's own texts and tests say of them, and what we read.

FNC1 is written ^ here, as GS1 itself does. What begins with an identifier of the item's attributes
stands behind (01)12345678901231, for we read no label without its item. Read in full copies in
public repositories: the GS1 Barcode Syntax Dictionary (of 2023 and of 2025) with its unit tests,
and the unit tests of the reference implementation that GS1 publishes beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.core.gtin import check_digit_fits
from checkwatch.errors import WrongUse
from checkwatch.exchange.gs1 import bracketed, gtin14, read_label
from checkwatch.exchange.gs1_elements import (
    GS,
    IDENTIFIERS,
    Element,
    Kind,
    calendar_day,
    mistakes_in,
)
from tests.outside.evidence import LAX, Mark, Row, Source

TITLE = "GS1 labels"
INTRO = """\
Read by the reader of labels alone: no rulebook takes part. FNC1 is written ^, as GS1 does; *item*
is (01)12345678901231, for no label is read without its item; an answer is the label in brackets."""

DICTIONARY = Source("GS1 Barcode Syntax Dictionary", Mark.READ)
UNIT_TESTS = Source("GS1 Barcode Syntax Dictionary, unit tests", Mark.READ)
REFERENCE = Source("GS1, reference implementation of element strings, unit tests", Mark.READ)
CENTURY = Source("GS1 Barcode Syntax Dictionary, the century of a date", Mark.COMPUTED)
LAST_DAY = Source("GS1 General Specifications, 3.4.5", Mark.SECOND)
NAMED_DAY = Source("GS1 change 21-040, as GS1 UK and GS1 Sweden tell it", Mark.SECOND)
CHECK_PAGE = Source("GS1, page on check digits", Mark.READ)
SWEDEN = Source("GS1 Sweden, on check digits", Mark.READ)
INDIA = Source("GS1 India, on check digits", Mark.READ)
LEAFLET = Source("GS1 UK, leaflet; its check digit is computed", Mark.COMPUTED)
DEVICES = Source("FDA, unique device identification, an example shown widely", Mark.SECOND)

ITEM = "12345678901231"
TODAY = date(2026, 11, 5)
REFUSED = "refused"


def read(text: str, today: date = TODAY) -> str:
    """A label in its bracketed form."""
    try:
        return bracketed(read_label(text.replace("^", GS), today))
    except WrongUse:
        return REFUSED


def day(text: str, today: date = TODAY) -> str:
    try:
        return str(calendar_day(text, today))
    except ValueError:
        return REFUSED


#: Digits without the check digit, the check digit.
CHECK_DIGITS = (
    (CHECK_PAGE, "629104150021", "3"),
    (SWEDEN, "730001100001", "7"),
    (INDIA, "890400021003", "7"),
    (LEAFLET, "501234567890", "0"),
    (UNIT_TESTS, "0234567", "3"),
    (UNIT_TESTS, "41600033610", "8"),
    (UNIT_TESTS, "123456789012", "8"),
    (UNIT_TESTS, "1234567890123", "1"),
    (UNIT_TESTS, "12345678901234567", "5"),
    (REFERENCE, "2401234567890", "5"),
    (REFERENCE, "211223378965", "7"),
    (REFERENCE, "0234568", "0"),
)
WRONG = ("12345673", "416000336109", "1234567890129", "12345678901232", "123456789012345670")


def check_digits() -> Iterator[Row]:
    for source, body, digit in CHECK_DIGITS:
        found = "".join(d for d in "0123456789" if check_digit_fits(body + d))
        yield Row(source, (), f"check digit of {body}", digit, found)
    ours = " ".join(digits for digits in WRONG if not check_digit_fits(digits))
    yield Row(UNIT_TESTS, (), "check digits that do not fit", " ".join(WRONG), ours)
    wrong = "24012345678909 2112233789658 416000336107 02345689"
    ours = " ".join(digits for digits in wrong.split() if not check_digit_fits(digits))
    yield Row(REFERENCE, (), "check digits that do not fit", wrong, ours)


#: Identifier, form as GS1 writes it; * where no separator is needed.
FORMS = """\
00 N18* 01 N14* 02 N14* 03 N14* 10 X..20 11 N6* 12 N6* 13 N6* 15 N6* 16 N6* 17 N6* 20 N2* 21 X..20
22 X..20 235 X..28 240 X..30 241 X..30 242 N..6 243 X..20 250 X..30 251 X..30 30 N..8 3103 N6*
3295 N6* 3695 N6* 37 N..8 410 N13* 417 N13* 422 N3 7003 N10 710 X..20 715 X..20 7240 X..20
8012 X..20 8013 X..25 90 X..30 91 X..90 99 X..90"""

#: The first two digits of identifiers whose elements need no separator, and the characters behind
#: them: behind two digits of identifier, behind four (31 to 36), behind three (41).
PREDEFINED = {"00": 18, "01": 14, "02": 14, "03": 14, "04": 16, "20": 2, "41": 13}
PREDEFINED |= {str(two): 6 for two in (*range(11, 20), *range(31, 37))}


def forms() -> Iterator[Row]:
    words = FORMS.split()
    for name, form in zip(words[::2], words[1::2], strict=True):
        yield Row(DICTIONARY, (), f"({name}), form", form, written(name))
    says = " ".join(f"{two}:{n}" for two, n in sorted(PREDEFINED.items()))
    fixed = {name[:2]: form.most for name, form in IDENTIFIERS.items() if not form.separated}
    ours = " ".join(f"{two}:{n}" for two, n in sorted(fixed.items()))
    yield Row(REFERENCE, (), "first digits of what needs no separator: characters", says, ours)
    characters = "".join(chr(n) for n in range(256) if not _mistaken("10", chr(n)))
    yield Row(UNIT_TESTS, (), "of 256 characters, those that a lot may hold", CSET82, characters)


CSET82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"


def written(name: str) -> str:
    """The form of an identifier as GS1 writes it."""
    kind, least, most, separated = IDENTIFIERS[name]
    letter = "X" if kind is Kind.TEXT else "N"
    length = f"{most}" if least == most else f"..{most}"
    return f"{letter}{length}{'' if separated else '*'}"


def _mistaken(name: str, value: str) -> bool:
    return any(mistakes_in(Element(name, value), "", TODAY))


GOOD_DAYS = "000606 250606 500606 750606 990606 200131 200229 210228 240229 000229 040229 960229"
NO_DAYS = "200010 201310 209910 200132 200230 200431 210229 220229 230229 240230 000230 960230"


def days() -> Iterator[Row]:
    in_2021 = date(2021, 6, 1)
    good = " ".join(d for d in GOOD_DAYS.split() if day(d, in_2021) != REFUSED)
    yield Row(UNIT_TESTS, (), "days that are, read in 2021", GOOD_DAYS, good)
    none = " ".join(d for d in NO_DAYS.split() if day(d, in_2021) == REFUSED)
    yield Row(UNIT_TESTS, (), "days that are not", NO_DAYS, none)
    yield Row(UNIT_TESTS, (), "200600, day 00", "a date", "a date" if day("200600") else "")
    for text, last in (("130200", "2013-02-28"), ("160200", "2016-02-29")):
        yield Row(LAST_DAY, (), f"{text}, day 00", last, day(text))
    for year, text, says in (
        *((2026, "000101", "2000-01-01"), (2026, "760101", "2076-01-01")),
        *((2026, "770101", "1977-01-01"), (2026, "990101", "1999-01-01")),
        *((2013, "630101", "2063-01-01"), (2013, "640101", "1964-01-01")),
        *((2060, "100101", "2110-01-01"), (2060, "110101", "2011-01-01")),
    ):
        ours = day(text, date(year, 7, 1))
        yield Row(CENTURY, (), f"{text}, read in {year}", says, ours)
    label = read_label(f"(01){ITEM}(17)271200", TODAY)
    yield Row(
        NAMED_DAY,
        (),
        "(17)271200 on a regulated healthcare item, since 2025",
        "not allowed",
        f"read as {label.expiry}, with a warning" if label.warnings else "",
        f"{LAX}packages from before are still about; whoever fits one is told to look at it",
    )


#: As scanned or typed, and in brackets or refused.
LABELS = (
    (DEVICES, "(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234", "="),
    (REFERENCE, "(01)12345678901231", "="),
    (REFERENCE, "(01)12345678901231(10)12345", "="),
    (REFERENCE, "(01)95012345678903(3103)000123", "="),
    (REFERENCE, "(01)95012345678902(3103)000123", REFUSED),
    (REFERENCE, "(01)95012345678903(11)131313", REFUSED),
    (REFERENCE, "(01)123456789012312(10)12345", REFUSED),
    (REFERENCE, "^0112345678901231", "(01)12345678901231"),
    (REFERENCE, "^01A2345678901231", REFUSED),
    (REFERENCE, "^011234567890123A", REFUSED),
    (REFERENCE, "^0112345678901234", REFUSED),
    (REFERENCE, "^011234567890123", REFUSED),
    (REFERENCE, "^01123456789012312", REFUSED),
    (REFERENCE, "^0112345678901231^", "(01)12345678901231"),
    (REFERENCE, "^011234567890123^", REFUSED),
    (REFERENCE, "^01123456789012345^", REFUSED),
    (REFERENCE, "^01123456789012345^991234", REFUSED),
    (REFERENCE, "^0112345678901231991234", "(01)12345678901231(99)1234"),
    (REFERENCE, "^0112345678901231^991234", "(01)12345678901231(99)1234"),
    *(
        (REFERENCE, f"{sent}011231231231233310ABC123^99TESTING", says)
        for sent in ("]C1", "]d2", "]Q3", "]e0")
        for says in ("(01)12312312312333(10)ABC123(99)TESTING",)
    ),
    (
        REFERENCE,
        "]e0011231231231233310ABC123^1199122598TESTING^97XYZ",
        "(01)12312312312333(11)991225(10)ABC123(98)TESTING(97)XYZ",
    ),
    *((REFERENCE, sent, REFUSED) for sent in ("]C1", "]d2", "]Q3", "]e0", "]XX", "]X", "]", "")),
    (REFERENCE, "]E02112345678900", "(01)02112345678900"),
    (REFERENCE, "]E0123456789012", REFUSED),
    (REFERENCE, "]E012345678901234", REFUSED),
    (REFERENCE, "]E01234ABC890123", REFUSED),
    (REFERENCE, "]E02112345678901", REFUSED),
    (REFERENCE, "]E402345673", "(01)00000002345673"),
    (REFERENCE, "]E402345674", REFUSED),
    (REFERENCE, "]E41234567", REFUSED),
    (REFERENCE, "(01)12345678901231(02)12345678901231", REFUSED),
    (REFERENCE, "(01)12345678901231(255)5412345000150", REFUSED),
    (REFERENCE, "(01)12345678901231(37)123", REFUSED),
    (REFERENCE, "(01)12345678901231(21)XYZ999(250)ABC123", "="),
)

#: The same of what stands behind the item.
BEHIND = (
    ("(10)12345(11)991225", "(11)991225(10)12345"),
    ("(3100)123456(10)12345", "(10)12345(3100)123456"),
    (r"(10)12345\(11)991225", r"(10)12345\(11\)991225"),
    (r"(10)12345\(", "="),
    ("(10)(11)98765", REFUSED),
    ("(10)12345(11)", REFUSED),
    ("(10) ", REFUSED),
    *((text, REFUSED) for text in ("(1A)12345", "()12345", "(1)12345", "(12345)12345")),
    *((text, REFUSED) for text in ("(15", "(1", "(", "(17)9(90)217")),
    ("(10)12345^", REFUSED),
    ("(21)ABC123(235)XYZ", REFUSED),
)
BEHIND_SENT = (
    ("2421", "(242)1"),
    ("242123456^10ABC123", "(10)ABC123(242)123456"),
    ("242123456^", "(242)123456"),
    ("2421234567", REFUSED),
    ("891234", REFUSED),
    ("99~ABC", REFUSED),
    ("99ABC~", REFUSED),
)


def labels() -> Iterator[Row]:
    for source, text, says in LABELS:
        yield Row(source, (), text or "nothing", text if says == "=" else says, read(text))
    for text, says in BEHIND:
        ours = read(f"(01){ITEM}{text}").removeprefix(f"(01){ITEM}")
        yield Row(REFERENCE, (), f"item, {text}", text if says == "=" else says, ours)
    for text, says in BEHIND_SENT:
        ours = read(f"^01{ITEM}{text}").removeprefix(f"(01){ITEM}")
        yield Row(REFERENCE, (), f"item, {text}", says, ours)
    yield Row(
        REFERENCE,
        (),
        "item, (250)ABC123: a second serial number without the first",
        REFUSED,
        read(f"(01){ITEM}(250)ABC123").removeprefix(f"(01){ITEM}"),
        f"{LAX}elements that are not used are not weighed against each other",
    )


def rows() -> Iterator[Row]:
    """What GS1 publishes beside what is read here."""
    yield from check_digits()
    yield from forms()
    yield from days()
    yield from labels()


@pytest.mark.parametrize("row", [*rows()], ids=lambda row: row.case)
def test_what_gs1_says_is_read_or_the_difference_has_a_reason(row: Row) -> None:
    assert row.agrees != bool(row.differs), (row.says, row.ours)


def test_there_are_82_characters() -> None:
    """As the name of the set says."""
    assert len(set(CSET82)) == 82


@given(st.integers(0, 99), st.dates(date(1000, 1, 1), date(9000, 1, 1)))
@settings(max_examples=300, deadline=None, derandomize=True)
def test_a_year_is_within_49_years_before_and_50_after(year: int, today: date) -> None:
    """The span that GS1 General Specifications state (3.4.5, read where somebody quotes it)."""
    (only,) = (y for y in range(today.year - 49, today.year + 51) if y % 100 == year)
    assert calendar_day(f"{year:02}0101", today).year == only


@given(st.text("0123456789", min_size=7, max_size=13).filter(lambda t: len(t) in (7, 11, 12, 13)))
@settings(max_examples=300, deadline=None, derandomize=True)
def test_the_check_digit_is_what_is_missing_to_the_next_ten(body: str) -> None:
    """GS1's instruction: from the right times 3, times 1, times 3 …; up to the next ten."""
    total = sum(int(d) * (3, 1)[n % 2] for n, d in enumerate(reversed(body)))
    missing = -total % 10
    assert gtin14(f"{body}{missing}") == f"{body}{missing}".zfill(14)
