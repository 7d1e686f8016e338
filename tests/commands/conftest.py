"""The command line, run in an empty folder."""

import sys

import pytest

from thermo.commands import main


@pytest.fixture
def warmstack(monkeypatch, capsys, tmp_path):
    """Run the command line in an empty folder: exit code, stdout, stderr."""

    def call(*arguments):
        monkeypatch.chdir(tmp_path)
        monkeypatch.setattr(sys, "argv", ["warmstack", *map(str, arguments)])
        try:
            main.run()
        except SystemExit as end:
            code = end.code or 0
        else:
            code = 0
        out, err = capsys.readouterr()
        return code, out, err

    return call
