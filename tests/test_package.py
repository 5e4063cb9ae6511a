"""The tool works as a wheel, as an editable install and from the checkout, on pinned versions."""

from __future__ import annotations

import importlib.metadata
import re
import subprocess
import sys
import sysconfig
import tomllib
import venv
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from tests.small_network import small_network

ROOT = Path(__file__).resolve().parents[1]
PIP = (sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check")
OFFLINE = ("--no-index", "--no-deps", "--no-build-isolation")


@dataclass(frozen=True)
class Installed:
    """A way to call the tool: an interpreter, and the folder to call it from."""

    python: Path
    folder: Path

    def run(self, *arguments: object) -> str:
        """Run the interpreter with nothing that the caller has set, and give what it prints."""
        done = subprocess.run(
            [str(self.python), *(str(argument) for argument in arguments)],
            cwd=self.folder,
            env={"PATH": "/usr/bin:/bin", "HOME": str(self.folder), "USER": "tester"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def path_of(self, expression: str) -> Path:
        """Give the path that an expression names there."""
        code = f"import fleet; from fleet.store import migrate; print({expression})"
        return Path(self.run("-c", code).strip())


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run([*PIP, "wheel", *OFFLINE, "--wheel-dir", folder, ROOT], check=True)
    (made,) = folder.glob("fleet-*.whl")
    return made


@pytest.fixture(params=["wheel", "editable", "checkout"])
def installed(request: pytest.FixtureRequest, tmp_path: Path) -> Installed:
    """The tool in an environment of its own that borrows only what the tool depends on."""
    if request.param == "checkout":
        return Installed(Path(sys.executable), ROOT)
    if request.param == "editable":
        return _install(tmp_path, "--editable", ROOT)
    return _install(tmp_path, request.getfixturevalue("wheel"))


def _install(tmp_path: Path, *what: object) -> Installed:
    place, elsewhere = tmp_path / "environment", tmp_path / "elsewhere"
    venv.create(place, with_pip=False, symlinks=True)
    python = place / "bin" / "python"
    own = Path(_purelib(python))
    (own / "borrowed.pth").write_text(f"{sysconfig.get_path('purelib')}\n", encoding="utf-8")
    command = [*PIP, "--python", python, "install", "--ignore-installed", *OFFLINE, *what]
    subprocess.run([str(word) for word in command], check=True)
    elsewhere.mkdir()
    return Installed(python, elsewhere)


def _purelib(python: Path) -> str:
    code = "import sysconfig; print(sysconfig.get_path('purelib'))"
    return subprocess.run(
        [python, "-c", code], capture_output=True, text=True, check=True
    ).stdout.strip()


@pytest.mark.long
def test_tool_prepares_a_week(installed: Installed, tmp_path: Path) -> None:
    source = small_network().write(tmp_path / "input")
    out = tmp_path / "out"
    tool = ("-m", "fleet", "--db", tmp_path / "fleet.sqlite")

    installed.run(*tool, "database", "create")
    week = ("week", "prepare", source, "--as-of", "2025-06-02", "--folder", out)
    told = installed.run(*tool, *week, "--iterations", 50)

    assert "2025-W24-NORTH" in told
    assert "2025-W24-SOUTH" in told
    pages = [path.read_bytes() for path in sorted(out.glob("*.pdf"))]
    assert len(pages) >= 2
    assert all(page.startswith(b"%PDF-") for page in pages)
    assert {path.suffix for path in out.iterdir()} == {
        *(".csv", ".pdf", ".html", ".gpx", ".ics", ".geojson"),
    }


@pytest.mark.long
def test_wheel_finds_its_migrations_inside_the_package(wheel: Path, tmp_path: Path) -> None:
    installed = _install(tmp_path, wheel)

    package = installed.path_of("fleet.__path__[0]")

    assert package.is_relative_to(tmp_path)
    assert installed.path_of("migrate.migrations_folder()") == package / "migrations"


@pytest.mark.long
def test_editable_install_copies_nothing(tmp_path: Path) -> None:
    installed = _install(tmp_path, "--editable", ROOT)

    assert installed.path_of("fleet.__path__[0]") == ROOT / "fleet"
    assert installed.path_of("migrate.migrations_folder()") == ROOT / "migrations"
    assert not (Path(_purelib(installed.python)) / "fleet").exists()


@pytest.mark.long
def test_installed_command_shows_its_version(wheel: Path, tmp_path: Path) -> None:
    installed = _install(tmp_path, wheel)

    shown = subprocess.run(
        [installed.python.parent / "fleet", "--version"],
        cwd=installed.folder,
        capture_output=True,
        text=True,
        check=True,
    )

    assert shown.stdout == f"fleet, version {_project()['version']}\n"


@pytest.mark.long
def test_wheel_holds_every_file_of_the_package_and_nothing_else(wheel: Path) -> None:
    held = set(zipfile.ZipFile(wheel).namelist())

    code = {name for name in held if ".dist-info/" not in name}
    wanted = {f"fleet/{path}" for path in _files("fleet")}
    wanted |= {f"fleet/migrations/{path}" for path in _files("migrations")}
    assert code == wanted
    assert {"fleet/reports/route.typ", "fleet/reports/route.css"} < code
    assert "fleet/migrations/script.py.mako" in code


def _files(folder: str) -> list[str]:
    paths = [path for path in (ROOT / folder).rglob("*") if path.is_file()]
    return [
        path.relative_to(ROOT / folder).as_posix()
        for path in paths
        if "__pycache__" not in path.parts
    ]


def _project() -> dict[str, object]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def _constraints() -> list[str]:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    return [line for line in lines if not line.startswith("#")]


def _pins() -> dict[str, Version]:
    pairs = (line.split("==") for line in _constraints())
    return {canonicalize_name(name): Version(version) for name, version in pairs}


def _needed(wanted: list[Requirement]) -> dict[str, list[Requirement]]:
    """Give every distribution that these draw in here, with all that is asked of it."""
    needed: dict[str, list[Requirement]] = {}
    while wanted:
        requirement = wanted.pop()
        name = canonicalize_name(requirement.name)
        first = name not in needed
        needed.setdefault(name, []).append(requirement)
        extras = {"", *requirement.extras}
        if first or requirement.extras:
            told = importlib.metadata.requires(name) or []
            wanted += [r for r in map(Requirement, told) if _applies(r, extras)]
    return needed


def _applies(requirement: Requirement, extras: set[str]) -> bool:
    marker = requirement.marker
    return marker is None or any(marker.evaluate({"extra": extra}) for extra in extras)


def test_constraints_are_sorted_names_and_versions() -> None:
    lines = _constraints()

    assert lines == sorted(lines, key=lambda line: line.lower().split("=="))
    assert [
        line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[0-9][0-9a-z.]*", line)
    ] == []


def test_constraints_pin_everything_that_is_installed_with_the_tool_and_its_tests() -> None:
    project, pins = _project(), _pins()
    told = [*project["dependencies"], *project["optional-dependencies"]["dev"]]

    needed = _needed([Requirement(text) for text in told])

    assert sorted(set(needed) - set(pins)) == []
    broken = [
        f"{requirement} but {pins[name]}"
        for name, requirements in needed.items()
        for requirement in requirements
        if pins[name] not in requirement.specifier
    ]
    assert broken == []
