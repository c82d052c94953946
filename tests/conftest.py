"""Books to test with: a file of SQLite and a schema of PostgreSQL, the same tests on both.

PostgreSQL is looked for in this order: the URL in CHECKWATCH_TEST_PG; a server on 127.0.0.1:5432
that lets the user postgres in; Debian's binaries, run on a private socket by an unprivileged user.
Without any of them its tests are skipped, and the summary says so; CHECKWATCH_REQUIRE_PG=1 makes
that a failure.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.pool import NullPool

from checkwatch.store import migrate

_LOCAL = "postgresql://postgres@127.0.0.1:5432/postgres"
_NO_SERVER = pytest.StashKey[str]()


@pytest.fixture(params=["sqlite", "postgresql"])
def book_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty place for a book; afterwards nothing is left of it."""
    if request.param == "sqlite":
        yield str(tmp_path / "book.db")
        return
    server = request.getfixturevalue("postgresql_url")
    with schema(server) as url:
        yield url


@pytest.fixture
def book(book_url: str) -> str:
    """A book without entries."""
    migrate.create(book_url)
    return book_url


@pytest.fixture(scope="session")
def postgresql_url(pytestconfig: pytest.Config) -> Iterator[str]:
    """A PostgreSQL server in which tests may make schemas."""
    for url in filter(None, [os.environ.get("CHECKWATCH_TEST_PG"), _LOCAL]):
        if _answers(url):
            yield url
            return
    if (binaries := _binaries()) is None:
        reason = "no PostgreSQL: set CHECKWATCH_TEST_PG to a server's URL"
        pytestconfig.stash[_NO_SERVER] = reason
        if os.environ.get("CHECKWATCH_REQUIRE_PG") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    with _private_server(binaries) as url:
        yield url


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    skipped = [str(r.longrepr) for r in terminalreporter.stats.get("skipped", [])]
    if _NO_SERVER in config.stash or any("no PostgreSQL" in reason for reason in skipped):
        terminalreporter.write_line(
            "PostgreSQL was not tested: none was found; set CHECKWATCH_TEST_PG to a server's URL"
        )


@contextmanager
def schema(server: str) -> Iterator[str]:
    """The URL of a schema of its own on a server, dropped afterwards."""
    name = f"checkwatch_{uuid.uuid4().hex[:12]}"
    url = make_url(server).update_query_dict({"options": f"-csearch_path={name}"})
    _run(server, f"CREATE SCHEMA {name}")
    try:
        yield url.render_as_string(hide_password=False)
    finally:
        _run(server, "SET lock_timeout = '5s'", f"DROP SCHEMA {name} CASCADE")


def _run(server: str, *statements: str) -> None:
    engine = create_engine(server, poolclass=NullPool, connect_args={"connect_timeout": 3})
    with engine.begin() as conn:
        for statement in statements:
            conn.exec_driver_sql(statement)


def _answers(url: str) -> bool:
    try:
        _run(url, "SELECT 1")
    except (SQLAlchemyError, ModuleNotFoundError):
        return False
    return True


def _binaries() -> Path | None:
    """The newest of Debian's folders that holds a server."""
    found = Path("/usr/lib/postgresql").glob("*/bin/postgres")
    return max((path.parent for path in found), key=lambda p: int(p.parent.name), default=None)


@contextmanager
def _private_server(binaries: Path) -> Iterator[str]:
    folder = Path(tempfile.mkdtemp(prefix="checkwatch-pg-"))
    user = _unprivileged()
    if user:
        os.chown(folder, user.pw_uid, user.pw_gid)
    data = folder / "data"

    def run(program: str, *arguments: str) -> None:
        who = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []} if user else {}
        command = [str(binaries / program), "-D", str(data), *arguments]
        subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL, **who)

    try:
        run("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        # Commits wait for the disk as they do for a user: the tests count on it.
        options = f"-c listen_addresses='' -c unix_socket_directories='{folder}'"
        run("pg_ctl", "start", "-w", "-o", options, "-l", str(folder / "log"))
        try:
            yield f"postgresql://postgres@/postgres?host={folder}"
        finally:
            run("pg_ctl", "stop", "-m", "fast", "-w")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _unprivileged() -> pwd.struct_passwd | None:
    """Whom root runs the server as; it refuses to run as root."""
    return pwd.getpwnam("nobody") if os.geteuid() == 0 else None
