"""Tables of a TOML document, read with their mistakes: nothing here raises for what a user wrote.

Each table hands out its values by type and notes what is wrong with them; what nobody asked it
for is an unknown key.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from typing import Any, TypeVar

from checkwatch.core.mistake import cut, nearest, quoted
from checkwatch.core.period import Period, parse_period
from checkwatch.core.rulebook import Number
from checkwatch.errors import Problem, WrongUse

T = TypeVar("T")

#: Far beyond what is measured or counted here, and short enough to be calculated with.
_LARGEST = 10**12
_FINEST = -12

_NAMES: tuple[tuple[type, str], ...] = (
    (bool, "true or false"),
    (str, "text"),
    (int, "a number"),
    (Decimal, "a number"),
    (list, "a list"),
    (dict, "a table"),
    (datetime, "a date and time without quotes"),
    (date, "a date without quotes"),
    (time, "a time without quotes"),
)


#: How each kind of value is written.
_AS = {
    str: "put it in quotes",
    bool: "write true or false, without quotes",
    list: "write it between [ and ]",
    dict: "write it as { key = value }, or under a heading of its own",
}


def parse_toml(text: str, where: str) -> tuple[dict[str, Any], tuple[Problem, ...]]:
    """The document, or an empty one and the place at which it stops being TOML."""
    try:
        return tomllib.loads(text, parse_float=_decimal), ()
    except RecursionError:
        return {}, (Problem(where, "is nested too deeply", "write it flatter"),)
    except ValueError as error:
        what, _, place = str(error).rpartition(" (at ")
        place = place.removesuffix(")") if what else ""
        said = what or str(error)
        spot = f"{where}: {place}" if place else where
        return {}, (Problem(spot, f"this is not TOML: {cut(said, 200)}", "mend it there first"),)


#: What each key that must be there may look like, for who left it out.
_EXAMPLES = {
    "at": '"2026-03-29T06:50"',
    "code": '"leak-test"',
    "days": '"MO-FR"',
    "from": '"07:00"',
    "gtins": '["02000000000015"]',
    "happening": '"absorbent-change"',
    "host": '"mail.saltmere.test"',
    "kinds": '["anaesthetic-machine"]',
    "machines": '{ AM-01 = "anaesthetic-machine" }',
    "name": '"A repair ends a pass"',
    "of": '"AM-01"',
    "once_each": '"day"',
    "say": '"Close the valve"',
    "sender": '"checks@saltmere.test"',
    "title": '"Leak test"',
    "to": '"18:00"',
    "unit": '"mL/min"',
    "valid_until_next": '"FREQ=DAILY;BYHOUR=7;BYMINUTE=0"',
    "zone": '"Europe/London"',
}
_OWN_REMEDIES = {"rulebook": "begin the file with [rulebook], its title and its zone"}


def _remedy_for(key: str) -> str:
    """What to do where a key that must be there is missing or empty."""
    if key in _EXAMPLES:
        return f"write it like {key} = {_EXAMPLES[key]}"
    return _OWN_REMEDIES.get(key, "write it, or take its line out")


def _decimal(text: str) -> Decimal:
    # An exponent beyond what a Decimal holds raises; as NaN it is refused where it stands.
    try:
        return Decimal(text)
    except InvalidOperation:
        return Decimal("NaN")


def one_of(known: Iterable[str]) -> str:
    """The remedy that lists all that is possible."""
    return f"write one of {', '.join(known)}"


def wrong(what: str, remedy: str = "") -> WrongUse:
    """A refusal by a reader of some text, whose place its caller knows."""
    return WrongUse(Problem("", what, remedy))


class Table:
    """One table: `where` is its place in words, `problems` the list that all tables share."""

    def __init__(self, raw: Mapping[str, Any], where: str, problems: list[Problem]) -> None:
        self.where = where
        self.problems = problems
        self._raw = raw
        self._asked: dict[str, None] = {}

    def __contains__(self, key: str) -> bool:
        self._asked[key] = None
        return key in self._raw

    def keys(self) -> tuple[str, ...]:
        """Every key that was written, each as if asked for."""
        self._asked.update(dict.fromkeys(self._raw))
        return tuple(self._raw)

    def is_list(self, key: str) -> bool:
        """Whether a list stands under a key."""
        return key in self and isinstance(self._raw[key], list)

    def is_empty(self, key: str) -> bool:
        """Whether an empty list stands under a key."""
        return key in self and self._raw[key] == []

    def is_word(self, key: str, word: str) -> bool:
        """Whether just this word stands under a key."""
        return key in self and self._raw[key] == word

    def note(self, key: str, what: str, remedy: str = "") -> None:
        """Notes a mistake at a key; at the table itself where the key is empty."""
        where = f"{self.where}: {key}" if key else self.where
        self.problems.append(Problem(where, what, remedy))

    def finish(self) -> None:
        """Notes the keys that nobody asked for; called when all others were."""
        for key in self._raw:
            if key not in self._asked:
                known = one_of(self._asked)
                self.note(cut(key), "is not a key here", nearest(key, self._asked, known))

    def text(self, key: str, *, required: bool = False) -> str:
        """Text on one line, empty where there is none or it is mistaken."""
        raw = self._get(key, str, "text", required=required)
        return "" if raw is None else self._line(key, raw, required=required)

    def lines(self, key: str) -> list[str]:
        """The lines of a longer text."""
        return (self._get(key, str, "text") or "").splitlines()

    def texts(self, key: str, *, required: bool = False) -> tuple[str, ...]:
        """A list of texts; one that is required is not empty."""
        found = []
        raw = self._get(key, list, "a list of texts", required=required)
        if required and raw == []:
            self.note(key, "is empty", _remedy_for(key))
        for number, item in enumerate(raw or (), 1):
            place = f"{key}, item {number}"
            if isinstance(item, str):
                found.append(self._line(place, item, required=True))
            else:
                self.note(place, f"is {_name(item)}, not text", "put it in quotes")
        return tuple(filter(None, found))

    def flag(self, key: str, default: bool) -> bool:
        """True or false."""
        raw = self._get(key, bool, "true or false")
        return default if raw is None else raw

    def choice(self, key: str, known: Iterable[str]) -> str:
        """One of the known words, empty where there is none or it is mistaken."""
        word = self.text(key)
        if word and word not in (allowed := list(known)):
            self.note(key, f"{quoted(word)} is not known", nearest(word, allowed, one_of(allowed)))
            return ""
        return word

    def number(self, key: str) -> Number | None:
        """A finite number, None where there is none or it is mistaken."""
        raw = self._raw.get(key) if key in self else None
        return None if raw is None else self._number(key, raw)

    def numbers(self, key: str, count: int) -> tuple[Number, ...]:
        """So many numbers, or none."""
        raw = self._get(key, list, f"a list of {count} numbers")
        if raw is None:
            return ()
        if len(raw) != count:
            self.note(key, f"holds {len(raw)}, not {count} numbers", f"write {count}")
            return ()
        found = [self._number(key, item) for item in raw]
        return tuple(number for number in found if number is not None) if None not in found else ()

    def period(self, key: str) -> Period | None:
        """An ISO 8601 duration, None where there is none or it is mistaken."""
        if not (text := self.text(key)):
            return None
        return self.attempt(key, lambda: parse_period(text))

    def attempt(self, key: str, make: Callable[[], T]) -> T | None:
        """What `make` gives, or None and its refusal noted at the key."""
        try:
            return make()
        except WrongUse as refusal:
            for problem in refusal.problems:
                self.note(key, problem.what, problem.remedy)
            return None

    def table(self, key: str, *, required: bool = False) -> Table | None:
        """The table under a key."""
        raw = self._get(key, dict, "a table", required=required)
        return None if raw is None else Table(raw, f"{self.where}: {key}", self.problems)

    def tables(self, key: str, name_by: str = "code") -> list[Table]:
        """The tables of a list, each named by its code, or by its number without one."""
        found = []
        for number, raw in enumerate(self._get(key, list, "a list of tables") or (), 1):
            if isinstance(raw, dict):
                name = raw.get(name_by)
                called = cut(name) if isinstance(name, str) and name else str(number)
                found.append(Table(raw, f"{self.where}: {key} {called}", self.problems))
            else:
                self.note(f"{key} {number}", f"is {_name(raw)}, not a table", _AS[dict])
        return found

    def _get(self, key: str, kind: type, name: str, *, required: bool = False) -> Any:
        if key not in self:
            if required:
                self.note(key, "is missing", _remedy_for(key))
            return None
        raw = self._raw[key]
        if type(raw) is kind:
            return raw
        self.note(key, f"is {_name(raw)}, not {name}", _AS[kind])
        return None

    def _line(self, key: str, raw: str, *, required: bool) -> str:
        line = " ".join(raw.split())
        if required and not line:
            self.note(key, "is empty", _remedy_for(key))
        odd = next((c for c in line if not c.isprintable()), None)
        if odd is None:
            return line
        what = f"holds a character that cannot be printed (U+{ord(odd):04X})"
        self.note(key, what, "leave it out")
        return ""

    def _number(self, key: str, raw: object) -> Number | None:
        if isinstance(raw, bool) or not isinstance(raw, int | Decimal):
            self.note(key, f"is {_name(raw)}, not a number", "write digits, without quotes")
            return None
        if isinstance(raw, Decimal) and not raw.is_finite():
            self.note(key, "is not a finite number", "write digits")
            return None
        exponent = raw.as_tuple().exponent if isinstance(raw, Decimal) else 0
        # Compared, not calculated with: `abs` of a huge decimal overflows.
        fine = isinstance(exponent, int) and exponent >= _FINEST
        if not (fine and -_LARGEST <= raw <= _LARGEST):
            what = "is too large or has too many digits to be meant"
            self.note(key, what, "write fewer digits")
            return None
        return raw


def _name(raw: object) -> str:
    return next((name for kind, name in _NAMES if isinstance(raw, kind)), "something else")


_CODE = re.compile(r"[a-z0-9-]+")


def code_of(table: Table, key: str = "code") -> str:
    """A code of the rulebook; one with wrong letters is noted and given as it may be written, so
    that what names it is compared with what it will be."""
    code = table.text(key, required=True)
    if code and not _CODE.fullmatch(code):
        better = re.sub(r"[^a-z0-9]+", "-", cut(code).lower()).strip("-")
        remedy = f'write "{better}"' if better else "write it with these"
        table.note(key, f"{quoted(code)} has characters other than a-z 0-9 -", remedy)
        return better or code
    return code
