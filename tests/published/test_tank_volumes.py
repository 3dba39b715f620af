"""Tank volumes against published tables and worked examples.

"Computed" values come from the closed form named beside them, checked by quadrature;
the others stand in the source as they stand here.
"""

import numpy as np
import pytest
from fluids.geometry import TANK, V_horiz_ellipsoidal
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.tank.description import Tank
from gaugewright.tank.prisms import solid_of_revolution
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import level_of_litres, litres_below

IN = 25.4  # mm
GALLON_L = 3.785411784  # US gallon, exactly 231 cubic inches


def lying(diameter, length, **more):
    return solid_of(
        Tank("lying_cylinder", diameter_mm=float(diameter), length_mm=float(length), **more)
    )


# Perry's Chemical Engineers' Handbook, section 10, "Volume of Partially Filled Horizontal
# Cylinders": H/D, fraction of the volume. Which table: from memory. Values computed from
# [acos(1-2x) - (1-2x) 2 sqrt(x-x^2)] / pi, which the table tabulates.
PERRY = [
    (0.01, 0.001693), (0.02, 0.004773), (0.05, 0.018693), (0.10, 0.052044), (0.15, 0.094060),
    (0.20, 0.142378), (0.25, 0.195501), (0.30, 0.252316), (0.35, 0.311919), (0.40, 0.373530),
    (0.45, 0.436444), (0.50, 0.500000), (0.60, 0.626470), (0.70, 0.747684), (0.75, 0.804499),
    (0.80, 0.857622), (0.90, 0.947956), (0.95, 0.981307),
]  # fmt: skip


@pytest.mark.parametrize(("height", "fraction"), PERRY)
def test_a_lying_cylinder_agrees_with_the_handbooks_coefficients(height, fraction):
    solid = lying(1000, 1000)
    found = litres_below(solid, 1000 * height) / solid.volume_l
    # Half a unit of the last digit, and the facets' 0.00005 %.
    assert found == pytest.approx(fraction, abs=1.0e-6)


# D. Jones, "Calculating Tank Volume: Saving time, increasing accuracy"; values as carried
# by the docstrings and tests of fluids.geometry. D 108 in, L 156 in, a 42 in (torispherical:
# f 1.0, k 0.06); depth [in], US gallons.
JONES_LYING = {
    "conical": [(36, 2041.1924), (84, 6180.5408), (54, 3648.4907), (108, 7296.9813)],
    "ellipsoidal": [(36, 2380.9565), (84, 7103.4452), (54, 4203.6958), (108, 8407.3915)],
    "spherical": [(36, 2303.9615), (84, 6935.1634), (54, 4094.0256), (108, 8188.0513)],
    "torispherical": [(36, 2028.6267), (84, 5939.8979), (54, 3534.9973), (108, 7069.9947)],
}
# D 132 in, a 33 in, head below (torispherical as above); and D 113 in, a -33 in, head
# turned inwards (torispherical: f 0.71, k 0.081).
JONES_UPRIGHT = {
    "conical": [(24, 250.6746), (60, 2251.1755)],
    "ellipsoidal": [(24, 783.3582), (60, 2902.8316)],
    "spherical": [(24, 583.6018), (60, 2658.4606)],
    "torispherical": [(24, 904.0688), (60, 3036.7614), (1, 1.79066), (22, 785.5876)],
}
JONES_INWARD = {
    "conical": [(15, 251.1583), (25, 614.6068), (50, 1693.1654)],
    "ellipsoidal": [(15, 44.8497), (25, 207.6374), (50, 1215.6060)],
    "spherical": [(15, 112.8141), (25, 341.7056), (50, 1372.9287)],
    "torispherical": [(15, 103.8857), (25, 388.7214), (50, 1468.7624)],
}


