"""What answer.json says of the printed pattern and of stress."""

from thermo.answer.block import Block


class Placement(Block):
    """Displacement over the pattern field at one depth of the resist, and its linear fit."""

    raw_max_nm: float
    shift_nm: tuple[float, float]
    rotation_urad: float
    magnification_ppm: float
    scale_x_ppm: float
    scale_y_ppm: float
    skew_urad: float
    residual_3sigma_nm: float
    residual_max_nm: float
    blur_max_nm: float | None
    up_down_split_nm: float | None


class UniformOffset(Block):
    """Pure alpha dT against measurement: the mask's mount and the sample's base at their waters."""

    mask_ppm: float
    sample_ppm: float


class PlacementBlock(Block):
    """Where the pattern is printed, dose-weighted over the exposure, by depth of the resist.

    sample: displacement of the sample alone at the scan-mean state
    geometric_*: by the beam's divergence at the nominal gap, at top and base of the resist; not
        part of the numbers above
    write_mask_ppm: scale against the design at which a mask prints true in the middle of the
        resist, the geometric part (along x alone) left out
    gap_change_um: largest change of the mean gap over the pattern field; wider is positive
    reason: why displacements are not to be believed, None where they are
    series_rest_nm: what the last harmonics of the scan move, root mean square
    """

    top: Placement
    middle: Placement
    base: Placement
    reason: str | None
    sample: dict[str, Placement]
    uniform_offset: UniformOffset
    geometric_ppm: float
    geometric_base_ppm: float
    write_mask_ppm: float
    sidewall_tilt_max_mrad: float
    geometric_tilt_max_mrad: float
    gap_change_um: float
    series_rest_nm: float


class Stress(Block):
    """Stress of membrane, absorber and resist; > 0 pulls.

    membrane_*: normal stress over the opening when the membrane is hottest, tension and all
    membrane_strength: typical of its material; None where the strength is not known
    *_share: largest stress over the least strength of the material; above 1 it may break or yield
    absorber_*: of the metal when the membrane is hottest, held flat on it, from measurement on;
        without what plating left; None without metal
    resist_*: at the mean, from measurement on, without what a bake left; None without a base
    resist_film: in its plane, far from its edges
    resist_edge_shear, resist_edge_peel: on the base at its edge, peel > 0 lifts the edge: compare
        them with the adhesion; within a factor of two
    """

    membrane_initial_MPa: float
    membrane_lowest_MPa: float
    membrane_highest_MPa: float
    membrane_strength_MPa: float | None
    membrane_share: float | None
    absorber_lowest_MPa: float | None
    absorber_highest_MPa: float | None
    absorber_share: float | None
    resist_film_MPa: float | None
    resist_edge_shear_MPa: float | None
    resist_edge_peel_MPa: float | None
    resist_share: float | None
