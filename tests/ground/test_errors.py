"""The error tree: one root, exit codes, and a case error that lists every fault."""

import pickle

import pytest

from thermo import errors
from thermo.errors import CaseError, Fault, PhysicsError, SolveError, WarmstackError, shown

FAULTS = (Fault("a.toml", 7, "gap.width", "what, value"), Fault("--set", 0, "gap", "no such key"))


@pytest.mark.parametrize("name", [n for n in errors.__all__ if n.endswith("Error")])
def test_every_error_has_the_one_root_and_stands_in_the_tree(name):
    assert issubclass(getattr(errors, name), WarmstackError)
    assert name in errors.__doc__


def test_every_exception_of_the_module_is_public():
    defined = {
        n
        for n, o in vars(errors).items()
        if isinstance(o, type) and o.__module__ == "thermo.errors"
    }
    assert defined == set(errors.__all__) - {"shown"}


def test_a_physics_error_is_a_value_error_too():
    assert issubclass(PhysicsError, ValueError)


def test_a_case_error_has_one_line_for_each_fault():
    assert str(CaseError(FAULTS)) == "a.toml:7: gap.width: what, value\n--set: gap: no such key"
    assert CaseError(FAULTS).faults == FAULTS


def test_exit_codes_are_those_of_the_command_line():
    assert (CaseError(FAULTS).exit_code, SolveError("x").exit_code) == (3, 4)


def test_a_case_error_survives_the_way_between_processes():
    assert pickle.loads(pickle.dumps(CaseError(FAULTS))).faults == FAULTS


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("60 um", "60 um"),
        (5.0, "5.0"),
        ("a\x1b[31m\nb", "a?[31m?b"),
        ("x" * 61, "x" * 57 + "..."),
        ("x" * 60, "x" * 60),
        pytest.param(16**5000, "an integer beyond reason", id="huge integer"),
    ],
)
def test_a_value_is_shown_short_and_on_one_line(value, text):
    assert shown(value) == text
