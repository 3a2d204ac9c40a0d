"""A PostgreSQL server of our own for tests: started in a temporary folder, stopped and removed afterwards.

    python tests/postgres_server.py COMMAND...

runs the command with its address in JARTEST_TEST_POSTGRES_URL.  It speaks through a socket in that folder
alone, and is no other server that may run here.  Needs the programs that Debian and Ubuntu put under
/usr/lib/postgresql; as root it becomes the user `postgres`, because the server refuses root.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

VARIABLE = "JARTEST_TEST_POSTGRES_URL"


def programs() -> Path | None:
    """The folder of the newest PostgreSQL programs here; None where there are none that can be run."""
    found = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3].split(".")[0])
    )
    if not found or (os.geteuid() == 0 and not _postgres_user()):
        return None
    return found[-1].parent


def _postgres_user() -> pwd.struct_passwd | None:
    try:
        return pwd.getpwnam("postgres")
    except KeyError:
        return None


@contextmanager
def running() -> Iterator[str]:
    """The address of a server that runs for as long as this lasts."""
    folder = programs()
    if folder is None:
        raise FileNotFoundError("no PostgreSQL under /usr/lib/postgresql that can be run here")
    home = Path(tempfile.mkdtemp(prefix="jartest-pg-"))
    become: list[str] = []
    if os.geteuid() == 0:
        shutil.chown(home, "postgres", "postgres")
        become = ["runuser", "-u", "postgres", "--"]
    data = home / "data"
    control = [*become, str(folder / "pg_ctl"), "-D", str(data), "-w", "-s"]
    try:
        _call(
            [
                *become,
                str(folder / "initdb"),
                "-D",
                str(data),
                "-U",
                "jartest",
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--no-sync",
            ]
        )
        # fsync off: the server dies with the tests, and what they check is not the disk
        settings = f"-c listen_addresses='' -c unix_socket_directories={home} -c fsync=off"
        _call([*control, "-o", settings, "-l", str(home / "log"), "start"])
        try:
            yield f"postgresql+psycopg://jartest@/postgres?host={home}"
        finally:
            _call([*control, "-m", "immediate", "stop"])
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _call(command: list[str]) -> None:
    subprocess.run(command, check=True, cwd="/", stdout=subprocess.DEVNULL)


if __name__ == "__main__":
    with running() as url:
        sys.exit(subprocess.run(sys.argv[1:], env={**os.environ, VARIABLE: url}, check=False).returncode)
