"""The README's commands do what it shows; the times are those of the day it was written."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

_TIME = re.compile(
    r"((Mon|Tue|Wed|Thu|Fri|Sat|Sun) )?(\d{1,2} [A-Z][a-z]{2} )?(\d{4} )?\d\d:\d\d [A-Z]{3,4}"
)


def steps(text: str) -> Iterator[tuple[str, str]]:
    """Each command of the console blocks with the output below it."""
    for block in re.findall(r"```console\n(.*?)```", text, re.DOTALL):
        for step in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = step.partition("\n")
            yield command, output


def timeless(text: str) -> str:
    """On one line, with no times: they decide where lines break."""
    folded = " ".join(text.split())
    return re.sub(
        r", (now|less than a minute ago|in \d+ \w+|\d+ \w+ ago)", "", _TIME.sub("TIME", folded)
    )


@pytest.mark.parametrize("page", ["README.md", "docs/start.md"])
def test_the_tour_is_what_the_program_prints(page: str, tmp_path: Path) -> None:
    found = list(steps((ROOT / page).read_text()))
    assert len(found) > 4
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    folder = tmp_path
    bin_folder = Path(sys.executable).parent
    env = {**os.environ, "PATH": f"{bin_folder}{os.pathsep}{os.environ['PATH']}"}
    for command, expected in found:
        if command == ". .venv/bin/activate":
            continue  # whoever runs the tests has done it
        if command.startswith("cd "):
            folder = folder / command.removeprefix("cd ")
            continue
        if command.startswith("export "):
            name, _, value = command.removeprefix("export ").partition("=")
            env[name] = value
            continue
        done = subprocess.run(
            command, shell=True, cwd=folder, env=env, capture_output=True, text=True
        )
        assert timeless(done.stdout + done.stderr) == timeless(expected), command
