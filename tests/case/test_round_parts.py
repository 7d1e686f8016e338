"""Round samples, holders and mask openings: how they are given, and what does not fit."""

import re
from pathlib import Path

import pytest

from thermo.case import ranges, read_case, with_value
from thermo.case.nesting import nest
from thermo.case.pattern import Outline, disc
from thermo.case.stack import build_stack
from thermo.errors import CaseError, PhysicsError

ROUND = (Path(__file__).parents[2] / "cases" / "round-wafer.toml").read_text(encoding="utf-8")
OPENING = 'diameter = "70 mm"                # round clear opening; the frame is a ring round it'
WAFER, HOLDER = 'diameter = "100 mm"', 'diameter = "110 mm"'


def rectangle(width, height):
    return f'width = "{width} mm"\nheight = "{height} mm"'


@pytest.fixture
def write(tmp_path):
    def write(*changes):
        text = ROUND
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "case.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def faults_of(path, chosen=None):
    with pytest.raises(CaseError) as caught:
        read_case(path, chosen or {})
    for line in str(caught.value).splitlines():
        assert line.isprintable()
        assert "allowed" in line
    found = {}
    for fault in caught.value.faults:
        found[fault.key] = f"{found.get(fault.key, '')} {fault.text}"
    return found


def test_a_round_case_has_round_outlines_and_a_ring_for_a_frame(write):
    stack = build_stack(read_case(write()))
    assert stack.layer("frame").opening == disc(0.070)
    sizes = {"frame": 0.090, "membrane": 0.090, "gap": 0.090, "resist": 0.100, "holder": 0.110}
    for name, diameter in sizes.items():
        outline = stack.layer(name).outline
        assert outline.is_round
        assert (outline.width, outline.height) == pytest.approx((diameter, diameter))
        assert outline.diameter == pytest.approx(diameter)


def test_a_disc_covers_what_lies_within_its_radius():
    assert disc(2.0).covers([0.6, 0.8, 0.0], [0.79, 0.61, 1.0]).tolist() == [True, False, False]
    assert Outline(2.0, 2.0).covers(0.8, 0.61)
    assert disc(2.0).area == pytest.approx(3.14159265)
    assert disc(2.0).grown(0.5) == disc(3.0)


def test_the_area_of_a_rectangle_cut_by_a_circle_is_not_made_up():
    assert Outline(0.6, 0.8, 1.0).area == pytest.approx(0.48)
    with pytest.raises(PhysicsError, match="cut by a circle"):
        _ = Outline(0.6, 0.8, 0.9).area


def test_the_distance_of_points_from_the_edge_of_an_outline():
    """3-4-5 triangle beyond a corner of 2 by 2."""
    x, y = [0.0, 1.0, 0.7, 1.3, 4.0], [0.0, 0.5, -0.8, 0.0, 5.0]
    assert Outline(2.0, 2.0).distance(x, y) == pytest.approx([1, 0, 0.2, 0.3, 5])
    assert disc(2.0).distance([0.0, 0.6, 3.0], [0.0, -0.8, 4.0]) == pytest.approx([1, 0, 4])


def test_a_rectangle_and_a_disc_have_in_common_what_both_cover():
    common = disc(2.0).common(Outline(1.0, 4.0))
    assert common.covers([0.4, 0.6, 0.4], [0.9, 0.0, 0.95]).tolist() == [True, False, False]
    assert disc(2.0).common(disc(3.0)) == disc(2.0)


def test_the_spare_room_of_an_outline_in_another():
    """3-4-5 triangle: a rectangle of 0.6 by 0.8 touches a circle of 1."""
    assert Outline(0.6, 0.8).spare(disc(1.0)) == pytest.approx(0)
    assert Outline(0.6, 0.8).spare(disc(1.2)) == pytest.approx(0.1)
    assert disc(1.0).spare(Outline(1.2, 1.1)) == pytest.approx(0.05)
    assert disc(1.0).spare(Outline(1.2, 0.9)) == pytest.approx(-0.05)


