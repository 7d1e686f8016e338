"""How frame and sample are held: what each way needs, what it excludes, where its patches lie."""

import math
import re

import pytest

from thermo.case import ranges, read_case, with_value
from thermo.case.patches import Patch, frame_patches, patch_edges, sample_patches
from thermo.case.pattern import disc
from thermo.case.stack import build_stack
from thermo.errors import CaseError
from thermo.materials import material

JOINT = {"sample.joint.material": "mounting-wax", "sample.joint.thickness": "50 um"}
FRAME_JOINT = {"mask.frame.joint": '{ material = "epoxy", thickness = "50 um" }'}
PATCH, SPRING = {"mask.frame.patch": "5 mm"}, {"mask.frame.stiffness": "2e6 N/m (1e6 .. 5e6)"}
FRAMES = {  # how it is held, and what that needs beside the mount
    "clamped": {},
    "screwed": PATCH,
    "taped": PATCH | FRAME_JOINT,
    "glued": FRAME_JOINT,
    "springs": PATCH | SPRING,
}
SAMPLES = {
    "free": {},
    "glued": JOINT,
    "taped": JOINT | {"sample.patch": "5 mm"},
    "clamped": {},
    "screwed": {"sample.patch": "5 mm"},
    "springs": {"sample.patch": "5 mm", "sample.stiffness": "1 kN/mm"},
}


def faults_of(path, chosen):
    with pytest.raises(CaseError) as caught:
        read_case(path, chosen)
    for line in str(caught.value).splitlines():
        assert line.isprintable()
        assert re.search("allowed.*; ", line)
    return {fault.key: fault.text for fault in caught.value.faults}


@pytest.fixture
def unmounted(small_path, tmp_path):
    """The small case with nothing said of what holds its frame."""
    path = tmp_path / "case.toml"
    text = small_path.read_text(encoding="utf-8")
    assert text.count('mount = "aluminium"\n') == 1
    path.write_text(text.replace('mount = "aluminium"\n', ""), encoding="utf-8")
    return path


@pytest.mark.parametrize("held", FRAMES)
def test_every_way_to_hold_a_frame_is_read_with_what_it_needs(small_path, held):
    frame = read_case(small_path, {"mask.frame.held": held} | FRAMES[held]).mask.frame
    assert (frame.held, frame.mount) == (held, "aluminium")
    assert (frame.patch is not None) == ("mask.frame.patch" in FRAMES[held])


@pytest.mark.parametrize("held", FRAMES)
def test_what_a_way_to_hold_a_frame_needs_is_missed_all_at_once(unmounted, held):
    """The mount changes the magnification: it is never left out, and all faults come together."""
    found = faults_of(unmounted, {"mask.frame.held": held})
    assert found.keys() == {"mask.frame.mount", *FRAMES[held]}
    word = "held by springs" if held == "springs" else held
    assert word in found["mask.frame.mount"]
    assert "the material of what holds the mask" in found["mask.frame.mount"]


def test_a_free_frame_needs_no_mount_and_counts_nothing_of_one_that_stands_there(
    unmounted, small_path
):
    assert read_case(unmounted, {"mask.frame.held": "free"}).mask.frame.mount is None
    given = {"mask.frame.held": "free", "mask.frame.mount": "brass"}
    keys = [entry.key for entry in ranges(read_case(small_path, given))]
    assert not any("brass" in key for key in keys)


