"""The README as its readers use it: its commands, and the checkout that they are run in."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
CHECKOUT = ("fleet", "migrations", "sample_network", "README.md", "pyproject.toml")


def set_up_blocks() -> list[str]:
    """Give the blocks marked ``sh``: they do their own set-up, on any machine."""
    return re.findall(r"^```sh\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)


def session_blocks() -> list[str]:
    """Give the unmarked blocks: commands for somebody who has the tool and the sample."""
    blocks = re.findall(r"^```(\w*)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
    return [block for language, block in blocks if not language]


def command_lines() -> list[str]:
    """Give every line of the unmarked blocks that calls the tool, without its comment."""
    lines = [line for block in session_blocks() for line in block.splitlines()]
    return [re.sub(r"\s+#.*", "", line) for line in lines if line.startswith("fleet ")]


def after_installation(block: str) -> str:
    """Give what a set-up block does once everything is installed."""
    steps = [step.strip() for step in block.replace("\\\n", " ").split("&&")]
    installed = max(number for number, step in enumerate(steps) if "pip install" in step)
    return " && ".join(steps[installed + 1 :])


def copy_checkout(folder: Path) -> Path:
    """Copy the tree, with ``.venv/bin/fleet`` running the copy by this very interpreter."""
    folder.mkdir()
    for name in CHECKOUT:
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copyfile
        copy(ROOT / name, folder / name)
    program = folder / ".venv" / "bin" / "fleet"
    program.parent.mkdir(parents=True)
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m fleet "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    return folder


def run_in(folder: Path, script: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a shell script in a folder, without anything that the caller's machine has set."""
    program_path = f"{folder / '.venv' / 'bin'}:/usr/bin:/bin"
    return subprocess.run(
        ["bash", "-c", script],
        cwd=folder,
        env={"PATH": program_path, "HOME": str(folder), "USER": "tester", **environment},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
