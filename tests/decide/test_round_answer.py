"""A small round plate, invented, answered on rings: symmetric, balanced, near its square twin."""

import numpy as np
import pytest
from matplotlib.image import imread

from thermo.answer.bodies import make_body
from thermo.answer.heated import heated_mask, heated_sample
from thermo.answer.mounts import mask_supports, sample_supports
from thermo.answer.scene import describe, mesh
from thermo.answer.state import solve_state
from thermo.case import read_case
from thermo.decide import run
from thermo.elastic import Held
from thermo.mesh import interpolation
from thermo.show.picture import write_section
from thermo.solve import Solver

DIAMETERS = {"16 mm": "19 mm", "20 mm": "24 mm", "24 mm": "34 mm"}  # opening, sample, holder


@pytest.fixture(scope="module")
def round_path(small_path, tmp_path_factory):
    text = small_path.read_text(encoding="utf-8")
    for side, diameter in DIAMETERS.items():
        pair = f'width = "{side}"\nheight = "{side}"'
        assert pair in text
        text = text.replace(pair, f'diameter = "{diameter}"')
    path = tmp_path_factory.mktemp("round") / "round.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def answered(round_path):
    return run(read_case(round_path))


def test_a_round_plate_is_answered_with_heat_and_power_in_balance(answered):
    """The product's own allowances for heat, power and residual."""
    checks = answered.answer.checks
    assert checks.heat_balance < 1e-8
    assert checks.power_balance < 1e-6
    assert checks.residual <= 1e-10
    assert answered.answer.sensors["edge"].mean_C > 20


def test_temperatures_of_a_symmetric_round_plate_mirror_in_x_and_y(answered):
    """1e-6 K: a thousandth of what the solver's residual leaves of 10 K, and splines."""
    state = answered.outcome.state
    x, y = state.meshed.grid.plan.points
    order = np.lexsort((np.round(x, 9), np.round(y, 9)))
    for sx, sy in ((-1, 1), (1, -1)):
        mirror = np.lexsort((np.round(sx * x, 9), np.round(sy * y, 9)))
        a, b = state.mean[:, order], state.mean[:, mirror]
        assert np.nan_to_num(a) == pytest.approx(np.nan_to_num(b), abs=1e-6)


def test_a_round_plate_is_as_warm_as_a_square_one_around_the_same_field(round_path, small_path):
    """5 % of the rise in the middle of the field: what more or less wafer at the edge changes."""
    rises = []
    for path in (round_path, small_path):
        case = read_case(path)
        scene = describe(case)
        meshed = mesh(scene)
        T = solve_state(scene, meshed, Solver()).mean
        level = meshed.grid.slabs(scene.stack.index("resist")).start
        weights = interpolation(meshed.grid.plan, np.zeros((2, 1)))
        rises.append(float((weights @ np.nan_to_num(T[level]))[0]) - 293.15)
    assert rises[0] == pytest.approx(rises[1], rel=0.05)


@pytest.mark.parametrize("held", ["clamped", "glued"])
def test_a_held_round_plate_is_placed_and_its_clamp_is_the_whole_edge(round_path, held):
    joint = {"sample.joint.material": "tape", "sample.joint.thickness": "100 um"}
    case = read_case(round_path, {"sample.held": held} | joint)
    scene = describe(case, still=True)
    state = solve_state(scene, mesh(scene, coarse=True), Solver())
    for name, supports, heated, radius in (
        ("sample", sample_supports, heated_sample, 0.012),
        ("mask", mask_supports, heated_mask, 0.0155),
    ):
        body = make_body(state, name)
        solid = body.held.solid
        clamps = [s for s in supports(state, solid, 0.0) if isinstance(s, Held)]
        r = np.hypot(*solid.points)
        edge = np.abs(r - radius) < 1e-9
        held_flat = edge if name == "sample" else r > 0.0095 - 1e-9  # the frame's whole face
        for clamp in clamps[1:]:
            assert clamp.nodes.tolist() == held_flat.tolist()
        u, residual = heated(body, state, state.meshed).moved(state.mean.T[None], measured=True)
        assert residual < 1e-9  # what the elastic solve asks of itself
        assert np.isfinite(u[0, 1, r < 0.006]).all()


def test_the_section_of_a_round_plate_is_drawn(answered, tmp_path):
    write_section(answered, tmp_path / "section.png")
    image = imread(tmp_path / "section.png")
    assert image.shape[:2] == (930, 1575)
    assert np.ptp(image) > 0.5
