"""The people file: who is who, with which roles, trained on what until when."""

from __future__ import annotations

import io
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checkwatch.core.person import Person, Training
from checkwatch.exchange.people import doubts_about, read_people
from tests.exchange.department import rulebook, stream


def read(*rows: str, heading: str = "code,name,roles,trained,shared") -> list[Person]:
    text = "\n".join((heading, *rows))
    people, problems = read_people(io.StringIO(text, newline=""), "people.csv")
    assert problems == []
    return people


def test_a_person_has_roles_and_kinds_of_machine_with_a_last_day_or_none() -> None:
    (person,) = read('EB,"Bø, E.",engineer  keeper engineer, machine : 2027-01-31 ; warmer,')
    assert person == Person(
        code="EB",
        name="Bø, E.",
        roles=("engineer", "keeper"),
        trained=(Training("machine", date(2027, 1, 31)), Training("warmer")),
    )


def test_only_a_code_is_needed() -> None:
    assert read("EB", heading="code") == [Person(code="EB")]


def test_a_code_may_be_shared() -> None:
    assert read("theatre-4,,,,yes") == [Person(code="theatre-4", is_shared=True)]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("EB,,,machine,", "EB: the rules know no role 'enginer'"),
        (
            "EB,,,machines,",
            "EB: no check of the rules is for 'machines'; did you mean \"machine\"?",
        ),
    ],
)
def test_what_the_rules_do_not_know_is_a_warning(row: str, said: str) -> None:
    (person,) = read(row.replace("EB,,,machine,", "EB,,enginer,machine,"))
    assert list(map(str, doubts_about([person], rulebook()))) == [said]


@given(st.binary() | st.text('code,name:;\n2027-01-31é\0"').map(str.encode))
def test_whatever_a_file_holds_nothing_raises(text: bytes) -> None:
    read_people(stream(b"code,name,roles,trained,shared\n" + text), "people.csv")
