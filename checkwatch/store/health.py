"""What can be wrong with the files under a book, each as whole phrases: damage, room, network."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from sqlalchemy import Connection

#: Kinds of file system that lie on another computer, as Linux calls them (from memory, of
#: proc_mounts(5) and the kernel's list): SQLite's WAL needs memory that all its users share.
_NETWORK = {"9p", "afs", "ceph", "cifs", "coda", "fuse.glusterfs", "fuse.sshfs", "glusterfs"}
_NETWORK |= {"gfs2", "lustre", "ncpfs", "nfs", "nfs4", "ocfs2", "smb3", "smbfs", "virtiofs"}

#: No more of the database's complaints are told.
_MOST = 3


def damage(conn: Connection) -> tuple[str, ...]:
    """What SQLite finds wrong with the pages and indexes of the file; empty for none.

    PostgreSQL looks after its own files.
    """
    if conn.dialect.name != "sqlite":
        return ()
    found = conn.exec_driver_sql(f"PRAGMA integrity_check({_MOST})").scalars().all()
    return () if found == ["ok"] else tuple(" ".join(str(one).split()) for one in found)


def journal_mode(conn: Connection) -> str:
    """How SQLite keeps changes until they are in the file; empty on PostgreSQL."""
    if conn.dialect.name != "sqlite":
        return ""
    return str(conn.exec_driver_sql("PRAGMA journal_mode").scalar())


def network(path: Path) -> str:
    """The kind of the network disk that a file lies on; empty for a local disk, and where nobody
    can tell."""
    try:
        mounts = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""
    folder, found = os.path.realpath(path), ("", "")
    for line in mounts.splitlines():
        _, point, kind, *_ = line.split(" ")
        point = point.replace("\\040", " ")
        inside = folder == point or folder.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(found[0]):
            found = (point, kind)
    return found[1] if found[1] in _NETWORK else ""


def room(path: Path) -> tuple[int, int]:
    """Bytes that are free on the disk of a book's file, and bytes that the book takes there."""
    files = (path, Path(f"{path}-wal"))
    return shutil.disk_usage(path.parent).free, sum(f.stat().st_size for f in files if f.exists())
