"""Which rules judge at an instant, which take over later, and where a change of standing leads."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checkwatch.answers.adoption import Change, Course, Direction, course
from checkwatch.core.entry import Adopted
from checkwatch.core.place import PlaceStanding
from checkwatch.core.states import Standing
from checkwatch.core.versions import Version, Versions
from tests.build import rules, t

#: The number of an adoption, when it was written and from when it judges.
Line = tuple[int, str, str]


def planned(*lines: Line, at: str) -> Course:
    """What judges at a time; each version has its number for a title."""
    adoptions = [
        Adopted(seq=seq, machine="", at=t(start), recorded=t(recorded), text=f"text {seq}")
        for seq, recorded, start in lines
    ]
    versions = [
        Version(entry.at, entry.seq, entry.recorded, replace(rules(), title=f"{entry.seq}"))
        for entry in adoptions
    ]
    return course(Versions.of(*versions), adoptions, t(at))


def numbers(found: Course) -> tuple[int, list[int]]:
    return found.in_force.entry.seq, [one.entry.seq for one in found.to_come]


FIRST = (1, "08:00", "08:00")


@pytest.mark.parametrize(
    ("lines", "at", "judges", "to_come"),
    [
        ([], "09:00", 1, []),
        ([(7, "09:00", "12:00")], "11:59", 1, [7]),
        ([(7, "09:00", "12:00")], "12:00", 7, []),
        # Adopting others now takes nothing back: what is to come still comes.
        ([(7, "09:00", "12:00"), (8, "10:00", "10:00")], "10:00", 8, [7]),
        ([(7, "09:00", "14:00"), (8, "10:00", "12:00")], "10:00", 1, [8, 7]),
        # From the same instant the one that was adopted later judges, and only that.
        ([(7, "09:00", "12:00"), (8, "10:00", "12:00")], "11:00", 1, [8]),
        ([(7, "09:00", "12:00"), (8, "10:00", "12:00")], "12:00", 8, []),
        ([(8, "09:00", "09:00")], "07:00", 1, [8]),
    ],
)
def test_of_several_adoptions_the_last_from_its_instant_on_judges(
    lines: list[Line], at: str, judges: int, to_come: list[int]
) -> None:
    assert numbers(planned(FIRST, *lines, at=at)) == (judges, to_come)
    assert numbers(planned(*reversed(lines), FIRST, at=at)) == (judges, to_come)


@pytest.mark.parametrize(
    ("before", "after", "direction"),
    [
        (Standing.NOT_CLEARED, Standing.CLEARED, Direction.TOWARDS),
        (Standing.UNKNOWN, Standing.LIMITED, Direction.TOWARDS),
        (Standing.LIMITED, Standing.CLEARED, Direction.TOWARDS),
        (Standing.NOT_CLEARED, Standing.BY_EXCEPTION, Direction.TOWARDS),
        (Standing.BY_EXCEPTION, Standing.LIMITED, Direction.TOWARDS),
        (Standing.CLEARED, Standing.LIMITED, Direction.AWAY),
        (Standing.BY_EXCEPTION, Standing.NOT_CLEARED, Direction.AWAY),
        (Standing.CLEARED, Standing.UNKNOWN, Direction.AWAY),
        # It may be used neither before nor after.
        (Standing.UNKNOWN, Standing.NOT_CLEARED, Direction.NEITHER),
        (Standing.NOT_CLEARED, Standing.UNKNOWN, Direction.NEITHER),
        (Standing.UNKNOWN, Standing.WITHDRAWN, Direction.NEITHER),
    ],
)
def test_only_what_may_be_used_more_freely_than_before_leads_towards_use(
    before: Standing, after: Standing, direction: Direction
) -> None:
    change = Change(PlaceStanding("Theatre 1", before), PlaceStanding("Theatre 1", after))
    assert change.direction is direction


def test_an_instant_before_the_first_adoption_is_judged_by_it_and_it_is_not_to_come() -> None:
    assert numbers(planned(FIRST, at="07:00")) == (1, [])
