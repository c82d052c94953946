"""A book with two machines, and a desk on 15 January 2040; each line takes a second."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from freezegun import freeze_time
from freezegun.api import FrozenDateTimeFactory

from tests.cli.line import Said, run

#: The leak test reads a number that it cannot do without.
RULES = """
[rulebook]
title = "Small suite"
zone = "Europe/London"

[[happening]]
code = "absorbent-change"
title = "Absorbent changed"

[[item]]
title = "Absorbent"
gtins = ["00400000000015"]
happening = "absorbent-change"

[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["anaesthetic-machine"]
voided_by = ["absorbent-change"]
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
  say = "Open the reserve cylinder."
  caution = "No oil near oxygen."
  put_back = "Reserve cylinder shut"
  [[check.step]]
  say = "Read the leak."
  measure = "leak"

[[place_kind]]
code = "theatre"
needs = ["anaesthetic-machine"]
"""

FLEET = """\
tag,kind,model,serial,place,place_kind,commissioned
AM-02,anaesthetic-machine,type A,2,Theatre 2,theatre,2024-01-01
AM-03,anaesthetic-machine,type A,3,Theatre 3,theatre,2024-01-01
"""


def made(folder: Path, rules: str = RULES) -> Path:
    """A book of these rules and the machines."""
    for name, text in (("rules.toml", rules), ("fleet.csv", FLEET)):
        (folder / name).write_text(text)
    files = ["--rules", folder / "rules.toml", "--fleet", folder / "fleet.csv"]
    said = run("--db", folder / "book.db", "begin", *files)
    assert said.code == 0, said.err
    return folder / "book.db"


def results(book: Path | str) -> list[list[str]]:
    """What was written of the machines since they were enrolled: what, outcome, who."""
    rows = [row.split(",") for row in run("--db", book, "export").out.splitlines()]
    wanted = [rows[0].index(name) for name in ("what", "outcome", "by")]
    found = [[row[n] for n in wanted] for row in rows[1:] if row[0].startswith("AM-")]
    return [row for row in found if row[0] != "enrolled"]


class AtDesk:
    """The book, and people who come to the desk."""

    def __init__(self, book: Path, clock: FrozenDateTimeFactory) -> None:
        self.book, self.clock = book, clock

    def types(
        self, *lines: str | Callable[[], object], code: int = 0, typing_in: bool = False
    ) -> Said:
        """Line by line until there are no more; a function is what happens meanwhile."""
        left = iter(lines)

        def typed() -> str:
            self.clock.tick(timedelta(seconds=1))
            for line in left:
                if isinstance(line, str):
                    return f"{line}\n"
                line()
            return ""

        words = ["desk", *(["--typing-in"] if typing_in else [])]
        said = run("--db", self.book, *words, typed=typed)
        assert said.code == code, said
        return said

    def wait(self, seconds: int) -> Callable[[], object]:
        """Nobody types for so long."""
        return lambda: self.clock.tick(timedelta(seconds=seconds))

    @property
    def wrote(self) -> list[list[str]]:
        """What was written: what, outcome, who."""
        return results(self.book)


@pytest.fixture(scope="session")
def early(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of the early morning; it is only copied."""
    with freeze_time("2040-01-15T06:00:00Z"):
        return made(tmp_path_factory.mktemp("desk"))


@pytest.fixture
def desk(early: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[AtDesk]:
    monkeypatch.delenv("CHECKWATCH_DB", raising=False)
    monkeypatch.setenv("COLUMNS", "100")
    with freeze_time("2040-01-15T06:50:00Z") as clock:
        yield AtDesk(Path(shutil.copy(early, tmp_path / "book.db")), clock)
