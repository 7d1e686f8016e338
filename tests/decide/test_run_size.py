"""What a run would take is known before, and too much is refused with a way out."""

import sys

import pytest

from thermo.answer import size
from thermo.answer.scene import describe, mesh
from thermo.answer.size import machine_memory, run_size
from thermo.decide import estimate
from thermo.errors import SizeError


def test_the_unknowns_are_those_of_the_mesh_and_of_its_refinements(small):
    """Halving every spacing: 8 times the cells; 0.75 to 1 of that in nodes, edges counted once."""
    scene = describe(small)
    usual, finer = (int(mesh(scene, n).grid.node_used.sum()) for n in (0, 1))
    assert run_size(small).unknowns == usual
    assert 0.75 < finer / run_size(small, 1).unknowns <= 1


def test_memory_grows_with_the_nodes(small):
    sizes = [run_size(small, n) for n in range(4)]
    assert sizes[3].memory_MB > sizes[2].memory_MB > sizes[1].memory_MB > sizes[0].memory_MB


def test_this_machine_tells_its_memory():
    found = machine_memory()
    assert found is None or found > 500


def test_a_run_beyond_the_machine_is_refused_before_its_mesh_is_made(small, monkeypatch):
    fits = run_size(small, 1).memory_MB
    monkeypatch.setattr(size, "machine_memory", lambda: fits * 1.01)
    made = []
    spine = sys.modules["thermo.decide.estimate"]
    monkeypatch.setattr(spine, "mesh", lambda *a: made.append(a) or mesh(*a))
    with pytest.raises(SizeError, match=r"unknowns need about .* GB.*--refine 1 would fit"):
        estimate(small, refine=3)
    assert len(made) == 1  # the usual one, from which the size is taken
    monkeypatch.setattr(size, "machine_memory", lambda: 10.0)
    with pytest.raises(SizeError, match="a machine with more memory"):
        estimate(small)
    assert not run_size(small).fits


def test_where_the_system_does_not_tell_its_memory_nothing_is_refused(small, monkeypatch):
    monkeypatch.setattr(size, "machine_memory", lambda: None)
    assert run_size(small, 3).fits
