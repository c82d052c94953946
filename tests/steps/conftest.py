"""A book of one machine whose leak test is gone through, while a clock runs as somebody types.

Times are of 15 January 2040; the day begins at 06:00, and each line takes a minute.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from freezegun import freeze_time
from freezegun.api import FrozenDateTimeFactory

from tests.cli.line import Said, run

#: The leak test takes three attended minutes and runs one by itself; the look has no steps.
RULES = """
[rulebook]
title = "Small suite"
zone = "Europe/London"

[[happening]]
code = "circuit-change"
title = "Circuit changed"

[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["anaesthetic-machine"]
voided_by = ["circuit-change"]
minutes = { hands_on = 2, watched = 1, alone = 1 }
cautions = ["No patient may be connected."]
  [[check.validity]]
  valid_for = "PT24H"
  [[check.measure]]
  code = "leak"
  unit = "mL/min"
  required = true
  limited_above = 200
  fail_above = 300
  believable = [0, 2000]
  [[check.step]]
  say = "Look at the seals."
  expect = "No granules."
  more = "A seal with a granule on it leaks, although it looks shut."
  remedy = "Wipe the seal."
  [[check.step]]
  say = "Open the reserve cylinder."
  caution = "No oil near oxygen."
  put_back = "Reserve cylinder shut"
  [[check.step]]
  say = "Read the leak."
  measure = "leak"
  after_run = true

[[check]]
code = "look"
title = "Look round"
kinds = ["anaesthetic-machine"]
  [[check.validity]]
  valid_for = "PT24H"

[[place_kind]]
code = "theatre"
needs = ["anaesthetic-machine"]
"""

FLEET = """\
tag,kind,model,serial,place,place_kind,commissioned
AM-02,anaesthetic-machine,type A,2,Theatre 2,theatre,2024-01-01
"""

#: What leads the leak test to a pass, from the question whether to begin.
PASS = ["yes", "yes", "yes", "yes", "60", "yes", "yes"]

#: The same for the look.
LOOK = ["yes", "pass", "yes"]


class Bench:
    """The book, and a person at the machine."""

    def __init__(self, book: Path, folder: Path, clock: FrozenDateTimeFactory) -> None:
        self.book = shutil.copy(book, folder / "book.db")
        self.tick = timedelta(minutes=1)
        self.folder, self.state, self.clock = folder, folder / "state", clock

    def at(self, time: str) -> Bench:
        """The same, later."""
        self.clock.move_to(f"2040-01-15T{time}:00Z")
        return self

    def does(self, *words: str | Path, code: int = 0) -> Said:
        """Any other command."""
        said = run("--db", self.book, *words)
        assert said.code == code, said
        return said

    def types(
        self,
        *lines: str | Callable[[], object],
        check: str = "leak-test",
        by: str = "kd",
        code: int | None = None,
    ) -> Said:
        """Goes through a check line by line, until there are no more; a function is what somebody
        else does meanwhile."""
        left = iter(lines)

        def typed() -> str:
            self.clock.tick(self.tick)
            for line in left:
                if isinstance(line, str):
                    return f"{line}\n"
                line()
            return ""

        words = ["steps", "AM-02", *([check] if check else []), *(["--by", by] if by else [])]
        said = run("--db", self.book, *words, typed=typed)
        assert code is None or said.code == code, said
        return said

    def adopts(self, rules: str) -> None:
        """Other rules come into force."""
        (self.folder / "rules.toml").write_text(rules)
        why = ["--yes", "--by", "ms", "--why", "better"]
        self.does("rules", "adopt", self.folder / "rules.toml", *why)

    def results(self) -> list[dict[str, str]]:
        """What the book has of checks, by column."""
        return [row for row in self.rows() if row["what"] in ("leak-test", "look")]

    def rows(self) -> list[dict[str, str]]:
        """What the book has, by column."""
        return list(csv.DictReader(self.does("export").out.splitlines()))

    @property
    def outcomes(self) -> list[str]:
        """What the checks came to, in the order of the book."""
        return [row["outcome"] for row in self.results()]


def made(folder: Path, rules: str = RULES) -> Path:
    """A book of these rules and the machine."""
    for name, text in (("rules.toml", rules), ("fleet.csv", FLEET)):
        (folder / name).write_text(text)
    files = ["--rules", folder / "rules.toml", "--fleet", folder / "fleet.csv"]
    said = run("--db", folder / "book.db", "begin", *files)
    assert said.code == 0, said.err
    return folder / "book.db"


@pytest.fixture(scope="session")
def early(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of the early morning; it is only copied."""
    with freeze_time("2040-01-15T06:00:00Z"):
        return made(tmp_path_factory.mktemp("early"))


@pytest.fixture
def bench(early: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    monkeypatch.delenv("CHECKWATCH_DB", raising=False)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("COLUMNS", "60")
    with freeze_time("2040-01-15T06:00:00Z") as clock:
        yield Bench(early, tmp_path, clock)
