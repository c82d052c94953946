"""Every mistake of a file, with its message, in tests/golden/exchange/*.txt.

A block there is `== ` and a title, the file, and a line `=> ` for each message. The messages are
written anew where CHECKWATCH_GOLDEN is "write"; then `git diff` is what to read.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from checkwatch.errors import Problem
from checkwatch.exchange.fleet import read_fleet
from checkwatch.exchange.people import read_people
from checkwatch.exchange.places import agree, places_of, read_places
from tests.exchange.department import ZONE, planned, stream, told

GOLDEN = Path(__file__).parents[1] / "golden" / "exchange"

FLEET = """tag,kind,model,serial,place,place_kind,commissioned
AM-01,machine,,,Store,store,2026-03-01
"""


def logbook(text: str) -> Iterable[Problem]:
    return planned(text).problems


def fleet(text: str) -> Iterable[Problem]:
    rows, problems = read_fleet(stream(text), "fleet.csv", ZONE)
    places, found = places_of(rows, "fleet.csv")
    return [*problems, *found, *agree(rows, places, "fleet.csv")]


def places(text: str) -> Iterable[Problem]:
    rows, _ = read_fleet(stream(FLEET), "fleet.csv", ZONE)
    known, problems = read_places(stream(text), "places.csv")
    return [*problems, *agree(rows, known, "fleet.csv")]


def people(text: str) -> Iterable[Problem]:
    return read_people(stream(text), "people.csv")[1]


READ: dict[str, Callable[[str], Iterable[Problem]]] = {
    "logbook": logbook,
    "fleet": fleet,
    "places": places,
    "people": people,
}


def blocks(name: str) -> list[str]:
    return (GOLDEN / f"{name}.txt").read_text().rstrip("\n").split("\n\n")


def answered(name: str, block: str) -> str:
    title, *lines = [line for line in block.split("\n") if not line.startswith("=> ")]
    messages = told(READ[name]("\n".join(lines) + "\n"))
    assert messages, title
    return "\n".join([title, *lines, *(f"=> {message}" for message in messages)])


if os.environ.get("CHECKWATCH_GOLDEN") == "write":
    for golden in READ:
        text = "\n\n".join(answered(golden, block) for block in blocks(golden))
        (GOLDEN / f"{golden}.txt").write_text(text + "\n")

BLOCKS = [(name, block) for name in READ for block in blocks(name)]


@pytest.mark.parametrize(
    ("name", "block"),
    BLOCKS,
    ids=[f"{name}: {block.splitlines()[0][3:]}" for name, block in BLOCKS],
)
def test_each_mistake_has_its_message(name: str, block: str) -> None:
    assert answered(name, block) == block
