"""Where the book is: said with --db, in the environment, or in the user's data folder."""

from __future__ import annotations

import os
import sys

from checkwatch.errors import Problem, WrongUse


def book_url(given: str | None) -> str:
    """An SQLAlchemy URL, or a path, which means SQLite.

    Raises WrongUse for an empty one: where a variable was not set, another book would answer.
    """
    if given == "":
        raise WrongUse(Problem("--db", "is empty", "name a file or a database URL"))
    return given or os.environ.get("CHECKWATCH_DB") or os.path.join(_data_folder(), "book.db")


def _data_folder() -> str:
    if sys.platform == "linux":
        # The rule of the XDG base directories, as platformdirs reads it: the shortest question
        # does not wait until that is loaded.
        chosen = os.environ.get("XDG_DATA_HOME", "")
        folder = chosen if os.path.isabs(chosen) else os.path.expanduser("~/.local/share")
        return os.path.join(folder, "checkwatch")
    from platformdirs import user_data_dir

    return user_data_dir("checkwatch", appauthor=False)