@pytest.mark.parametrize(
    ("held", "more", "key", "words"),
    [
        ("free", PATCH, "patch", 'with held = "free"; allowed: only with "screwed", "taped"'),
        ("clamped", FRAME_JOINT, "joint", 'only with "taped", "glued"'),
        ("screwed", PATCH | SPRING, "stiffness", 'only with "springs"'),
        ("screwed", {"mask.frame.patch": "7 mm"}, "patch", "up to 6 mm, the border's width"),
        (
            "screwed",
            {"mask.frame.patch": "20 mm", "mask.frame.border": "30 mm"},
            "patch",
            "up to 16 mm, the side of the clear opening",
        ),
        ("springs", PATCH | {"mask.frame.stiffness": "1 N"}, "stiffness", "unknown unit 'N'"),
        ("springs", PATCH | {"mask.frame.stiffness": "0 N/m"}, "stiffness", "1e3 N/m .. 1e10 N/m"),
        ("clamped", {"mask.frame.mount": "alumnium"}, "mount", "did you mean 'aluminium'"),
        ("clamped", {"mask.frame.mount": "helium"}, "mount", "is a gas; allowed: a solid"),
        ("clamped", {"mask.frame.contact": "0 m2 K/W"}, "contact", "outside the allowed"),
        ("glued", {"mask.frame.joint.material": "epoxy"}, "joint.thickness", "is missing"),
    ],
)
def test_what_does_not_go_with_a_way_to_hold_a_frame_is_one_fault(
    small_path, held, more, key, words
):
    found = faults_of(small_path, {"mask.frame.held": held} | more)
    assert found.keys() == {f"mask.frame.{key}"}
    assert words in found[f"mask.frame.{key}"]


def test_a_misspelt_mount_is_one_fault(unmounted):
    found = faults_of(unmounted, {"mask.frame.muont": "brass"})
    assert found.keys() == {"mask.frame.muont"}
    assert "did you mean 'mount'" in found["mask.frame.muont"]


@pytest.mark.parametrize("held", SAMPLES)
def test_every_way_to_hold_a_sample_is_read_with_what_it_needs(small_path, held):
    given = {"sample.held": held} | SAMPLES[held]
    assert read_case(small_path, given).sample.held == held
    missed = set(SAMPLES[held]) - set(JOINT)
    if missed:
        joint = JOINT if held == "taped" else {}
        assert faults_of(small_path, {"sample.held": held} | joint).keys() == missed


@pytest.mark.parametrize(
    ("held", "more", "key", "words"),
    [
        ("screwed", {"sample.patch": "7 mm"}, "patch", "up to 6.66667 mm, a third of"),
        ("taped", JOINT | {"sample.patch": "11 mm"}, "patch", "up to 10 mm, half the"),
        ("clamped", {"sample.patch": "5 mm"}, "patch", '"taped", "screwed", "springs"'),
        ("free", {"sample.stiffness": "1e6 N/m"}, "stiffness", 'only with "springs"'),
        ("free", {"sample.layers.1.free_strain": "-30 %"}, "layers.1.free_strain", "-20 %"),
        ("free", {"sample.layers.1.free_strain": "0.1"}, "layers.1.free_strain", "no unit"),
    ],
)
def test_what_does_not_go_with_a_way_to_hold_a_sample_is_one_fault(
    small_path, held, more, key, words
):
    found = faults_of(small_path, {"sample.held": held} | more)
    assert found.keys() == {f"sample.{key}"}
    assert words in found[f"sample.{key}"]


def test_contact_and_frame_have_their_ranges_and_what_is_not_said_is_assumed(small_path, tmp_path):
    path = tmp_path / "case.toml"
    text = small_path.read_text(encoding="utf-8")
    path.write_text(text.replace('contact = "1e-4 m2 K/W"\n', ""), encoding="utf-8")
    case = read_case(path)
    entry = next(e for e in case.assumed if e.key == "mask.frame.contact")
    assert (entry.low, entry.value, entry.high, entry.unit) == (2e-5, 1e-4, 5e-4, "m2 K/W")
    assert "planning assumption" in entry.source
    assert build_stack(case).layer("frame").resistance == 1e-4
    changed = with_value(case, "mask.frame.contact", 5e-4)
    assert build_stack(changed).layer("frame").resistance == 5e-4


def test_what_holds_the_frame_counts_by_what_it_does(small_path):
    """A mount only grows, a joint only gives way: its E counts, no conductivity does."""
    given = {"mask.frame.held": "glued", "mask.frame.mount": "brass"} | FRAME_JOINT
    case = read_case(small_path, given)
    assert case.materials["brass"] == material("brass")
    keys = {entry.key for entry in ranges(case)}
    assert "materials.brass.expansion" in keys
    assert "materials.epoxy.youngs_modulus" in keys
    for other in ("brass.conductivity", "brass.youngs_modulus", "epoxy.expansion"):
        assert f"materials.{other}" not in keys
    assumed = {entry.key for entry in case.assumed}
    assert {"materials.brass.expansion", "materials.epoxy.youngs_modulus"} <= assumed


