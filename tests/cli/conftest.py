"""Two books to ask and to write in: the example suite as it stands now, and a small one."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from freezegun import freeze_time

from checkwatch.run import clock, demo
from tests.cli.clocked import Clocked
from tests.cli.line import run

RULES = """
[rulebook]
title = "Small suite"
zone = "Europe/London"

[[happening]]
code = "power-on"
title = "Switched on"

[[check]]
code = "self-test"
title = "Full self-test"
kinds = ["anaesthetic-machine"]
voided_by = ["power-on"]
minutes = { hands_on = 4 }

  [[check.validity]]
  valid_for = "PT24H"

[[place_kind]]
code = "theatre"
needs = ["anaesthetic-machine"]
"""

FLEET = """\
tag,kind,model,serial,place,place_kind,commissioned
AM-01,anaesthetic-machine,type A,1,Theatre 1,theatre,2024-01-01
AM-02,anaesthetic-machine,type A,2,Theatre 2,theatre,2024-01-01
AM-03,anaesthetic-machine,type A,3,Theatre 2,theatre,2024-01-01
WM-01,patient-warmer,type W,4,Theatre 2,theatre,2024-01-01
"""

PLACES = """\
place,place_kind,area,order,with
Theatre 1,theatre,North,1,
Theatre 2,theatre,South,2,
"""


@pytest.fixture(autouse=True)
def _plain(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No book of the person who runs the tests is asked, and lines are as wide everywhere."""
    monkeypatch.delenv("CHECKWATCH_DB", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "100")


@pytest.fixture(scope="session")
def suite(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The example's book around now; it is only asked."""
    path = str(tmp_path_factory.mktemp("suite") / "example.db")
    demo.build(path, clock.now())
    return path


@pytest.fixture(scope="session")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the small suite's rulebook, fleet and places."""
    folder = tmp_path_factory.mktemp("files")
    for name, text in (("rules.toml", RULES), ("fleet.csv", FLEET), ("places.csv", PLACES)):
        (folder / name).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def begun(files: Path) -> Path:
    """The small suite's book as `begin` leaves it; it is only copied."""
    path = files / "begun.db"
    options = [("--rules", "rules.toml"), ("--fleet", "fleet.csv"), ("--places", "places.csv")]
    words = [word for option, name in options for word in (option, files / name)]
    said = run("--db", path, "begin", *words)
    assert said.code == 0, said.err
    return path


@pytest.fixture
def small(begun: Path, tmp_path: Path) -> str:
    """A small book of one's own: AM-01 in Theatre 1; AM-02, AM-03 and WM-01 in Theatre 2."""
    return shutil.copy(begun, tmp_path / "book.db")


@pytest.fixture
def clocked(tmp_path: Path) -> Iterator[Clocked]:
    """AM-02 and AM-03 on a day that has just begun."""
    with freeze_time("2040-01-15T06:00:00Z") as clock:
        yield Clocked(tmp_path, clock)