@pytest.mark.parametrize(
    ("old", "new", "faults"),
    [
        (WAFER, "", {"sample.width": "without sample.diameter.*0.1 mm .. 1 m", "height": ""}),
        (WAFER, 'width = "90 mm"', {"sample.height": "missing without sample.diameter"}),
        (
            HOLDER,
            f'{HOLDER}\nwidth = "110 mm"',
            {"sample.holder.width": "does not go with sample.holder.diameter.*round or a rect"},
        ),
        (OPENING, "", {"mask.membrane.width": "without mask.membrane.diameter", "height": ""}),
        (OPENING, 'diametr = "70 mm"', {"mask.membrane.diametr": "did you mean 'diameter'"}),
        (OPENING, 'diameter = "70"', {"mask.membrane.diameter": "unit"}),
        (WAFER, 'diameter = "2 m"', {"sample.diameter": "outside the allowed 0.1 mm .. 1 m"}),
        (WAFER, 'diameter = "112 mm"', {"sample.diameter": "larger than sample.holder.diameter"}),
        (
            OPENING,
            'diameter = "60 mm"',
            {"mask.absorber.width": r"44 x 44 mm lie 62\.2\d+ mm apart.*up to 60 mm"},
        ),
        (
            HOLDER,
            rectangle(99, 120),
            {"sample.diameter": "100 mm is larger than sample.holder.width; allowed: up to 99"},
        ),
        (
            OPENING,
            rectangle(70, 70),
            {"mask.frame.border": r"frame \(90 x 90 mm\) crosses the sample \(round, 100 mm\)"},
        ),
        (
            WAFER,
            'diameter = "90.2 mm"',
            {
                "sample.diameter": r"leaves 0\.1 mm round the frame \(round, 90 mm\): too little.*"
                r"at least 0\.451 mm.*mesh\.plan"
            },
        ),
        (
            WAFER,
            'diameter = "100 mm (90.2 .. 105)"',
            {"sample.diameter": r"leaves 0\.1 mm"},
        ),
        (
            WAFER,
            'diameter = "90.2 mm (80 .. 105)"',
            {"sample.diameter": r"leaves 0\.1 mm"},
        ),
        (
            'held = "free"                     # slides on the grease',
            'held = "taped"\npatch = "5 mm"',
            {"sample.held": "four corners, a round one has none"},
        ),
        ("[dose]", '[sensors]\nedge = { part = "silicon", x = "35 mm", y = "-36 mm" }\n[dose]',
         {"sensors.edge.x": r"50\.2\d+ mm from the middle.*up to 49\.5 mm"}),
        ("[dose]", '[sensors]\na = { part = "frame", x = "0 mm", y = "45 mm" }\n[dose]',
         {"sensors.a.x": r"up to 44\.55 mm"}),
    ],
)  # fmt: skip
def test_a_round_part_that_is_given_wrong_or_does_not_fit_is_said_so(write, old, new, faults):
    found = faults_of(write((old, new)))
    for key, words in faults.items():
        name = next(k for k in found if k.endswith(key))
        assert re.search(words, found[name]), found[name]
    extra = [key for key in found if not any(key.endswith(known) for known in faults)]
    assert not extra


BORDER = 'border = "10 mm"'
LARGER = (HOLDER, 'diameter = "120 mm"')


def test_the_frame_grows_with_its_opening(write):
    """66 to 76.2 mm with 5 mm round it: 76.2 mm never meets the frame of 76 round 66."""
    opening = (OPENING, 'diameter = "70 mm (66 .. 76.2)"')
    assert read_case(write(opening, (BORDER, 'border = "5 mm"'))).mask.membrane.diameter.has_range


def test_the_low_end_of_one_size_is_checked_with_the_high_end_of_another(write):
    """66 + 2 * 16.9 = 99.8 mm beside 100; all low is 86, all high 108.8."""
    opening, border = 'diameter = "68 mm (66 .. 75)"', 'border = "12 mm (10 .. 16.9)"'
    faults = faults_of(write((OPENING, opening), (BORDER, border), LARGER))
    assert faults.keys() == {"sample.diameter"}
    assert "leaves 0.1 mm round the frame (round, 99.8 mm)" in faults["sample.diameter"]


def test_sides_of_a_rectangle_are_checked_each_by_itself(write):
    """46 x 46 mm lies inside the opening of 70, 130 x 130 round it; 46 x 130 crosses it."""
    sides = 'width = "46 mm (46 .. 130)"\nheight = "46 mm (46 .. 130)"'
    faults = faults_of(write((WAFER, sides), (HOLDER, rectangle(140, 140))))
    assert "sample (46 x 130 mm) crosses the opening" in faults["sample.width"]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("sample.diameter", "-3 mm"),
        ("sample.diameter", "100 m"),
        ("sample.diameter", "100 mm (-1 .. 105)"),
        ("mask.absorber.width", "3 m"),
        ("scan.speed", "5 m/s"),
    ],
)
def test_a_value_refused_by_itself_gives_no_second_fault(write, key, value):
    with pytest.raises(CaseError) as caught:
        read_case(write(), {key: value})
    (fault,) = caught.value.faults
    assert fault.key == key
    assert "outside the allowed" in fault.text


def test_equal_circles_and_a_rectangle_round_them_are_allowed(write):
    case = read_case(write((WAFER, 'diameter = "90 mm"'), (HOLDER, rectangle(92, 120))))
    found = nest(build_stack(case).outlines | {"pattern field": Outline(0.044, 0.044)})
    assert found.crossing is None
    assert found.core == Outline(0.044, 0.044)
    assert [outline.is_round for outline in found.rings] == [True, True, False]


