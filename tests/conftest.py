"""What holds for every test: no wall clock decides, a busy machine is slow and not wrong."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from itertools import accumulate, groupby
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Spread the modules that drive a browser evenly among the others.

    A browser keeps the processors busy where many another test waits for a disk or a clock:
    side by side they take less time than one after the other.
    """
    modules = [list(own) for _, own in groupby(items, key=lambda item: item.path)]
    browser = [own for own in modules if _drives_a_browser(own[0].path)]
    others = [own for own in modules if not _drives_a_browser(own[0].path)]
    spread = [*_with_places(others), *_with_places(browser)]
    spread.sort(key=lambda placed: placed[0])
    items[:] = [item for _, own in spread for item in own]


def _with_places(modules: list[list[pytest.Item]]) -> list[tuple[float, list[pytest.Item]]]:
    """Return each module with the share of all their tests that comes before it."""
    before = list(accumulate((len(own) for own in modules), initial=0))
    return [(place / max(before[-1], 1), own) for place, own in zip(before, modules, strict=False)]


def _drives_a_browser(path: Path) -> bool:
    return path.name.endswith("_in_chromium.py")


class PostgresqlServer:
    """A real PostgreSQL server in a folder of its own, without a network."""

    def __init__(self, programs: Path) -> None:
        self.programs = programs
        self.folder = Path(tempfile.mkdtemp(prefix="gw-pg-"))
        self.user = {}
        if os.geteuid() == 0:  # The server refuses to run as root.
            account = pwd.getpwnam("postgres")
            os.chown(self.folder, account.pw_uid, account.pw_gid)
            self.user = {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
        self.url = f"postgresql://gauge@/postgres?host={self.folder}"
        self._run("initdb", "-U", "gauge", "-A", "trust", "-E", "UTF8", "--no-sync", "--locale=C")
        self.start()

    def start(self) -> None:
        """Start it and wait until it answers."""
        options = f"-c listen_addresses='' -c unix_socket_directories={self.folder} -c fsync=off"
        self._run("pg_ctl", "-o", options, "-l", str(self.folder / "log"), "-w", "start")

    def kill(self) -> None:
        """End it at once, whoever is connected."""
        self._run("pg_ctl", "-m", "immediate", "-w", "stop")

    def remove(self) -> None:
        """Leave nothing of it."""
        if (self.folder / "data" / "postmaster.pid").exists():
            self.kill()
        shutil.rmtree(self.folder)

    def _run(self, program: str, *arguments: str) -> None:
        subprocess.run(
            [self.programs / program, "-D", self.folder / "data", *arguments],
            check=True,
            cwd=self.folder,
            stdout=subprocess.DEVNULL,
            timeout=60,
            **self.user,
        )


@pytest.fixture(scope="session")
def postgresql_programs() -> Path:
    """The folder of PostgreSQL's programs."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    if not found and on_path is None:
        pytest.skip("no PostgreSQL server is installed (Debian: apt-get install postgresql)")
    return found[-1].parent if found else Path(str(on_path)).parent


@pytest.fixture(scope="session")
def postgresql_server(postgresql_programs: Path) -> Iterator[str]:
    """The URL of a real PostgreSQL server that lives as long as the tests."""
    server = PostgresqlServer(postgresql_programs)
    yield server.url
    server.remove()


@pytest.fixture
def mortal_postgresql(postgresql_programs: Path) -> Iterator[PostgresqlServer]:
    """A PostgreSQL server that a test may kill and start again."""
    server = PostgresqlServer(postgresql_programs)
    yield server
    server.remove()


@pytest.fixture
def postgresql_url(postgresql_server: str) -> str:
    """The URL of an empty PostgreSQL database."""
    import psycopg

    with psycopg.connect(postgresql_server, autocommit=True) as connection:
        connection.execute("DROP SCHEMA public CASCADE")
        connection.execute("CREATE SCHEMA public")
    return postgresql_server
