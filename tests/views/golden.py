"""Golden files: text that was read by a person once and must not change unseen.

They are written anew where CHECKWATCH_GOLDEN is "write"; then `git diff` is what to read.
"""

from __future__ import annotations

import os
from pathlib import Path

FOLDER = Path(__file__).parents[1] / "golden" / "views"


def expect(name: str, text: str) -> None:
    """The text equals the golden file, and fits on a terminal of 80 columns."""
    path = FOLDER / f"{name}.txt"
    if os.environ.get("CHECKWATCH_GOLDEN") == "write":
        path.write_text(text + "\n")
    assert text + "\n" == path.read_text()
    assert max(map(len, text.splitlines())) <= 80
