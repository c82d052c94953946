"""A book of one machine of the day of all tests here, and a clock that is set for each command."""

from __future__ import annotations

from pathlib import Path

from freezegun.api import FrozenDateTimeFactory

from tests.cli.line import Said, run

#: A self-test covers the leak test; a change of the circuit voids both, one of the absorbent the
#: leak test. The suction test is the engineer's once it failed; the filter goes by the meter.
RULES = """
[rulebook]
title = "Small suite"
zone = "Europe/London"

[[happening]]
code = "circuit-change"
title = "Circuit changed"

[[happening]]
code = "absorbent-change"
title = "Absorbent changed"

[[check]]
code = "self-test"
title = "Full self-test"
kinds = ["anaesthetic-machine"]
covers = ["leak-test"]
voided_by = ["circuit-change"]
gate = false
  [[check.validity]]
  valid_for = "PT24H"

[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["anaesthetic-machine"]
voided_by = ["circuit-change", "absorbent-change"]
minutes = { hands_on = 2, watched = 1, alone = 4 }
  [[check.validity]]
  valid_for = "PT24H"
  [[check.measure]]
  code = "leak"
  unit = "mL/min"
  required = true
  limited_above = 200
  fail_above = 300

[[check]]
code = "suction-test"
title = "Suction test"
kinds = ["anaesthetic-machine"]
after_fail = "engineer"
  [[check.validity]]
  valid_for = "PT24H"

[[check]]
code = "filter"
title = "Fan filter"
kinds = ["anaesthetic-machine"]
gate = false
  [[check.validity]]
  valid_for_use = 350
  meter = "hours"
  reading_within = "P7D"
"""

FLEET = """\
tag,kind,model,serial,place,place_kind,commissioned
AM-02,anaesthetic-machine,type A,2,Theatre 2,theatre,2024-01-01
AM-03,anaesthetic-machine,type A,3,Theatre 3,theatre,2024-01-01
"""


#: What somebody must have written; where a test does not say who, it is kd.
SOMEBODY = ("done", "fault", "except", "strike")


class Clocked:
    """The book, and what is typed at a time of 15 January 2040 or another day."""

    def __init__(self, folder: Path, clock: FrozenDateTimeFactory, rules: str = RULES) -> None:
        self.book, self.clock = folder / "book.db", clock
        for name, text in (("rules.toml", rules), ("fleet.csv", FLEET)):
            (folder / name).write_text(text)
        files = ["--rules", folder / "rules.toml", "--fleet", folder / "fleet.csv"]
        self.at("2040-01-15T06:00", "begin", *map(str, files))

    def at(self, time: str, *words: str, code: int = 0) -> Said:
        """What a command says at a time, and that it ends as it should."""
        self.clock.move_to(f"{time if 'T' in time else f'2040-01-15T{time}'}:00Z")
        by = ["--by", "kd"] if words[0] in SOMEBODY and "--by" not in words else []
        said = run("--db", self.book, *words, *by)
        assert said.code == code, said
        return said

    def says(self, time: str, *words: str) -> str:
        """The same on one line."""
        return " ".join(self.at(time, *words).out.split())

    def wrote(self, time: str, *words: str) -> str:
        """The number of the entry that a command wrote."""
        number: int = self.at(time, *words, "--json").document["entries"][0]
        return str(number)

    def started(self) -> str:
        """The column `started` of the newest entry of a result."""
        return run("--db", self.book, "export").out.splitlines()[-1].split(",")[3]