def head(kind, radius, depth, dish=1.0, knuckle=0.06, points=300):
    """Profile of a head from the pole (0, 0) to the rim (depth, radius)."""
    turn = np.linspace(0, np.pi / 2, points)
    if kind == "conical":
        return np.array([0, depth]), np.array([0, radius])
    if kind == "ellipsoidal":
        return depth * (1 - np.cos(turn)), radius * np.sin(turn)
    if kind == "spherical":
        big = (depth**2 + radius**2) / (2 * depth)
        widest = 2 * np.arctan2(depth, radius)
        angle = turn / turn[-1] * widest
        return big * (1 - np.cos(angle)), big * np.sin(angle)
    big, small = 2 * radius * dish, 2 * radius * knuckle
    meet = np.arcsin((radius - small) / (big - small))
    crown = turn / turn[-1] * meet
    rim = meet + turn[1:] / turn[-1] * (np.pi / 2 - meet)
    low = big - (big - small) * np.cos(meet)
    return (
        np.concatenate([big * (1 - np.cos(crown)), low - small * np.cos(rim)]),
        np.concatenate([big * np.sin(crown), radius - small + small * np.sin(rim)]),
    )


@pytest.mark.parametrize("kind", JONES_LYING)
def test_lying_tanks_with_heads_agree_with_jones(kind):
    along, radius = head(kind, 54, 42)
    depth = along[-1]
    profile = np.concatenate([along, (156 + 2 * depth - along)[::-1]])
    solid = solid_of_revolution(IN * profile, IN * np.concatenate([radius, radius[::-1]]))
    for level, gallons in JONES_LYING[kind]:
        found = litres_below(solid, level * IN) / GALLON_L
        assert found == pytest.approx(gallons, abs=1e-5 * 8000)


@pytest.mark.parametrize(("level", "gallons"), JONES_LYING["ellipsoidal"])
def test_the_dished_lying_cylinder_agrees_with_jones(level, gallons):
    solid = lying(108 * IN, 156 * IN, ends="dished", end_depth_mm=42 * IN)
    assert litres_below(solid, level * IN) / GALLON_L == pytest.approx(gallons, abs=1e-5 * 8407)


@pytest.mark.parametrize("kind", JONES_UPRIGHT)
def test_upright_tanks_on_a_head_agree_with_jones(kind):
    along, radius = head(kind, 66, 33)
    solid = solid_of_revolution(
        IN * np.append(along, 132), IN * np.append(radius, 66), is_upright=True
    )
    for level, gallons in JONES_UPRIGHT[kind]:
        found = litres_below(solid, level * IN) / GALLON_L
        assert found == pytest.approx(gallons, rel=1e-5, abs=1e-3)


@pytest.mark.parametrize("kind", JONES_INWARD)
def test_upright_tanks_with_a_head_turned_inwards_agree_with_jones(kind):
    along, radius = head(kind, 56.5, 33, dish=0.71, knuckle=0.081)
    solid = solid_of_revolution(
        IN * np.append(along[-1] - along, 132), IN * np.append(radius, 56.5), is_upright=True
    )
    for level, gallons in JONES_INWARD[kind]:
        found = litres_below(solid, level * IN) / GALLON_L
        # The head is cut at a depth short of its rim, so small differences of two volumes.
        assert found == pytest.approx(gallons, abs=1e-5 * 2000)


def test_a_dip_stick_is_graduated_as_in_the_handbook():
    # Machinery's Handbook, 31st ed., p. 74, "Contents of Cylindrical Tanks": 20 ft long,
    # 6 ft across; 1000 gallons stand at 20.61 in. 3000 gallons, the full volume and the
    # third decimal: computed with 231 cubic inches to the gallon.
    solid = lying(72 * IN, 240 * IN)
    assert level_of_litres(solid, 1000 * GALLON_L) / IN == pytest.approx(20.61, abs=0.005)
    assert level_of_litres(solid, 1000 * GALLON_L) / IN == pytest.approx(20.6113, abs=2e-4)
    assert level_of_litres(solid, 3000 * GALLON_L) / IN == pytest.approx(48.0593, abs=2e-4)
    assert solid.volume_l / GALLON_L == pytest.approx(4230.134, abs=5e-4)


