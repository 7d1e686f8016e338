"""Every command and every line of Python shown in the README runs as it stands."""

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def commands():
    """Lines of bash blocks that call the program, without those that install or build."""
    lines = [line for kind, text in BLOCKS if kind == "bash" for line in text.splitlines()]
    return [words for line in lines if (words := shlex.split(line, comments=True))]


@pytest.fixture
def place(tmp_path):
    shutil.copytree(ROOT / "cases", tmp_path / "cases")
    return tmp_path


@pytest.mark.slow
def test_the_commands_of_the_readme_run_one_after_another(place):
    ours = [words for words in commands() if words[0] == "warmstack"]
    assert ours
    program = [sys.executable, "-c", "from thermo.commands.main import run; run()"]
    for words in ours:
        done = subprocess.run(
            [*program, *words[1:]], cwd=place, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, (words, done.stderr)
        assert done.stdout.strip()


def test_other_commands_of_the_readme_only_install_build_or_call_the_program():
    assert {words[0] for words in commands()} <= {"warmstack", "make", "pip", "git", "python"}


@pytest.mark.slow
def test_the_python_of_the_readme_runs(place):
    blocks = [text for kind, text in BLOCKS if kind == "python"]
    assert blocks
    for text in blocks:
        done = subprocess.run(
            [sys.executable, "-c", text], cwd=place, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        assert done.stdout.strip()


def test_every_file_the_readme_names_is_there():
    named = re.findall(r"cases[/\\][\w.-]+", README) + re.findall(r"\b[A-Z]{4,}\.md\b", README)
    assert named
    for name in named:
        assert (ROOT / name.replace("\\", "/")).exists(), name
