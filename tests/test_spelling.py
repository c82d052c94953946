"""Which names nobody can tell apart, and which one is meant by a name that nobody knows."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checkwatch.core.spelling import alike, likeness, mistakes_in_spelling, nearest_names


@pytest.mark.parametrize(
    "names",
    [
        ("AM-04", "am-04", "Am-04"),
        ("Theatre 2", "theatre  2", "THEATRE\u00a02"),  # U+00A0: a blank that breaks no line
        ("AM-04", "\uff21\uff2d\uff0d\uff10\uff14"),  # the same in full-width letters
        ("Süd 1", "SU\u0308D 1"),  # ü as one letter, U with its dots apart
        ("Straße 1", "STRASSE 1"),
        ("Room 2", "Room ²"),
    ],
)
def test_names_that_nobody_can_tell_apart_are_alike(names: tuple[str, ...]) -> None:
    assert list(alike(names).values()) == [sorted(names)]


@pytest.mark.parametrize(
    "names", [("AM-04", "AM-4"), ("Theatre 1 1", "Theatre 11"), ("AM 04", "AM-04"), ("A", "Ä")]
)
def test_names_that_differ_in_more_are_not_alike(names: tuple[str, str]) -> None:
    assert len(alike(names)) == 2


@given(st.text())
def test_what_spellings_have_in_common_is_one_of_them(name: str) -> None:
    assert likeness(likeness(name)) == likeness(name) == likeness(f" {name}  ")


def said(new: str, known: str = "") -> list[str]:
    """The mistakes in names, each at the place of its number among the new ones."""
    spelt = [(name, f"{n}") for n, name in enumerate(filter(None, new.split(",")), 1)]
    return [str(one) for one in mistakes_in_spelling(spelt, known.split(","))]


def test_a_new_name_is_told_from_every_other_and_both_are_named() -> None:
    assert said("AM-01,am-04", "AM-04,AM-05") == [
        "2: 'am-04' cannot be told from 'AM-04': they differ only in capitals, blanks or forms of "
        "letters; write it in the same way, or give it a name of its own"
    ]
    assert [one[:35] for one in said("am-51,Am-51,AM-51")] == [
        "2: 'Am-51' cannot be told from 'am-",
        "3: 'AM-51' cannot be told from 'am-",
    ]


def test_a_name_that_is_known_as_it_is_spelt_is_no_new_one() -> None:
    """A places file tells of a known place again, also in a book that has two that are alike."""
    assert said("Theatre 1,theatre 1", "Theatre 1,theatre 1") == []
    assert said("Theatre 1,Theatre 1") == []
    assert len(said("THEATRE 1", "Theatre 1,theatre 1")) == 1


FLEET = [f"AM-{number:02}" for number in range(1, 23)] + ["KIT-09", "Theatre 9", "Store"]


@pytest.mark.parametrize(
    ("name", "first"),
    [
        ("AM-9", "AM-09"),
        ("am9", "AM-09"),
        ("AM-009", "AM-09"),
        ("AN-19", "AM-19"),
        ("KIT-9", "KIT-09"),
        ("Teatre 9", "Theatre 9"),
        ("Stor", "Store"),
    ],
)
def test_the_name_with_the_same_number_is_meant_before_one_that_looks_more_alike(
    name: str, first: str
) -> None:
    found = nearest_names(name, FLEET)
    assert found[0] == first
    assert len(found) <= 3


def test_nothing_is_meant_by_a_name_that_looks_like_none() -> None:
    assert nearest_names("xyzzy", FLEET) == nearest_names("AM-9", []) == []
    assert nearest_names("9" * 10_000, FLEET) == []