# Computed: closed form of the circle times the axis ratio (Jones' rule for elliptical
# tanks), and of half circles with a straight part; checked by quadrature. Level [mm], litres.
SECTIONS = [
    ("oval", 2000, 1000, 3000, [(100, 245.251663), (250, 921.277274), (500, 2356.194490),
                                (750, 3791.111706), (900, 4467.137317)]),
    ("oval", 900, 600, 1200, [(100, 55.754677), (150, 99.497946), (300, 254.469005),
                              (450, 409.440064), (600, 508.938010)]),
    ("obround", 800, 1600, 2000, [(200, 196.539152), (400, 502.654825), (800, 1142.654825),
                                  (1200, 1782.654825), (1500, 2212.779769)]),
    ("obround", 1000, 600, 2000, [(150, 230.553273), (300, 522.743339), (450, 814.933405),
                                  (600, 1045.486678)]),
    ("obround", 1000, 600, 1000, [(100, 70.9748208), (300, 261.3716694), (450, 407.4667024)]),
    ("obround", 600, 1000, 1000, [(100, 30.9748208), (300, 141.3716694), (500, 261.3716694),
                                  (800, 440.2412625)]),
]  # fmt: skip


@pytest.mark.parametrize(("shape", "width", "height", "length", "table"), SECTIONS)
def test_oval_and_obround_tanks_agree_with_their_tables(shape, width, height, length, table):
    tank = Tank(shape, width_mm=float(width), height_mm=float(height), length_mm=float(length))
    solid = solid_of(tank)
    levels, litres = np.array(table).T
    assert litres_below(solid, levels) == pytest.approx(litres, abs=2e-6 * solid.volume_l)


# Computed: V = R^2 integral (acos u - u sqrt(1-u^2)) dx along the wet length, closed form
# and quadrature; formula as in planetcalc.com/1442, "Tilted cylindrical tank volume". Level
# square to the axis at x0 from the low end. D [mm], L, x0, tilt [degrees], level, litres.
TILTED = [
    (600, 1200, 0, 1, 150, 59.90780), (600, 1200, 0, 1, 300, 162.10848),
    (600, 1200, 0, 1, 450, 266.33297), (600, 1200, 0, 3, 150, 47.77927),
    (600, 1200, 0, 3, 300, 147.08912), (600, 1200, 0, 3, 450, 252.55832),
    (600, 1200, 0, 5, 150, 36.86348), (600, 1200, 0, 5, 300, 132.24151),
    (600, 1200, 0, 5, 450, 238.21344), (600, 1200, 600, 1, 150, 66.35730),
    (600, 1200, 600, 3, 150, 66.56099), (600, 1200, 600, 5, 150, 66.97366),
    (600, 1200, 600, 5, 300, 169.64600), (600, 1200, 600, 1, 450, 272.93470),
    (600, 1200, 600, 3, 450, 272.73102), (600, 1200, 600, 5, 450, 272.31834),
    (600, 1500, 750, 1, 50, 17.010419), (600, 1500, 750, 3, 50, 18.082772),
    (600, 1500, 750, 5, 50, 20.550583), (600, 1500, 750, 3, 150, 83.363015),
    (600, 1500, 750, 5, 300, 212.057504), (600, 1500, 750, 5, 450, 339.940612),
    (600, 1500, 750, 1, 580, 419.550304), (600, 1500, 750, 3, 580, 417.508204),
    (600, 1500, 750, 5, 580, 414.303299), (600, 1500, 100, 3, 150, 58.081098),
    (600, 1500, 100, 3, 300, 181.553485),
]  # fmt: skip


