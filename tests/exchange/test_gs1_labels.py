"""A label is read as it was scanned or printed, or refused with all that is wrong with it."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.errors import WrongUse
from checkwatch.exchange.gs1 import Label, bracketed, gtin14, read_label
from checkwatch.exchange.gs1_elements import IDENTIFIERS, PUNCTUATION, Element
from tests.exchange.department import told

TODAY = date(2026, 11, 5)
GTIN = "01234567890128"
UNKNOWN = "begins with no identifier known here; the rest is not read"
WHOLE = Label(GTIN, "LOT7A", date(2027, 12, 31), serial="SN0042")


def read(text: str) -> Label:
    return read_label(text, TODAY)


def refused(text: str) -> list[str]:
    """Where and what of every fault, without the remedies."""
    with pytest.raises(WrongUse) as refusal:
        read(text)
    assert all(problem.remedy for problem in refusal.value.problems)
    return told(problem._replace(remedy="") for problem in refusal.value.problems)


@pytest.mark.parametrize(
    "text",
    [
        "(01)01234567890128(17)271231(10)LOT7A(21)SN0042",
        " (01) 01234567890128 (17) 271231\r\n(10) LOT7A (21) SN0042\n",
        "(21)SN0042(10)LOT7A(17)271231(01)01234567890128",
        "01012345678901281727123110LOT7A\x1d21SN0042",
        "\x1d01012345678901281727123110LOT7A\x1d21SN0042\x1d",
        "0101234567890128\x1d17271231\x1d10LOT7A\x1d21SN0042\r\n",
        "10LOT7A\x1d21SN0042\x1d010123456789012817271231",
        *(f"{sent}01012345678901281727123110LOT7A\x1d21SN0042" for sent in ("]C1", "]d2", "]Q3")),
        "]e0\x1d01012345678901281727123110LOT7A\x1d21SN0042",
    ],
    ids=[
        *("printed", "with blanks", "in another order", "sent", "FNC1 first and last"),
        *("FNC1 everywhere", "sent in another order", "GS1-128", "DataMatrix", "QR", "DataBar"),
    ],
)
def test_one_label_however_it_comes(text: str) -> None:
    assert read(text) == WHOLE


@pytest.mark.parametrize(
    ("text", "gtin"),
    [
        ("1234567890128", "01234567890128"),
        ("416000336108", "00416000336108"),
        ("02345673", "00000002345673"),
        ("12345678901231", "12345678901231"),
        ("]E01234567890128", "01234567890128"),
        ("]E402345673", "00000002345673"),
        ("]I112345678901231", "12345678901231"),
    ],
)
def test_a_bare_number_is_an_item_without_lot_and_expiry(text: str, gtin: str) -> None:
    assert read(text) == Label(gtin)


def test_what_is_not_used_is_kept_in_its_order() -> None:
    label = read("]C1010123456789012820073103000123240X/1\x1d1412345610L\x1d90house")
    others = (("20", "07"), ("3103", "000123"), ("240", "X/1"), ("14", "123456"), ("90", "house"))
    assert label == Label(GTIN, "L", others=tuple(Element(*one) for one in others))


def test_a_serial_number_of_somebody_else_may_stand_alone() -> None:
    assert read("(01)01234567890128(235)X").others == (("235", "X"),)


def test_the_same_element_twice_is_one() -> None:
    assert read("(01)01234567890128(10)LOT7A(10)LOT7A") == Label(GTIN, "LOT7A")


def test_a_bracket_within_a_lot_is_written_with_a_stroke() -> None:
    for text in (r"(10)A\(21)B(17)271231", r"(10)A\(21\)B(17)271231"):
        assert read(f"(01)01234567890128{text}").lot == "A(21)B"
    assert read("010123456789012810A(21)B\x1d17271231").lot == "A(21)B"


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("", ["label: is empty"]),
        (" \r\n", ["label: is empty"]),
        ("x" * 7089, [f"label: character 1: 'xxxx' {UNKNOWN}"]),
        ("1" * 7090, ["label: has 7090 characters, more than any barcode holds"]),
        ("]C0X", ["label: the scanner says ']C0', which goes before no barcode of GS1 elements"]),
        ("]C1", ["label: has no (01), so that the item is not known"]),
        ("]E0416000336108", ["label: '416000336108' came with ]E0, which goes before 13 digits"]),
        ("]E4ABCDEFGH", ["label: 'ABCDEFGH' is no GTIN"]),
        ("1234567890127", ["label: the check digit of '1234567890127' does not fit"]),
        ("10LOT7AB", ["label: has no (01), so that the item is not known"]),
        ("१२३४५६७८", [f"label: character 1: '१२३४' {UNKNOWN}"]),
        ("(17)271231", ["label: has no (01), so that the item is not known"]),
        ("(01)01234567890127", ["label: (01): the check digit of '01234567890127' does not fit"]),
        ("(01)1234567890128", ["label: (01): '1234567890128' has length 13, not 14"]),
        ("(01)0123456789012O", ["label: (01): 'O' cannot stand in '0123456789012O'"]),
        ("(1)0123", ["label: '(1)0123' does not begin with an identifier in brackets"]),
    ],
)  # fmt: skip
def test_no_item_no_label(text: str, faults: list[str]) -> None:
    assert refused(text) == faults


@pytest.mark.parametrize(
    ("rest", "faults"),
    [
        ("(17)271331", ["(17): '271331' is no day of the calendar"]),
        ("(17)270229", ["(17): '270229' is no day of the calendar"]),
        ("(11)270001", ["(11): '270001' is no day of the calendar"]),
        ("(15)270132", ["(15): '270132' is no day of the calendar"]),
        ("(17)27123", ["(17): '27123' has length 5, not 6"]),
        ("(17)2712311", ["(17): '2712311' has length 7, not 6"]),
        ("(17)²71231", ["(17): '²' cannot stand in '²71231'"]),
        ("(11)271231(17)270101", [
            "(17): the expiry 2027-01-01 is before the day of making, (11) 2027-12-31",
        ]),
        ("(10)", ["(10): has no value"]),
        ("(10)LOT 7A", ["(10): ' ' cannot stand in 'LOT 7A'"]),
        ("(10)LOT\x1d7A", [r"(10): '\x1d' cannot stand in 'LOT\x1d7A'"]),
        ("(10)LÖT", ["(10): 'Ö' cannot stand in 'LÖT'"]),
        (f"(21){'7' * 21}", [f"(21): '{'7' * 21}' has length 21, not 1 to 20"]),
        ("(10)A(10)B", ["(10): stands twice, as 'A' and as 'B'"]),
        ("(01)12345678901231", ["(01): stands twice, as '01234567890128' and as '12345678901231'"]),
        ("(37)12", ["(37): may not stand beside (01)"]),
        ("(235)X(21)Y", ["(235): may not stand beside (21)"]),
        ("(89)X", ["(89): is no identifier known here, and its meaning is not guessed"]),
        ("(10)A17)271231", ["')271231' does not begin with an identifier in brackets"]),
        ("(10)A(l7)271231", ["'(l7)271231' does not begin with an identifier in brackets"]),
        ("(20)1(3103)1(410)1234567890123", [
            "(20): '1' has length 1, not 2",
            "(3103): '1' has length 1, not 6",
            "(410): the check digit of '1234567890123' does not fit",
        ]),
        ("(89)X(17)271331(10)(21)é", [
            "(89): is no identifier known here, and its meaning is not guessed",
            "(17): '271331' is no day of the calendar",
            "(10): has no value",
            "(21): 'é' cannot stand in 'é'",
        ]),
    ],
)  # fmt: skip
def test_every_fault_is_told(rest: str, faults: list[str]) -> None:
    found = [one.removeprefix("label: ") for one in refused(f"(01){GTIN}{rest}")]
    assert found == faults


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("(01)1234567890128", "put zeros before it: '01234567890128'"),
        ("(01)1234567890127", "scan it again"),
        ("(01)12345O7890128", "scan it again"),
        ("(01)12345²7890128", "scan it again"),
        ("(01)001234567890128", "scan it again"),
        ("(01)01234567890128(30)123456789", "a separator (FNC1, sent as GS) may have been lost"),
        ("(01)01234567890128(20)0", "scan it again"),
        ("(01)01234567890128(20)007", "scan it again"),
        ("(01)01234567890128(422)03", "scan it again"),
    ],
)
def test_a_wrong_length_has_its_remedy(text: str, remedy: str) -> None:
    with pytest.raises(WrongUse) as refusal:
        read(text)
    assert refusal.value.problems[-1].remedy.startswith(remedy)


@pytest.mark.parametrize(
    ("rest", "fault"),
    [
        ("891234", f"character 17: '8912' {UNKNOWN}"),
        ("10A\x1d\x1d21B", rf"character 21: '\x1d21B' {UNKNOWN}"),
        ("|17271231", f"character 17: '|172' {UNKNOWN}"),
        ("1727", "(17): '27' has length 2, not 6"),
        ("1727\x1d10LOT", "(17): '27' has length 2, not 6"),
        ("10LOT7A|21SN", "(10): '|' cannot stand in 'LOT7A|21SN'"),
        ("10LOT7A<GS>21SN", "'<GS>' stands in it in letters"),
        ("10LOT7A(fnc1)21SN", "'(fnc1)' stands in it in letters"),
        ("10ABCDEFGHIJKLMNOPQRST21SN", "has length 24, not 1 to 20"),
        ("10LOT7A17271231", "(10): 'LOT7A17271231' may hold the expiry 17271231"),
        ("21SN1727123110LOT", "(21): 'SN1727123110LOT' may hold the expiry 17271231"),
    ],
)
def test_a_lost_or_replaced_separator_is_not_guessed(rest: str, fault: str) -> None:
    (found,) = refused(f"01{GTIN}{rest}")
    assert fault in found


def test_digits_that_are_no_text_swallow_nothing() -> None:
    assert read("01012345678901284101717271231017").others == (("410", "1717271231017"),)


def test_a_lot_that_looks_like_an_expiry_is_read_where_nothing_was_lost() -> None:
    for text in (
        "(01)01234567890128(10)A17271231",
        "010123456789012810A17271231\x1d",
        "01012345678901281728010110A17271231",
    ):
        assert (read(text).lot, read(text).warnings) == ("A17271231", ())


def test_a_lot_that_may_hold_the_serial_number_is_read_with_a_warning() -> None:
    (warning,) = read("01012345678901281727123110LOT7A21SN0042").warnings
    assert warning == "(10) 'LOT7A21SN0042' may hold (21) too, for no separator was sent"
    for text in ("(01)01234567890128(10)LOT7A21SN", "010123456789012810LOT7A21SN\x1d"):
        assert read(text).warnings == ()


def test_a_lot_holds_a_serial_number_only_if_something_is_left_of_both() -> None:
    lots = {lot: read(f"010123456789012810{lot}").warnings for lot in ("A21B", "21B", "A21")}
    assert [lot for lot, warnings in lots.items() if warnings] == ["A21B"]


def test_a_month_without_a_day_is_its_last_day_with_a_warning() -> None:
    label = read("(01)01234567890128(11)260200(17)280200")
    assert (label.made, label.expiry) == (date(2026, 2, 28), date(2028, 2, 29))
    assert label.warnings == (
        "(11) names no day of the month; the last one is taken, 2026-02-28",
        "(17) names no day of the month; the last one is taken, 2028-02-29",
    )


def test_dates_that_are_not_watched_are_told() -> None:
    best, hour = "(15)270101", "(7003)2701011200"
    assert read(f"(01)01234567890128{best}").expiry is None
    assert "(15) is a best-before date" in read(f"(01)01234567890128{best}").warnings[0]
    assert read(f"(01)01234567890128{best}(17)270101").warnings == ()
    assert "(7003) is an expiry" in read(f"(01)01234567890128(17)270101{hour}").warnings[0]


def test_the_day_of_expiry_is_still_good() -> None:
    days = (date(2027, 12, 30), date(2027, 12, 31), date(2028, 1, 1))
    assert [WHOLE.expired_on(day) for day in days] == [False, False, True]
    assert not Label(GTIN).expired_on(date.max)


@pytest.mark.parametrize(
    "text", ["", "1234567890127", "123456789012345675", "12345678901२", "²2345673", "x" * 8]
)
def test_a_gtin_of_a_rulebook_is_refused_at_its_place(text: str) -> None:
    with pytest.raises(WrongUse) as refusal:
        gtin14(text, "rules.toml: fits")
    assert refusal.value.problems[0].where == "rules.toml: fits"


def test_a_gtin_has_fourteen_digits() -> None:
    assert gtin14("02345673") == gtin14("00000002345673") == "00000002345673"


def test_an_identifier_is_found_at_once() -> None:
    """None is the beginning of another, so that two to four digits decide."""
    assert [a for a in IDENTIFIERS for n in (2, 3) if a[:n] != a and a[:n] in IDENTIFIERS] == []


def test_nothing_of_predefined_length_is_unknown() -> None:
    """Behind these two digits: two, four or three of the identifier (GS1, figure 7.8.2-1)."""
    three = [str(n) for n in range(410, 420)]
    four = [str(n) for n in range(3100, 3700)]
    two = ["00", "01", "02", "03", "04", "20", *(str(n) for n in range(11, 20))]
    fixed = [name for name, form in IDENTIFIERS.items() if not form.separated]
    assert sorted(fixed) == sorted([*two, *three, *four])


def gtins() -> st.SearchStrategy[str]:
    """GTINs whose check digit was tried, not computed."""
    bodies = st.text("0123456789", min_size=13, max_size=13)
    return bodies.map(lambda body: next(body + d for d in "0123456789" if _good(body + d)))


def _good(digits: str) -> bool:
    return (3 * sum(map(int, digits[::2])) + sum(map(int, digits[1::2]))) % 10 == 0


TEXT = st.text(
    f"{PUNCTUATION}ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789",
    min_size=1,
    max_size=20,
).filter(lambda text: not re.search("GS|FNC1", text, re.IGNORECASE))
OTHER = st.sampled_from([("20", "07"), ("3103", "000123"), ("410", "1234567890128"), ("30", "12")])


@st.composite
def labels(draw: st.DrawFn) -> Label:
    """Labels whose dates lie in the hundred years around today."""
    day = st.dates(date(1977, 1, 1), date(2076, 12, 31))
    expiry = draw(st.none() | day)
    longest = timedelta(days=0 if expiry is None else (expiry - date(1977, 1, 1)).days)
    made = expiry and draw(st.none() | st.dates(expiry - longest, expiry))
    others = draw(st.lists(OTHER, unique=True))
    lot, serial = draw(st.just("") | TEXT), draw(st.just("") | TEXT)
    return Label(draw(gtins()), lot, expiry, made, serial, tuple(Element(*o) for o in others))


def sent(label: Label) -> str:
    """A label as a scanner sends it, with a separator behind all that has no predefined length."""
    made, expiry = (f"{day:%y%m%d}" if day else "" for day in (label.made, label.expiry))
    used = [("10", label.lot), ("01", label.gtin), ("21", label.serial), ("17", expiry)]
    return "".join(
        f"{name}{value}" + "\x1d" * (name in ("10", "21", "30"))
        for name, value in (*used, *label.others, ("11", made))
        if value
    )


@given(labels())
@settings(max_examples=200, deadline=None)
def test_a_label_comes_back_as_it_was_printed_and_as_it_was_sent(label: Label) -> None:
    assert read(bracketed(label)) == label
    assert read(f"]d2{sent(label)}")._replace(warnings=()) == label
    if label.expiry:
        assert read(sent(label).removesuffix("\x1d"))._replace(warnings=()) == label


@given(gtins(), st.integers(0, 13), st.integers(1, 9))
@settings(max_examples=200, deadline=None)
def test_one_wrong_digit_in_the_gtin_is_always_seen(gtin: str, at: int, more: int) -> None:
    wrong = str((int(gtin[at]) + more) % 10)
    assert refused(f"(01){gtin[:at]}{wrong}{gtin[at + 1 :]}")


PIECES = st.sampled_from(
    [
        *("(01)01234567890128", "0101234567890128", "(17)271231", "17271231", "(10)", "10", "\x1d"),
        *("]C1", "]", "(", ")", r"\(", "\\", "²", "٣", "\ud800", "\n", "\x00", "1234567890128"),
        *("99", "(7003)", "00", "<GS>", "8008", "(3103)", "\x7f", "\u202e", "991231", "000000"),
    ]
)
MIXED = st.lists(PIECES | st.text(max_size=4), max_size=9).map("".join)
BEGUN = st.sampled_from(["(01)01234567890128", "0101234567890128", "]C10101234567890128"])
GOES_ON = st.sampled_from(["(17)271231", "(10)", "A", "17271231", "10", "\x1d", "21"])
BETTER = st.lists(GOES_ON, max_size=6).map("".join)
ANYTHING = st.text(max_size=60) | MIXED | st.builds(str.__add__, BEGUN, MIXED | BETTER)


def outcome(text: str, today: date) -> Label | WrongUse:
    try:
        return read_label(text, today)
    except WrongUse as refusal:
        return refusal


@given(ANYTHING, st.dates())
@settings(max_examples=500, deadline=None)
def test_any_text_is_a_label_or_is_refused_in_words(text: str, today: date) -> None:
    found = outcome(text, today)
    if isinstance(found, WrongUse):
        assert found.problems
        assert all(str(problem).isprintable() for problem in found.problems)
    else:
        again = read_label(bracketed(found), today)
        assert again._replace(warnings=()) == found._replace(warnings=())
        assert all(warning.isprintable() for warning in found.warnings)
