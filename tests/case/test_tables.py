"""Tables of numbers beside a case: what is read, what is refused and how it is said."""

import hashlib
import os
import re
from contextlib import suppress

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from thermo.case import tables
from thermo.case.tables import read_table
from thermo.errors import CaseError

LOG = (("time_s", "position_mm"),)
SPECTRA = (("energy_eV", "power_W"), ("energy_eV", "flux_%"))


def written(folder, content):
    path = folder / "log.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def faults(folder, content, accepted=LOG):
    with pytest.raises(CaseError) as caught:
        read_table(written(folder, content), accepted)
    for fault in caught.value.faults:
        assert fault.file == str(folder / "log.csv")
        assert "\n" not in str(fault)
        assert str(fault).isprintable()
    return caught.value.faults


def only(folder, content, accepted=LOG):
    (fault,) = faults(folder, content, accepted)
    return fault


def test_a_table_is_read_with_its_hash_and_text(tmp_path):
    content = "# invented\n\ntime_s , position_mm\n0, -40.0\n0.5,+1e1\n\n# end\n1.5,.5\n"
    path = written(tmp_path, content)
    table = read_table(path, LOG)
    assert table.columns["time_s"].tolist() == [0.0, 0.5, 1.5]
    assert table.columns["position_mm"].tolist() == [-40.0, 10.0, 0.5]
    assert table.path == str(path)
    assert table.sha256 == hashlib.sha256(content.encode()).hexdigest()
    assert table.text == content


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_byte_order_mark_and_any_end_of_line_are_read(tmp_path, end):
    content = b"\xef\xbb\xbf" + end.join(["time_s,position_mm", "0,1", "1,2"]).encode()
    table = read_table(written(tmp_path, content), LOG)
    assert table.columns["position_mm"].tolist() == [1.0, 2.0]
    assert table.sha256 == hashlib.sha256(content).hexdigest()


def test_columns_come_in_the_order_that_is_asked_for(tmp_path):
    table = read_table(written(tmp_path, "flux_%,energy_eV\n7,1\n8,2\n"), SPECTRA)
    assert list(table.columns) == ["energy_eV", "flux_%"]
    assert table.columns["energy_eV"].tolist() == [1.0, 2.0]


def test_numbers_of_a_table_cannot_be_changed(tmp_path):
    table = read_table(written(tmp_path, "time_s,position_mm\n0,1\n1,2\n"), LOG)
    with pytest.raises(ValueError, match="read-only"):
        table.columns["time_s"][0] = 5.0


@pytest.mark.parametrize(
    ("content", "line", "words"),
    [
        ("", 0, "is empty.*'time_s,position_mm'"),
        ("# only\n\n  \n", 0, "is empty"),
        ("0,1\n1,2\n", 1, "holds numbers.*above"),
        ("t,y\n1,2\n", 1, "'t,y' does not name.*allowed: 'time_s,position_mm'"),
        ("time_s;position_mm\n0;1\n", 1, "separated by ';'.*commas"),
        ("time_s\tposition_mm\n0\t1\n", 1, "separated by tabs.*commas"),
        ("time_s,time_s\n0,1\n1,2\n", 1, "does not name"),
        ("time_s,position_mm,time_s\n0,1,2\n1,2,3\n", 1, "does not name"),
        ("time_s,position_mm,speed\n0,1,2\n1,2,3\n", 1, "does not name"),
        ('"time_s","position_mm"\n0,1\n1,2\n', 1, "no quotes"),
        ("time_s,position_mm\n", 0, "0 rows.*2 to 200000"),
        ("time_s,position_mm\n0,1\n", 0, "1 rows"),
        ("# x\ntime_s,position_mm\n0,1\n1,2,3,\n", 4, "4 fields.*allowed: 2 numbers"),
        ("time_s,position_mm\n0,1\n0,5,1,5\n", 3, "4 fields.*decimal points"),
        ("time_s,position_mm\n0,5;1,5\n0,1\n1,2\n", 2, "decimal commas.*';'"),
        ("time_s,position_mm\n0;1\n0,1\n1,2\n", 2, "separated by ';'"),
        ("time_s,position_mm\n0 1\n0,1\n1,2\n", 2, "1 fields"),
        ("time_s,position_mm\n" + "9" * 600 + ",1\n0,1\n1,2\n", 2, "longer than 500 characters"),
    ],
)
def test_a_table_of_another_form_is_refused_in_one_line(tmp_path, content, line, words):
    fault = only(tmp_path, content)
    assert fault.line == line
    assert re.search(words, fault.text)


