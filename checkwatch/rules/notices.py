"""The notices file: TOML text to a Plan, or to every mistake that is in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime, time, timedelta
from itertools import chain
from typing import Literal, cast

from checkwatch.answers.notice.kinds import LISTS, MANNERS, Kind
from checkwatch.answers.notice.plan import (
    COORDINATOR,
    Command,
    File,
    Mail,
    MailServer,
    Plan,
    Recipient,
    Route,
    Service,
    Way,
)
from checkwatch.core.instant import DAY, HOUR
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.period import Period, parse_period
from checkwatch.errors import WrongUse
from checkwatch.rules.parts import read_spans, time_of_day
from checkwatch.rules.table import Table, code_of, one_of, parse_toml

#: How long an urgent notice that was heard is not repeated; our own choice.
HEARD_FOR = parse_period("PT2H")

#: Each way with how its key is read. A relative path is taken from the notices file's folder.
_WAYS: dict[str, Callable[[Table], Way]] = {
    "mail": lambda table: Mail(_address(table, "mail")),
    "file": lambda table: File(table.text("file", required=True)),
    "command": lambda table: Command(table.texts("command", required=True)),
    "service": lambda table: Service(table.text("service", required=True)),
}

_SECURITY = ("tls", "starttls", "none")
#: 465 for mail handed over inside TLS (RFC 8314, part 3.3), 587 (RFC 6409, part 3.1), 25 (RFC 5321,
#: part 4.5.4.2).
_PORTS = {"tls": 465, "starttls": 587, "none": 25}


def read_notices(text: str, where: str) -> Plan:
    """Reads a notices file; `where` is its name, with which every message begins.

    Raises WrongUse with all mistakes that are in it.
    """
    raw, broken = parse_toml(text, where)
    if broken:
        raise WrongUse(*broken)
    root = Table(raw, where, [])
    head = root.table("notices")
    heard_for = _heard_for(head) if head else HEARD_FOR
    server = _server(root.table("mail"))
    recipients = [_recipient(table) for table in root.tables("recipient")]
    routes = [_route(table) for table in root.tables("route", name_by="")]
    root.finish()
    plan = Plan(
        tuple(one for _, one in recipients),
        tuple(one for _, one in routes),
        heard_for,
        server,
    )
    _look_at_recipients(root, recipients, plan)
    for table, route in routes:
        _look_at_route(table, route, plan)
    if root.problems:
        raise WrongUse(*root.problems)
    return plan


def _heard_for(head: Table) -> Period:
    found = head.period("heard_for")
    head.finish()
    if found is not None and not found:
        head.note("heard_for", "is no time at all", 'write heard_for = "PT2H", or leave it out')
    if found is not None and found.longest > DAY + HOUR:
        head.note("heard_for", "is longer than a day", 'write heard_for = "PT2H"')
    return HEARD_FOR if found is None else found


def _server(table: Table | None) -> MailServer | None:
    if table is None:
        return None
    security = table.choice("security", _SECURITY) or "starttls"
    port, seconds = table.number("port"), table.number("timeout")
    server = MailServer(
        table.text("host", required=True),
        _whole(table, "port", _PORTS[security] if port is None else port, 65_535),
        _address(table, "sender"),
        cast("Literal['tls', 'starttls', 'none']", security),
        table.text("user"),
        table.text("password_file"),
        _whole(table, "timeout", 30 if seconds is None else seconds, 600),
    )
    if bool(server.user) is not bool(server.password_file):
        table.note("user", "and password_file go together", "write both, or neither")
    if server.user and security == "none":
        table.note("security", "would show the password to everybody", 'write "starttls" or "tls"')
    table.finish()
    return server


def _whole(table: Table, key: str, number: object, most: int) -> int:
    if isinstance(number, int) and 1 <= number <= most:
        return number
    table.note(key, "is no such number", f"write a whole number from 1 to {most}")
    return 1


def _address(table: Table, key: str) -> str:
    text = table.text(key, required=True)
    before, at, after = text.partition("@")
    if text and (not (before and at and after) or any(c in text for c in " ,;<>")):
        table.note(key, f"{quoted(text)} is no mail address", 'write it like "desk@saltmere.test"')
    return text


def _recipient(table: Table) -> tuple[Table, Recipient]:
    if "code" not in table:
        table.note("code", "is missing", 'write it like code = "night-engineer"')
    code = code_of(table) if "code" in table else ""
    given = [key for key in _WAYS if key in table]
    way: Way = File("")
    if len(given) == 1:
        way = _WAYS[given[0]](table)
    elif given:
        remedy = f"write just one of {', '.join(given)}: two ways are two recipients"
        table.note("", "has several ways to be told", remedy)
    else:
        table.note("", "has no way to be told", one_of(_WAYS))
    one = Recipient(
        code,
        way,
        table.texts("roles"),
        read_spans(table, "quiet"),
        read_spans(table, "on_call"),
    )
    table.finish()
    return table, one


def _route(table: Table) -> tuple[Table, Route]:
    route = Route(
        tuple(_kinds(table)),
        _needed(table, "to", '["engineer"]'),
        table.texts("areas"),
        tuple(_times(table)),
        table.period("ahead"),
        table.period("repeat"),
        table.texts("then"),
        table.period("then_after"),
    )
    table.finish()
    return table, route


def _needed(table: Table, key: str, example: str) -> tuple[str, ...]:
    """Texts of which there is at least one."""
    found = table.texts(key)
    if not found and not _is_noted(table, key):
        what = "is empty" if key in table else "is missing"
        table.note(key, what, f"write it like {key} = {example}")
    return found


def _is_noted(table: Table, key: str) -> bool:
    """Whether something is wrong with a key already."""
    return any(one.where.startswith(f"{table.where}: {key}") for one in table.problems)


def _kinds(table: Table) -> Iterator[Kind]:
    known = [kind.value for kind in Kind]
    for word in _needed(table, "kinds", '["gate-failed"]'):
        if word in known:
            yield Kind(word)
        else:
            remedy = nearest(word, known, one_of(known))
            table.note("kinds", f"{quoted(word)} is no kind of notice", remedy)


def _times(table: Table) -> Iterator[time]:
    for text in table.texts("times"):
        found = time_of_day(text)
        if found is None:
            table.note("times", f"{quoted(text)} is no time of day", 'write it like "05:30"')
        else:
            yield found


def _look_at_recipients(
    root: Table, recipients: Iterable[tuple[Table, Recipient]], plan: Plan
) -> None:
    """Notes what the recipients are together, or are not."""
    roles = set(chain.from_iterable(one.roles for one in plan.recipients))
    seen: set[str] = set()
    for table, one in recipients:
        if one.code in seen or one.code in roles:
            what = f"{quoted(one.code)} is the code of another recipient, or a role"
            table.note("code", what, "rename one: a route must mean one thing by it")
        seen.add(one.code)
        if isinstance(one.way, Mail) and plan.server is None:
            table.note("mail", "there is no server to hand it to", "add [mail] with its host")
    if COORDINATOR not in roles:
        what = f'no recipient has the role "{COORDINATOR}", who is told what lapses during a case'
        root.note("recipient", what, f'write roles = ["{COORDINATOR}"] at one of them')


def _look_at_route(table: Table, route: Route, plan: Plan) -> None:
    """Notes what a route says against itself or the recipients."""
    known = list(
        dict.fromkeys(chain.from_iterable((one.code, *one.roles) for one in plan.recipients))
    )
    for key, names in (("to", route.to), ("then", route.then)):
        for name in names:
            if name not in known:
                remedy = nearest(name, known, one_of(known) if known else "add a recipient")
                table.note(key, f"nobody is called {quoted(name)}, and has no such role", remedy)
    lists = [kind for kind in route.kinds if kind in LISTS]
    other = [kind for kind in route.kinds if kind not in LISTS]
    if lists and not route.times and not _is_noted(table, "times"):
        table.note("times", f"when is {lists[0]} sent?", 'write times = ["05:30"]')
    if route.times and other:
        table.note("times", f"{other[0]} is told when it happens", "give it a route of its own")
    if Kind.LAPSE_SOON in route.kinds and not route.ahead and not _is_noted(table, "ahead"):
        table.note("ahead", "how long before it lapses?", 'write ahead = "PT1H"')
    _look_at_pauses(table, route, not other)
    if lists:
        _look_at_quiet(table, route, plan)
    people = [*plan.called(route.to)]
    waits = [kind for kind in other if not MANNERS[kind].urgent]
    if waits and people and all(_is_always_quiet(one) for one in people):
        what = f"of {waits[0]} nobody is ever told: the hours of all of them are always quiet"
        table.note("to", what, "name somebody else too")


def _look_at_pauses(table: Table, route: Route, only_lists: bool) -> None:
    """Notes what would be passed over in silence: pauses of no length, and of what has none."""
    if bool(route.then) is not (route.then_after is not None) and not _is_noted(table, "then"):
        table.note("then", "and then_after go together", 'write then = ["…"], then_after = "PT15M"')
    for key, period in (("repeat", route.repeat), ("then_after", route.then_after)):
        if period is not None and not period:
            table.note(key, "is no time at all", f'write {key} = "PT30M", or leave it out')
    if route.ahead is not None and Kind.LAPSE_SOON not in route.kinds:
        table.note("ahead", "is for lapse-soon only", "leave it out")
    for key in ("repeat", "then", "then_after"):
        if only_lists and route.kinds and key in table:
            table.note(key, "means nothing for a list, which is sent once", "leave it out")


def _is_always_quiet(one: Recipient) -> bool:
    """Whether no quarter of an hour of a week is free of quiet hours."""
    monday = datetime.combine(date(2000, 1, 3), time.min)
    quarters = (monday + timedelta(minutes=15 * n) for n in range(7 * 24 * 4))
    return all(any(span.holds_at(at) for span in one.quiet) for at in quarters)


def _look_at_quiet(table: Table, route: Route, plan: Plan) -> None:
    """Notes the times of lists at which a recipient does not want to be told."""
    for one in plan.called(route.to):
        for at in route.times:
            # A week that begins on a Monday: is it quiet at this time on any of its days?
            week = (datetime.combine(date(2000, 1, 3 + day), at) for day in range(7))
            if any(span.holds_at(local) for local in week for span in one.quiet):
                what = f"{at:%H:%M} is in the quiet hours of {one.code}"
                table.note("times", what, "choose another time, or shorten the quiet hours")
