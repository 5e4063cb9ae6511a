"""The house rules that a machine can hold: style, types, direction of imports, size."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
LONGEST_MODULE = 500


def _run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "command",
    [
        pytest.param((sys.executable, "-m", "ruff", "check", "."), id="ruff-check"),
        pytest.param((sys.executable, "-m", "ruff", "format", "--check", "."), id="ruff-format"),
        pytest.param((sys.executable, "-m", "mypy"), id="mypy"),
        pytest.param(
            (
                sys.executable,
                "-c",
                "from importlinter.cli import lint_imports_command; lint_imports_command()",
            ),
            id="import-linter",
        ),
    ],
)
def test_checkout_passes(command):
    done = _run(*command)

    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]


def test_modules_stay_short():
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines())
        for path in sorted((ROOT / "fleet").rglob("*.py"))
    }

    assert {name: n for name, n in lengths.items() if n > LONGEST_MODULE} == {}


def test_top_level_holds_only_the_fixed_layout():
    tracked = _run("git", "ls-tree", "--name-only", "HEAD").stdout.split()
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "fleet",
        "migrations",
        "tests",
        "sample_network",
        "LICENSE",
        "constraints.txt",
    }

    assert [name for name in tracked if name not in allowed and not name.startswith(".")] == []


def test_main_job_loads_no_library_of_distributions():
    """It takes a fifth of all loading, and the special functions do."""
    code = "import sys, fleet.services.prepare_week\nprint('scipy.stats' in sys.modules)\n"

    done = _run(sys.executable, "-c", code)

    assert done.stdout.strip() == "False", done.stderr


def test_help_loads_no_heavy_library():
    code = (
        "import sys\n"
        "from click.testing import CliRunner\n"
        "from fleet.cli.main import cli\n"
        "assert CliRunner().invoke(cli, ['--help']).exit_code == 0\n"
        "heavy = {'pandas', 'sqlalchemy', 'numpy', 'scipy', 'alembic', 'typst', 'pyvrp'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )

    done = _run(sys.executable, "-c", code)

    assert done.stdout.strip() == "[]", done.stderr
