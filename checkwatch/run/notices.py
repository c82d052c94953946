"""The notices file: where it is, and whether it fits the book."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from checkwatch.answers.notice.plan import Command, File, MailServer, Plan, Way
from checkwatch.core.mistake import nearest, quoted
from checkwatch.errors import Problem, WrongUse
from checkwatch.rules.notices import read_notices
from checkwatch.rules.table import one_of

VARIABLE = "CHECKWATCH_NOTICES"


def load(given: str | None) -> Plan:
    """The notices file that is named, or that the environment names.

    Raises WrongUse with all mistakes in it, and where there is none.
    """
    name = given if given is not None else os.environ.get(VARIABLE, "")
    if not name:
        remedy = f"name one with --notices FILE, or in {VARIABLE}"
        raise WrongUse(Problem("--notices", "which notices file says whom to tell?", remedy))
    path = Path(name)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or "is not UTF-8").lower()
        raise WrongUse(Problem(name, reason, "name the notices file with --notices")) from None
    return _placed(read_notices(text, path.name), path.absolute().parent)


def unknown_areas(plan: Plan, areas: Iterable[str]) -> list[Problem]:
    """The routes about areas that the book does not know: nobody is told of anything by them. No
    reason to tell nobody at all."""
    known = sorted({area for area in areas if area})
    return [
        Problem(
            f"route {number}: areas",
            f"no place is in {quoted(area)}",
            nearest(area, known, one_of(known) if known else "take it out: no place has an area"),
        )
        for number, route in enumerate(plan.routes, 1)
        for area in route.areas
        if area not in known
    ]


def _placed(plan: Plan, folder: Path) -> Plan:
    """The plan with its relative paths taken from the folder of its file."""
    recipients = tuple(replace(one, way=_way_placed(one.way, folder)) for one in plan.recipients)
    return replace(plan, recipients=recipients, server=_server_placed(plan.server, folder))


def _way_placed(way: Way, folder: Path) -> Way:
    if isinstance(way, File):
        return File(str(folder / way.path))
    if isinstance(way, Command) and "/" in way.words[0]:
        return Command((str(folder / way.words[0]), *way.words[1:]))
    return way


def _server_placed(server: MailServer | None, folder: Path) -> MailServer | None:
    if server is None or not server.password_file:
        return server
    return replace(server, password_file=str(folder / server.password_file))