def test_a_layer_has_the_strain_it_is_given_and_none_else(small_path):
    case = read_case(small_path, {"sample.layers.1.free_strain": "-0.4 % (-0.6 .. -0.2)"})
    assert [la.free_strain for la in build_stack(case).layers if la.body == "sample"] == [-4e-3, 0]
    found = next(e for e in ranges(case) if e.key == "sample.layers.1.free_strain")
    assert (found.low, found.high) == (-6e-3, -2e-3)
    ppm = read_case(small_path, {"sample.layers.2.free_strain": "150 ppm"})
    assert ppm.sample.layers[1].free_strain.value == 1.5e-4


def middles(patches):
    return [((p.left + p.right) / 2, (p.bottom + p.top) / 2) for p in patches]


def test_screws_sit_where_three_directions_meet_the_middle_of_the_border(small_path):
    """A 16 mm opening, 6 mm round it: a square of 22 mm.  tan 30 degrees by hand."""
    case = read_case(small_path, {"mask.frame.held": "screwed"} | PATCH)
    found = middles(frame_patches(case, build_stack(case)))
    low = -11e-3 * math.tan(math.pi / 6)
    for place, wanted in zip(found, [(0, 11e-3), (-11e-3, low), (11e-3, low)], strict=True):
        assert place == pytest.approx(wanted, abs=1e-12)


def test_the_patches_of_a_sample_lie_at_its_edge(small_path):
    case = read_case(small_path, {"sample.held": "screwed", "sample.patch": "5 mm"})
    found = sample_patches(case, build_stack(case))
    assert (found[0].top, found[1].left, found[2].right) == pytest.approx((0.01, -0.01, 0.01))
    case = read_case(small_path, {"sample.held": "taped", "sample.patch": "5 mm"} | JOINT)
    found = sample_patches(case, build_stack(case))
    assert sorted(found, key=str) == sorted(
        (Patch(a, a + 0.005, b, b + 0.005) for a in (-0.01, 0.005) for b in (-0.01, 0.005)), key=str
    )


def test_the_tape_of_a_round_frame_lies_between_its_axes(small_path, tmp_path):
    text = small_path.read_text(encoding="utf-8")
    for side, diameter in (("16 mm", "20 mm"), ("20 mm", "24 mm"), ("24 mm", "36 mm")):
        text = text.replace(f'width = "{side}"\nheight = "{side}"', f'diameter = "{diameter}"')
    path = tmp_path / "round.toml"
    path.write_text(text, encoding="utf-8")
    case = read_case(path, {"mask.frame.held": "taped"} | FRAMES["taped"])
    stack = build_stack(case)
    assert stack.layer("frame").outline == disc(stack.layer("frame").outline.diameter)
    for x, y in middles(frame_patches(case, stack)):
        assert abs(x) == pytest.approx(abs(y))
        assert math.hypot(x, y) == pytest.approx(0.013)  # 20 mm and one border of 6 mm, halved


@pytest.mark.parametrize("held", ["screwed", "taped", "springs"])
def test_edges_of_patches_are_told_with_their_mirror_images_in_y(small_path, held):
    given = {"mask.frame.held": held, "sample.held": held} | FRAMES[held] | SAMPLES[held]
    case = read_case(small_path, given)
    stack = build_stack(case)
    x, y = patch_edges(case, stack)
    assert set(y) == {-edge for edge in y}
    for patch in (*frame_patches(case, stack), *sample_patches(case, stack)):
        assert {patch.left, patch.right} <= set(x)
        assert {patch.bottom, patch.top} <= set(y)


def test_without_patches_no_lines_are_wanted(small):
    assert patch_edges(small, build_stack(small)) == ((), ())


def test_a_patch_that_a_plan_mesh_follows_has_no_range(small_path):
    given = {"mask.frame.held": "screwed", "mask.frame.patch": "5 mm (4 .. 6)"}
    assert read_case(small_path, given).mask.frame.patch.has_range
    with pytest.raises(CaseError, match=r"mask\.frame\.patch: has a range, 4 \.\. 6 mm, beside"):
        read_case(small_path, given | {"mesh.plan": "plan.vtu"})