@pytest.mark.parametrize(
    ("number", "words"),
    [
        ("nan", "is not finite"),
        ("-inf", "is not finite"),
        ("1e999", "is not finite"),
        ("", "is left empty"),
        ("1_000", "is no number"),
        ("٣", "is no number"),
        ("0x10", "is no number"),
        ("12 mm", "is no number"),
        ("=1+1", "is no number"),
        ('"5"', "is no number"),
        ("1e", "is no number"),
        ("\x1b[31m5", "is no number"),
    ],
)
def test_what_is_no_finite_number_is_refused_with_its_line_and_column(tmp_path, number, words):
    fault = only(tmp_path, f"time_s,position_mm\n0,1\n1,{number}\n2,3\n")
    assert (fault.line, fault.key) == (3, "position_mm")
    assert words in fault.text


def test_every_faulty_row_is_listed_up_to_ten(tmp_path):
    rows = ["time_s,position_mm", "0,1", "x,1", "2,3", "3,nan", "4", "5,6"]
    assert [f.line for f in faults(tmp_path, "\n".join(rows))] == [3, 5, 6]
    found = faults(tmp_path, "\n".join(["time_s,position_mm", *["x,y"] * 50]))
    assert [f.line for f in found] == list(range(2, 12))


@pytest.mark.parametrize(
    ("content", "line", "words"),
    [
        (b"time_s,position_mm\n0,\x00\n", 2, "NUL byte"),
        ("time_s,position_mm\n0,1\n".encode("utf-16"), 1, "UTF-8"),
        (b"time_s,position_mm\n0,1\n\xff\n", 3, "byte 0xFF is no UTF-8"),
        (bytes(range(1, 256)) * 50, 2, "UTF-8"),
        (b"\n" * 8_000_001, 0, "larger than 8 MB"),
    ],
)
def test_a_file_that_is_no_text_or_too_large_is_refused(tmp_path, content, line, words):
    fault = only(tmp_path, content)
    assert words in fault.text
    assert fault.line == line


def test_a_missing_file_a_folder_a_pipe_and_a_bad_path_are_refused(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path, words in [
        (tmp_path / "none.csv", "no such file"),
        (tmp_path, "no plain file"),
        (tmp_path / "pipe", "no plain file"),
        (tmp_path / "a\0b", "no such file"),
        (tmp_path / ("n" * 5000), "cannot be read"),
    ]:
        with pytest.raises(CaseError) as caught:
            read_table(path, LOG)
        (fault,) = caught.value.faults
        assert words in fault.text
        assert str(fault).isprintable()


def test_too_many_rows_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(tables, "MOST_ROWS", 3)
    rows = ["time_s,position_mm", "0,1", "1,2", "2,3"]
    assert len(read_table(written(tmp_path, "\n".join(rows)), LOG).columns["time_s"]) == 3
    fault = only(tmp_path, "\n".join([*rows, "3,4"]))
    assert fault.line == 5
    assert "more than 3 rows" in fault.text


@pytest.mark.parametrize(
    "content",
    [
        "," * 7_900_000,
        "time_s,position_mm\n" + "1" * 7_900_000,
        "\n" * 7_900_000,
        "time_s,position_mm\n" + "1,2\n" * 1_900_000,
    ],
    ids=["commas", "digits", "blank", "numbers"],
)
def test_the_largest_hostile_file_is_refused_shortly(tmp_path, content):
    assert len(str(only(tmp_path, content))) < 600


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.binary(max_size=300))
def test_any_bytes_are_a_table_or_a_case_error(tmp_path, content):
    for start in (b"", b"time_s,position_mm\n"):
        with suppress(CaseError):
            assert np.isfinite(
                read_table(written(tmp_path, start + content), LOG).columns["time_s"]
            ).all()