def test_a_plan_mesh_of_the_users_own_may_have_outlines_that_cross(write, tmp_path):
    """A square frame over a round wafer."""
    (tmp_path / "plan.vtu").write_text('<VTKFile type="UnstructuredGrid"></VTKFile>')
    path = write((OPENING, rectangle(70, 70)), ("[dose]", '[mesh]\nplan = "plan.vtu"\n[dose]'))
    stack = build_stack(read_case(path))
    assert stack.layer("gap").outline.covers([0.044, 0.044], [0.022, 0.03]).tolist() == [
        True,
        False,
    ]


def test_the_plan_of_a_case_is_read_from_beside_it_and_enters_the_hash(write, tmp_path):
    plan = tmp_path / "plan.vtu"
    path = write(("[dose]", '[mesh]\nplan = "plan.vtu"\n[dose]'))
    hashes = set()
    for content in ("<VTKFile>a</VTKFile>", "<VTKFile>b</VTKFile>"):
        plan.write_text(content)
        case = read_case(path)
        assert case.plan.content.decode() == content
        hashes.add(case.sha256)
    hashes.add(read_case(write()).sha256)
    assert len(hashes) == 3


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("[mesh]\n", r'mesh.plan: is missing.*a \.vtu file of quads.*add plan = "FILE\.vtu"'),
        ('[mesh]\nplan = "none.vtu"\n', "none.vtu: mesh.plan: no such file.*beside the case"),
        (
            '[mesh]\nplan = "https://example.org/plan.vtu"\n',
            r"case\.toml:\d+: mesh\.plan: 'https://example.org/plan.vtu' is an address; allowed: a "
            "file beside the case, nothing else is read",
        ),
        ("[mesh]\nplan = 5\n", "'5' is no text"),
        ('[mesh]\nplam = "a.vtu"\n', "did you mean 'plan'"),
        ('[mesh]\nplan = "."\n', "no plain file"),
    ],
)
def test_a_plan_that_cannot_be_read_is_a_fault_of_the_case(write, table, words):
    with pytest.raises(CaseError, match=words) as caught:
        read_case(write(("[dose]", f"{table}[dose]")))
    assert len(caught.value.faults) == 1


def test_diameters_have_ranges_and_can_be_set_and_changed(write):
    path = write((WAFER, 'diameter = "100 mm (98 .. 102)"'))
    case = read_case(path)
    assert "sample.diameter" in {entry.key for entry in ranges(case)}
    assert with_value(case, "sample.diameter", 0.098).sample.diameter.value == 0.098
    with pytest.raises(CaseError, match=r"larger than sample\.holder\.diameter"):
        with_value(case, "sample.diameter", 0.2)
    assert read_case(path, {"sample.diameter": "99 mm"}).sample.diameter.value == 0.099


def test_taped_patches_need_a_sample_inside_all_round_parts(write):
    taped = ('held = "free"                     # slides on the grease', 'held = "taped"')
    faults = faults_of(write((WAFER, rectangle(100, 100)), (HOLDER, rectangle(110, 110)), taped))
    assert "patch" in faults["sample.patch"]
    square = ((WAFER, f'{rectangle(100, 100)}\npatch = "5 mm"'), (HOLDER, rectangle(110, 110)))
    assert "round part inside it" in faults_of(write(*square, taped))["sample.held"]
    inside = ((WAFER, f'{rectangle(46, 46)}\npatch = "5 mm"'), taped)
    assert read_case(write(*inside)).sample.held == "taped"


def test_sizes_beside_a_plan_mesh_have_no_range(write, tmp_path):
    (tmp_path / "plan.vtu").write_text("<VTKFile></VTKFile>")
    mesh = ("[dose]", '[mesh]\nplan = "plan.vtu"\n[dose]')
    faults = faults_of(write(mesh, (WAFER, 'diameter = "100 mm (98 .. 102)"')))
    assert "98 .. 102 mm, beside mesh.plan" in faults["sample.diameter"]
    faults = faults_of(write(mesh, ('border = "10 mm"', 'border = "10 mm (9 .. 11)"')))
    assert faults.keys() == {"mask.frame.border"}
    field = ('width = "44 mm"', 'width = "44 mm (43 .. 45)"')
    assert faults_of(write(mesh, field)).keys() == {"mask.absorber.width"}
    assert read_case(write(field)).mask.absorber.width.has_range
    taped = ('held = "free"                     # slides on the grease', 'held = "taped"')
    patched = (WAFER, f'{rectangle(46, 46)}\npatch = "5 mm (4 .. 6)"')
    assert faults_of(write(mesh, patched, taped)).keys() == {"sample.patch"}


def test_a_sensor_on_the_frame_cannot_sit_in_its_opening(tmp_path):
    cases = Path(__file__).parents[2] / "cases"
    text = (cases / "fibre-grooves.toml").read_text(encoding="utf-8")
    case = tmp_path / "case.toml"
    case.write_text(text.replace('y = "44 mm"', 'y = "20 mm"'), encoding="utf-8")
    with pytest.raises(CaseError, match=r"sensors\.frame\.part: .*lies in the frame's opening"):
        read_case(case)
