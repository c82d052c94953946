"""Every entry survives being a line; whatever is no entry is refused, not guessed."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date
from decimal import Decimal
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.core import entry as core
from checkwatch.core.entry import Enrolled, Entry, Happening, Measures, Note, PlaceKnown, Result
from checkwatch.core.instant import BEGINNING, FOREVER, Instant
from checkwatch.errors import CannotTell, WrongUse
from checkwatch.store.columns import FORMS, to_entry, to_line

TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20)
INSTANTS = st.integers(BEGINNING, FOREVER - 1)
DECIMALS = st.decimals(allow_nan=False, allow_infinity=False)


def value_of(hint: Any) -> st.SearchStrategy[Any]:
    """Any value of a field, found by its type alone, so that a new field is tested unasked."""
    known = {str: TEXT, int: st.integers(), bool: st.booleans(), Decimal: DECIMALS}
    if hint is Instant:
        return INSTANTS
    if hint in known:
        return known[hint]
    if hint == Measures:
        return st.lists(st.tuples(TEXT, DECIMALS), max_size=3).map(tuple)
    if get_origin(hint) in (UnionType, Union):
        return st.one_of([value_of(part) for part in get_args(hint)])
    if hint is date:
        return st.dates()
    if hint is type(None):
        return st.none()
    if get_origin(hint) is tuple:
        return st.lists(TEXT, max_size=3).map(tuple)
    return st.sampled_from(hint)


@st.composite
def entries(draw: st.DrawFn, kind: type[Entry]) -> Entry:
    hints = get_type_hints(kind)
    values = {f.name: draw(value_of(hints[f.name])) for f in fields(kind)}
    if values.get("started") is not None:
        values["started"], values["at"] = sorted((values["started"], values["at"]))
    if "until" in values:
        values["until"] = values["at"] + draw(st.integers(1, 10**12))
    if values.get("restores"):
        values["note"] += "."
    return kind(**values)


@pytest.mark.parametrize("form", FORMS)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_an_entry_comes_back_as_it_was_written(form: str, data: st.DataObject) -> None:
    written = data.draw(entries(FORMS[form]))
    line = to_line(written, 1, b"")
    assert to_entry(line) == written
    # Equal decimals may be written differently: 1.0 and 1.00 must stay apart.
    assert repr(to_entry(line)) == repr(written)


def test_every_type_of_entry_has_a_form() -> None:
    def below(kind: type) -> set[type]:
        found = {k for k in vars(core).values() if isinstance(k, type) and issubclass(k, kind)}
        return found - {kind}

    assert set(FORMS.values()) == below(Entry)


def test_a_happening_and_a_check_of_one_code_stay_apart() -> None:
    common = {"seq": 1, "machine": "AM-01", "at": 5, "recorded": 6}
    happening = Happening(**common, code="place")
    result = Result(**common, check="place", outcome=core.Outcome.PASS)
    assert to_entry(to_line(happening, 1, b"")) == happening
    assert to_entry(to_line(result, 1, b"")) == result
    known = PlaceKnown(**(common | {"machine": ""}), place="Theatre 1", place_kind="theatre")
    assert to_entry(to_line(known, 1, b"")) == known


ENROLLED = to_line(
    Enrolled(seq=7, machine="AM-01", at=Instant(5), recorded=Instant(6), kind="machine"), 1, b""
)


@pytest.mark.parametrize(
    "change",
    [
        {"form": "dreamt"},
        {"what": "moved"},
        {"payload": "{"},
        {"payload": "[]"},
        {"payload": "[" * 100_000},
        {"payload": "{}"},
        {"payload": '{"kind":"machine","more":1}'},
        {"form": "reading", "what": "reading", "payload": '{"meter":"h","value":"many"}'},
        {"form": "reading", "what": "reading", "payload": '{"meter":"h","value":"NaN"}'},
        {"form": "fault", "what": "fault", "payload": '{"severity":"mild"}'},
    ],
)
def test_a_line_that_is_no_entry_is_refused(change: dict[str, str]) -> None:
    with pytest.raises(CannotTell, match=r"^entry 7: .* cannot be understood"):
        to_entry(ENROLLED._replace(**change))


@pytest.mark.parametrize("text", ["\0", "a\0b", "\ud800"])
def test_text_that_no_database_holds_is_refused(text: str) -> None:
    note = Note(seq=0, machine="AM-01", at=Instant(5), recorded=Instant(6))
    for name in ("machine", "by", "note", "ref"):
        with pytest.raises(WrongUse, match="cannot be stored"):
            to_line(replace(note, **{name: text}), 1, b"")