@pytest.mark.parametrize(("diameter", "length", "x", "tilt", "level", "litres"), TILTED)
def test_a_tilted_lying_cylinder_agrees_with_its_closed_form(
    diameter, length, x, tilt, level, litres
):
    solid = lying(diameter, length)
    # The low end of the tables is at x = 0, so the plane falls towards the rear.
    slope = {"slope_x": -np.tan(np.radians(tilt)), "at_x_mm": x}
    assert litres_below(solid, level, **slope) == pytest.approx(litres, abs=2e-6 * solid.volume_l)


def test_a_hoof_of_a_cylinder_is_two_thirds_of_r_squared_times_its_length():
    # The ungula: half the end wet, 500 mm of the bottom line wet; V = 2/3 R^2 L.
    found = litres_below(lying(600, 1200), 300, slope_x=-300 / 500)
    assert found == pytest.approx(30.0, abs=2e-6 * 339)


# Computed: wedges and trapezia, box 1.0 x 0.6 x 0.5 m, 3 degrees; distance of the probe from
# the low end [mm], level, litres.
TILTED_BOX = [
    (0, 20, 2.2897), (0, 100, 44.2777), (0, 250, 134.2777), (0, 400, 224.2777),
    (500, 20, 12.2203), (500, 100, 60.0), (500, 250, 150.0), (500, 400, 240.0),
    (1000, 20, 27.7223), (1000, 100, 75.7223), (1000, 250, 165.7223), (1000, 400, 255.7223),
]  # fmt: skip


@pytest.mark.parametrize(("x", "level", "litres"), TILTED_BOX)
def test_a_tilted_box_agrees_with_wedges_and_trapezia(x, level, litres):
    solid = solid_of(Tank("box", length_mm=1000.0, width_mm=600.0, height_mm=500.0))
    slope = {"slope_x": -np.tan(np.radians(3)), "at_x_mm": x}
    assert litres_below(solid, level, **slope) == pytest.approx(litres, abs=5.1e-5)


# fluids.geometry, tests: D 10, L 25, both heads ellipsoidal a 2; depth, volume; any unit.
FLUIDS_ELLIPSOIDAL = [(1, 108.0524993), (2.5, 416.5904543), (5, 1086.4674594),
                      (7.5, 1756.3444644), (10, 2172.9349187)]  # fmt: skip


@pytest.mark.parametrize(("depth", "volume"), FLUIDS_ELLIPSOIDAL)
def test_dished_ends_agree_with_the_reference_librarys_own_tests(depth, volume):
    solid = lying(1000, 2500, ends="dished", end_depth_mm=200.0)
    assert litres_below(solid, depth * 100) == pytest.approx(volume, abs=1e-5 * 2173)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.2, 3), st.floats(0.3, 8), st.floats(0.02, 0.5), st.floats(0.001, 1))
def test_random_dished_tanks_agree_with_the_reference_library(diameter, length, flat, share):
    depth = flat * diameter
    solid = lying(1000 * diameter, 1000 * length, ends="dished", end_depth_mm=1000 * depth)
    expected = 1000 * V_horiz_ellipsoidal(D=diameter, L=length, h=share * diameter, a=depth)
    assert litres_below(solid, share * 1000 * diameter) == pytest.approx(
        expected, abs=1e-5 * solid.volume_l
    )


@settings(max_examples=25, deadline=None)
@given(st.floats(0.2, 3), st.floats(0.3, 8), st.floats(0.001, 0.999))
def test_random_flat_tanks_agree_with_the_reference_library(diameter, length, share):
    ours = lying(1000 * diameter, 1000 * length)
    theirs = TANK(D=diameter, L=length, horizontal=True)
    litres = 1000 * theirs.V_from_h(share * diameter)
    assert ours.volume_l == pytest.approx(1000 * theirs.V_total, rel=1e-9)
    assert litres_below(ours, 1000 * share * diameter) == pytest.approx(
        litres, abs=2e-6 * ours.volume_l
    )
