"""What a message says of each thing: what and where, since when, what to do now, what to type.

It may be read at night, on a telephone, hours after it was written: every time in it is a time of
the clock, and none is told as from now.
"""

from __future__ import annotations

import shlex
from collections import defaultdict
from collections.abc import Sequence
from typing import NamedTuple

from checkwatch.answers.board import Board
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.notice.lists import Late
from checkwatch.answers.notice.matter import Matter
from checkwatch.answers.risks import Risks
from checkwatch.views.report import Command
from checkwatch.views.words import Here, harmless

#: So much of what somebody wrote is repeated; the book has all of it.
_NOTE = 300


class Told(NamedTuple):
    """A notice as a message tells it: `matter` for what came about, `areas` and `late` for a list
    (all areas where empty). `why` says why it is told again, or to the next person."""

    number: int
    kind: Kind
    matter: Matter | None = None
    areas: tuple[str, ...] = ()
    late: Late | None = None
    why: str = ""


class Known(NamedTuple):
    """What lists are made from; `risks` only where one tells of them."""

    board: Board
    risks: Risks | None = None


class Item(NamedTuple):
    """One thing of a list: what it is about, then a line each."""

    head: str
    lines: tuple[str, ...]


#: A paragraph, a thing of a list, or a line to type, which stands whole.
Block = str | Item | Command


class Part(NamedTuple):
    """A heading and what stands below it."""

    heading: str
    blocks: tuple[Block, ...]


def hear(number: int) -> Command:
    """What to type so that a notice is not repeated."""
    return Command(f"checkwatch heard {number} --by YOUR-CODE")


def of_matter(matter: Matter, number: int, here: Here, why: str = "") -> Part:
    """What came about, and what to do."""
    blocks: list[Block] = [*_said(matter, here)]
    if why:
        blocks.append(f"Told because {why}.")
    if (typed := _to_look(matter)) is not None:
        blocks += [f"{_to_do(matter)}:", typed]
    else:
        blocks.append(f"{_to_do(matter)}.")
    blocks += [f"Notice {number}. Whoever sees to it types:", hear(number)]
    return Part(_heading(matter, here), tuple(blocks))


def _heading(matter: Matter, here: Here) -> str:
    who, title = _where(matter), matter.title
    return {
        Kind.GATE_FAILED: f"{who}: {title} failed",
        Kind.STOP_USE_FAULT: f"{who}: fault, not to be used",
        Kind.EXCEPTION_TAKEN: f"{who}: used by exception{', paid since' if matter.paid else ''}",
        Kind.EXCEPTION_UNPAID: f"{who}: used by exception, still owed",
        Kind.LAPSE_SOON: f"{who}: {title} lapses {here.moment(matter.until)}",
        Kind.WATCHER_BACK: "the watcher was away",
        Kind.CANNOT_TELL: "what is cleared is not known",
    }[matter.kind]


def _where(matter: Matter) -> str:
    return ", ".join(harmless(name) for name in (matter.machine, matter.place) if name)


def _said(matter: Matter, here: Here) -> Sequence[str]:
    """What is known of it, and in the words of who wrote it."""
    since, title = here.moment(matter.since), matter.title
    note = f'"{harmless(matter.words, _NOTE)}"' if matter.words else ""
    match matter.kind:
        case Kind.GATE_FAILED:
            said = (f"Failed {since}.", note)
        case Kind.STOP_USE_FAULT:
            said = (f"Written {since}{':' if note else ', without a word.'}", note)
        case Kind.EXCEPTION_TAKEN:
            said = (f"Taken {since}, until {here.local(matter.until)}.", note)
        case Kind.EXCEPTION_UNPAID:
            said = (f"The use was over {since}. Still owed: {title}.", "")
        case Kind.LAPSE_SOON if matter.in_use:
            said = ("In use: owed at the end of this case.", "")
        case Kind.LAPSE_SOON:
            said = ("Owed from then on.", "")
        case Kind.CANNOT_TELL:
            said = (f"The book is not believed: {matter.words}.", "")
        case _:
            span = f"from {here.local(matter.since)} to {here.local(matter.until)}"
            said = (f"Nobody looked {span}.", matter.words)
    return [line for line in said if line]


def _to_do(matter: Matter) -> str:
    match matter.kind:
        case Kind.GATE_FAILED | Kind.STOP_USE_FAULT if matter.at_rest:
            return "It is out of use already. What it needs before it returns"
        case Kind.GATE_FAILED:
            return "Not cleared. What it needs"
        case Kind.STOP_USE_FAULT:
            return "Not cleared until the fault is closed. What it needs"
        case Kind.EXCEPTION_TAKEN if matter.paid:
            return "What was owed for it is done. How the machine stands"
        case Kind.EXCEPTION_TAKEN:
            return "The checks stay owed, and are to be done when the use is over. What it needs"
        case Kind.EXCEPTION_UNPAID:
            return "Do it now, before the machine is used again. What it needs"
        case Kind.LAPSE_SOON if matter.in_use:
            return "Keep time for it before the next case"
        case Kind.LAPSE_SOON:
            return "Do it before, while nobody uses the machine"
        case Kind.CANNOT_TELL:
            return "No machine is cleared by it: go by the machines themselves. What is wrong"
        case _:
            return "Is a message missing? Look"


def _to_look(matter: Matter) -> Command | None:
    match matter.kind:
        case Kind.LAPSE_SOON:
            return None
        case Kind.WATCHER_BACK:
            return Command("checkwatch watch --status")
        case Kind.CANNOT_TELL:
            return Command("checkwatch book check")
        case _:
            return Command(f"checkwatch cleared {shlex.quote(harmless(matter.machine))}")


def of_lapses(told: Sequence[tuple[int, Matter]], here: Here) -> Part:
    """Several lapses as one list, the first to lapse first: they come in tens at a time."""
    by_machine: dict[str, list[tuple[int, Matter]]] = defaultdict(list)
    for number, matter in sorted(told, key=lambda one: (one[1].until, one[1].place, one[0])):
        by_machine[matter.machine].append((number, matter))
    in_case = all(matter.in_use for _, matter in told)
    items = [_of_machine(of, in_case, here) for of in by_machine.values()]
    number, first = next(iter(by_machine.values()))[0]
    who = f"{len(told)} checks of {len(items)} machines lapse, the first"
    if len(items) == 1:
        who = f"{_where(first)}: {len(told)} checks lapse, the first"
    said = "Owed from then on. Do them before, while nobody uses the machine."
    if in_case:
        said = "In use: owed at the end of this case. Keep time for them before the next case."
    typed = ("Whoever sees to one types, with the number of its notice:", hear(number))
    return Part(f"{who} {here.moment(first.until)}", (said, *items, *typed))


def _of_machine(told: Sequence[tuple[int, Matter]], in_case: bool, here: Here) -> Item:
    lines = [
        f"{matter.title} until {here.local(matter.until)} (notice {number})"
        for number, matter in told
    ]
    matter = told[0][1]
    if matter.in_use and not in_case:
        lines.append("in use: owed at the end of this case")
    return Item(", ".join(harmless(n) for n in (matter.place, matter.machine) if n), tuple(lines))
