"""The uncertainty budget of a ring: its arithmetic against the GUM and a Monte Carlo run.

Contributions come from the program; how they combine to OD, AR and a budget's sum is worked out
here by drawing errors (JCGM 101: propagation of distributions), not by the program's formulas.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from tests.cli.fakes import result
from tests.vision.made_fit import fit_of, scattered
from vision.results import Quantity, Scale
from vision.rings.budget import (
    BURNT_FACTOR,
    DARK_FACTOR,
    REST_TILT_RAD,
    Sizes,
    calibration,
    sizes_of,
)
from vision.rings.torus import torus
from vision.scale.camera import Camera, looking_down

DRAWS = 400_000
MC_REL = 0.01
"""A standard deviation from so many draws is known to 0.1 %; the rest is second order: AR is a
quotient, and products of small errors are left out of a budget."""

ID, WIRE, HEIGHT = 6.35, 1.6256, 180.0


def camera(mm_per_px: float = 0.05, height: float = HEIGHT) -> Camera:
    return Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([0.0, 0.0, height]),
        f_px=height / mm_per_px,
        cx=2015.5,
        cy=1511.5,
    )


def scale(doubts: Mapping[str, tuple[Camera, ...]]) -> Scale:
    return replace(result().scale, camera=camera(), doubts=doubts)


def sizes(
    doubts: Mapping[str, tuple[Camera, ...]],
    *,
    place: tuple[float, float] = (0.0, 0.0),
    dark: bool = False,
    burnt: bool = False,
    **changes: np.ndarray,
) -> Sizes:
    fit = fit_of(torus(*place, ID, WIRE)[None], **changes)
    (one,) = sizes_of(fit, scale(doubts), np.array([dark]), np.array([burnt]))
    return one


def drawn(one: Sizes, u_scale: float) -> dict[str, np.ndarray]:
    """Wire, ID, OD and AR of the ring, measured again and again."""
    rng = np.random.default_rng(20240501)
    tie = calibration()["tie"]["correlation"]
    u_wire, u_id = one.wire_mm.parts["outline"], one.id_mm.parts["outline"]
    covariance = [[u_wire**2, tie * u_wire * u_id], [tie * u_wire * u_id, u_id**2]]
    by_wire, by_id = rng.multivariate_normal([0.0, 0.0], covariance, DRAWS).T
    not_flat = rng.normal(0.0, one.id_mm.parts["lies not flat"], DRAWS)
    stretch = 1.0 + rng.normal(0.0, u_scale, DRAWS)
    wire = (one.wire_mm.value + by_wire) * stretch
    inside = (one.id_mm.value + by_id + not_flat) * stretch
    return {"wire_mm": wire, "id_mm": inside, "od_mm": inside + 2 * wire, "ar": inside / wire}


@pytest.mark.parametrize("name", ["wire_mm", "id_mm", "od_mm", "ar"])
@pytest.mark.parametrize("u_scale", [0.0, 0.001, 0.01])
def test_the_budget_s_sum_is_what_drawing_the_errors_gives(name: str, u_scale: float) -> None:
    """Edge errors of wire and ID tied, a slope of the ring, and a scale common to both.

    The doubt is a camera further up: all lengths grow by the same factor, exactly.
    """
    further = camera()
    further = replace(further, position=further.position * (1.0 + u_scale))
    one = sizes({"scale": (further,)})
    quantity: Quantity = getattr(one, name)
    values = drawn(one, u_scale)[name]
    assert values.std() == pytest.approx(quantity.u, rel=MC_REL)
    within = np.mean(np.abs(values - quantity.value) <= quantity.u95)
    assert within == pytest.approx(0.9545, abs=0.003)  # normal, k = 2


def test_the_tie_makes_od_surer_than_independent_errors_would() -> None:
    """An outline drawn too thick widens the wire and narrows the hole: in OD they cancel."""
    one = sizes({})
    u_wire, u_id = one.wire_mm.parts["outline"], one.id_mm.parts["outline"]
    independent = np.hypot(2.0 * u_wire, u_id)
    assert calibration()["tie"]["correlation"] < 0.0
    assert one.od_mm.parts["outline"] < independent
    assert one.ar.parts["outline"] > one.ar.value * np.hypot(u_wire / WIRE, u_id / ID)


def test_a_common_scale_drops_out_of_the_ratio() -> None:
    further = replace(camera(), position=camera().position * 1.01)
    one = sizes({"scale": (further,)})
    assert one.wire_mm.parts["scale"] == pytest.approx(0.01 * WIRE, rel=1e-6)
    assert one.id_mm.parts["scale"] == pytest.approx(0.01 * ID, rel=1e-6)
    assert one.od_mm.parts["scale"] == pytest.approx(0.01 * (ID + 2 * WIRE), rel=1e-6)
    assert one.ar.parts["scale"] == pytest.approx(0.0, abs=1e-6)


def test_independent_cameras_of_one_cause_add_in_quadrature() -> None:
    doubts = tuple(replace(camera(), position=camera().position * (1 + u)) for u in (0.003, 0.004))
    one = sizes({"coin": doubts})
    assert one.id_mm.parts["coin"] == pytest.approx(0.005 * ID, rel=1e-6)


def test_a_doubt_about_the_camera_s_height_acts_through_parallax_alone() -> None:
    """Scale in the table's plane kept: a ring at d / 2 changes by (d / 2) (1 / Z - 1 / Z').

    Similar triangles, to first order in d / Z.
    """
    one = sizes({"camera height": (camera(height=1.1 * HEIGHT),)})
    growth = WIRE / 2 * (1 / HEIGHT - 1 / (1.1 * HEIGHT))
    centre_line = one.id_mm.parts["camera height"] + one.wire_mm.parts["camera height"]
    assert centre_line == pytest.approx(growth * (ID + WIRE), rel=0.02)


@pytest.mark.parametrize("aside_mm", [0.0, 60.0])
def test_a_ring_that_does_not_lie_flat_is_lifted_and_seen_shorter(aside_mm: float) -> None:
    """Slope s on one edge lifts the middle by R s: as much larger as it is nearer, R s / Z.

    Beside the foot of the camera, a view of slope v shortens one diameter by s v, their mean by
    half of it.
    """
    one = sizes({}, place=(aside_mm, 0.0))
    lift = (ID + WIRE) / 2 * REST_TILT_RAD / HEIGHT
    shorter = REST_TILT_RAD * aside_mm / HEIGHT / 2
    assert one.id_mm.parts["lies not flat"] == pytest.approx(ID * np.hypot(lift, shorter), rel=1e-9)
    assert one.od_mm.parts["lies not flat"] == one.id_mm.parts["lies not flat"]


def test_dark_surroundings_burnt_metal_and_a_doubtful_reader_widen_the_edge_part_alone() -> None:
    sure, dark, bright = sizes({}), sizes({}, dark=True), sizes({}, burnt=True)
    doubtful = sizes({}, scale=np.full((1, 2), 0.03))
    for name in ("wire_mm", "id_mm"):
        plain = getattr(sure, name).parts
        assert getattr(dark, name).parts["outline"] == pytest.approx(DARK_FACTOR * plain["outline"])
        glaring = getattr(bright, name).parts
        assert glaring["outline"] == pytest.approx(BURNT_FACTOR * plain["outline"])
        assert getattr(doubtful, name).parts["outline"] > 2.0 * plain["outline"]
    assert dark.id_mm.parts["lies not flat"] == sure.id_mm.parts["lies not flat"]


def test_edges_read_without_any_doubt_still_leave_some() -> None:
    """No logarithm of nought: a ring that did not move and whose edges do not scatter."""
    still = sizes({}, apart=np.zeros((1, 2)), residuals=scattered(1, 0.0))
    for name in ("wire_mm", "id_mm", "od_mm", "ar"):
        assert 0.0 < getattr(still, name).u < WIRE


def test_each_cause_is_named_and_od_is_id_and_two_wires() -> None:
    doubts = {"print": (camera(0.0501),), "camera height": (camera(height=200.0),)}
    one = sizes(doubts)
    assert set(one.wire_mm.parts) == {"outline", *doubts}
    assert set(one.id_mm.parts) == {"outline", "lies not flat", *doubts}
    assert set(one.od_mm.parts) == set(one.ar.parts) == set(one.id_mm.parts)
    assert one.od_mm.value == pytest.approx(ID + 2 * WIRE)
    assert one.ar.value == pytest.approx(ID / WIRE)


# --- the rule of combination itself


def end_gauge() -> Quantity:
    """JCGM 100 (GUM) H.1: l = lS + d - lS (dalpha theta + alphaS dtheta), in nanometres.

    Inputs and their standard uncertainties as printed there; sensitivities are the partial
    derivatives at theta = -0.1 K, alphaS = 11.5e-6 / K, dalpha = 0, dtheta = 0.
    """
    length_nm = 50.000623e6
    return Quantity(
        value=length_nm + 215.0,
        parts={
            "standard": 25.0,
            "comparison": 9.7,
            "expansion of the standard": 0.0 * 1.2e-6,
            "temperature of the bed": 0.0 * 0.41,
            "difference of expansion": length_nm * 0.1 * 0.58e-6,
            "difference of temperature": length_nm * 11.5e-6 * 0.029,
        },
    )


def test_the_worked_budget_of_the_gum() -> None:
    """Contributions 2.9 and 16.6 nm, combined 32 nm; 31.7106 to first order (the package
    uncertainties 3.2.3 on the same inputs), 50.000838 mm."""
    gauge = end_gauge()
    assert gauge.parts["difference of expansion"] == pytest.approx(2.9, abs=0.05)
    assert gauge.parts["difference of temperature"] == pytest.approx(16.6, abs=0.1)
    assert gauge.value == pytest.approx(50.000838e6, abs=0.5)
    assert round(gauge.u) == 32
    assert gauge.u == pytest.approx(31.7106, abs=1e-3)


def test_a_monte_carlo_run_of_the_gum_s_example_shows_the_second_order_term() -> None:
    """Drawing the inputs gives 34 nm (GUM H.1.7 with the term of second order, from memory): what a
    sum of first order leaves out, 11.7 nm in quadrature, comes from two inputs that are nought."""
    rng = np.random.default_rng(20240501)

    def draw(mean: float, u: float) -> np.ndarray:
        return rng.normal(mean, u, DRAWS)

    standard = draw(50.000623e6, 25.0)
    heat = draw(0.0, 0.58e-6) * draw(-0.1, 0.41) + draw(11.5e-6, 1.2e-6) * draw(0.0, 0.029)
    length = standard + draw(215.0, 9.7) - standard * heat
    first_order = end_gauge().u
    assert np.hypot(first_order, 11.7) == pytest.approx(length.std(), rel=MC_REL)
