"""Pressure housings against handbooks, against the theory of elasticity solved by numbers, and the known traps.

A value that is printed in its source says so. The others were worked from the named formula by a second hand and are
kept to notice a change; they are no authority of their own.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from seatrial.handbook import shells
from seatrial.handbook.shells import check_disc, check_dome, check_tube

MPA_PER_PSI = 0.006894757293168  # exact by the definition of the pound and the inch, to the digits given
# Mean diameter, wall, length in mm, E in GPa, nu; von Mises and Windenburg-Trilling in MPa (worked), lobes.
STEEL = (406.4, 2.0, 406.4, 206.8, 0.3)
ALUMINIUM = (104.0, 4.0, 250.0, 68.9, 0.33)
ACRYLIC = (100.0, 6.35, 250.0, 3.0, 0.37)
LONG_ALUMINIUM = (104.0, 4.0, 2000.0, 68.9, 0.33)
# A lander's acrylic window: free radius and wall in mm, pressure in MPa, E in GPa, nu.
WINDOW = (45.0, 20.0, 5.45, 3.0, 0.37)


# --- long tube -------------------------------------------------------------------------------------------------------


@pytest.mark.published(
    "printed", ids="11.2", tolerance="1 psi",
    source="Roark's Formulas for Stress and Strain, table 35 case 19a, worked example of the Mathcad edition")
def test_the_long_tube_of_roarks_worked_example_buckles_at_1357_psi():
    # Printed: Roark's Formulas for Stress and Strain, table 35 case 19a, worked example of the Mathcad edition:
    # E 29e6 psi, nu 0.29, r 6.75 in, t 0.375 in.
    psi = shells.long_tube_buckling_mpa(2 * 6.75 * 25.4, 0.375 * 25.4, 29e3 * MPA_PER_PSI, 0.29) / MPA_PER_PSI
    assert psi == pytest.approx(1357.0, abs=1.0)


@pytest.mark.published("worked", ids="11.3", source="Bresse and Bryan, the limit of von Mises", tolerance="1e-4")
def test_a_very_long_tube_of_von_mises_is_the_long_tube_of_bresse_and_bryan():
    mises_mpa, lobes = shells.von_mises_buckling_mpa(104.0, 4.0, 50_000.0, 68.9, 0.33)
    assert lobes == 2
    assert mises_mpa == pytest.approx(shells.long_tube_buckling_mpa(104.0, 4.0, 68.9, 0.33), rel=1e-4)


# --- between stiff ends ----------------------------------------------------------------------------------------------


@pytest.mark.published(
    "memory", ids="11.3", tolerance="0.005 MPa",
    source="Worked from von Mises 1929 as given in DTMB report 366 (citation from memory); not printed")
@pytest.mark.parametrize(("wall", "mpa", "lobes"), [(STEEL, 0.9307, 6), (ALUMINIUM, 26.06, 2), (ACRYLIC, 3.100, 2)])
def test_von_mises_gives_the_worked_pressures_and_lobes(wall, mpa, lobes):
    found_mpa, found_lobes = shells.von_mises_buckling_mpa(*wall)
    assert found_mpa == pytest.approx(mpa, abs=5e-3)
    assert found_lobes == lobes


@pytest.mark.published(
    "memory", ids="11.4", tolerance="0.1 %",
    source="Worked from Trans. ASME 56, 1934 (citation from memory); not printed")
@pytest.mark.parametrize(("wall", "mpa"), [(STEEL, 0.9423), (ALUMINIUM, 22.78), (ACRYLIC, 3.452)])
def test_windenburg_and_trilling_give_the_worked_pressures(wall, mpa):
    assert shells.windenburg_trilling_buckling_mpa(*wall) == pytest.approx(mpa, rel=1e-3)


def shallow_shell_mpa(mean_diameter_mm, wall_mm, length_mm, youngs_gpa, poisson, lobes):
    """Donnell's shallow-shell equations, the stiffness matrix of one buckle in all three displacements, solved.

    Another theory, written down another way (from memory): it takes n^2 where von Mises has n^2 - 1, so the two meet
    as the lobes grow many.
    """
    radius, n, a = mean_diameter_mm / 2.0, lobes, math.pi * mean_diameter_mm / 2.0 / length_mm
    shear = (1.0 - poisson) / 2.0
    cross = (shear + poisson) * a * n
    plane = np.array([[a**2 + shear * n**2, cross], [cross, n**2 + shear * a**2]])
    couple = np.array([poisson * a, n])
    out = 1.0 + wall_mm**2 / (12.0 * radius**2) * (a**2 + n**2) ** 2
    stiffness = out - couple @ np.linalg.solve(plane, couple)
    scale = youngs_gpa * 1e3 * wall_mm / (1.0 - poisson**2) / radius
    return scale * stiffness / (n**2 + a**2 / 2.0)


@pytest.mark.published(
    "memory", tolerance="1 %",
    source="Donnell's shallow-shell equations solved by NumPy (from memory)")
def test_von_mises_agrees_with_the_shallow_shell_equations_where_the_lobes_are_many():
    wall = (1000.0, 0.5, 100.0, 206.8, 0.3)
    mises_mpa, lobes = shells.von_mises_buckling_mpa(*wall)
    shallow_mpa = min(shallow_shell_mpa(*wall, n) for n in range(2, 60))
    assert lobes > 20
    assert mises_mpa == pytest.approx(shallow_mpa, rel=0.01)


# --- the trap of the short form --------------------------------------------------------------------------------------


@pytest.mark.published(
    "worked", ids="11.4", tolerance="0.5 %",
    source="Windenburg and Trilling 1934 against von Mises")
def test_windenburg_and_trilling_are_11_percent_unsafe_for_a_thick_short_acrylic_tube_and_not_used_there():
    diameter_mm, wall_mm, length_mm, youngs_gpa, poisson = ACRYLIC
    short_form_mpa = shells.windenburg_trilling_buckling_mpa(*ACRYLIC)
    mises_mpa, _ = shells.von_mises_buckling_mpa(*ACRYLIC)
    assert short_form_mpa / mises_mpa == pytest.approx(1.11, abs=0.005)
    check = check_tube(diameter_mm + wall_mm, wall_mm, length_mm, youngs_gpa, poisson, 60.0)
    assert check.governing_mpa == pytest.approx(mises_mpa)
    assert any("11 % above von Mises" in limit for limit in check.limits)


@pytest.mark.published(
    "worked", ids="11.5", tolerance="0.01 MPa",
    source="Windenburg and Trilling 1934 against von Mises")
def test_windenburg_and_trilling_are_useless_for_a_long_tube_and_not_used_there():
    diameter_mm, wall_mm, length_mm, youngs_gpa, poisson = LONG_ALUMINIUM
    assert shells.windenburg_trilling_buckling_mpa(*LONG_ALUMINIUM) == pytest.approx(2.76, abs=0.01)
    assert shells.von_mises_buckling_mpa(*LONG_ALUMINIUM)[0] == pytest.approx(8.83, abs=0.01)
    check = check_tube(diameter_mm + wall_mm, wall_mm, length_mm, youngs_gpa, poisson, 240.0)
    assert check.buckling_mpa == pytest.approx(shells.long_tube_buckling_mpa(104.0, 4.0, 68.9, 0.33))
    assert check.buckling_mpa > 8.7


@pytest.mark.published("worked", ids="11.4", source="Windenburg and Trilling 1934", tolerance="0.1 %")
def test_where_the_short_form_is_on_the_safe_side_it_counts():
    diameter_mm, wall_mm, length_mm, youngs_gpa, poisson = ALUMINIUM
    check = check_tube(diameter_mm + wall_mm, wall_mm, length_mm, youngs_gpa, poisson, 2000.0)
    assert check.governing_mpa == pytest.approx(22.78, rel=1e-3)


@pytest.mark.published(
    "memory", ids="11.5", tolerance="0.005",
    source="Windenburg and Trilling 1934, after Southwell, for nu = 0.3 (from memory)")
def test_a_steel_tube_counts_as_long_from_1_11_diameters_by_the_root_of_diameter_by_wall():
    assert shells.long_from_mm(100.0, 4.0, 0.3) / (100.0 * math.sqrt(100.0 / 4.0)) == pytest.approx(1.11, abs=0.005)


# --- yield of thick walls --------------------------------------------------------------------------------------------


@pytest.mark.published(
    "worked", ids="11.9", tolerance="0.01 MPa",
    source="Worked from Lame 1852: bore 50 mm, outside 54 mm in radius, 5.45 MPa")
def test_the_thin_wall_formula_is_7_percent_low_against_lame_at_27_diameters_by_wall():
    thin_mpa = shells.thin_hoop_stress_mpa(5.45, 54.0, 4.0)
    bore_mpa = shells.bore_hoop_stress_mpa(5.45, 54.0, 4.0)
    assert thin_mpa == pytest.approx(70.85, abs=0.01)
    assert bore_mpa == pytest.approx(76.40, abs=0.01)
    assert thin_mpa / bore_mpa == pytest.approx(0.93, abs=0.005)
    assert check_tube(108.0, 4.0, 250.0, 69.0, 0.33, bore_mpa).yield_mpa == pytest.approx(5.45)


def bore_stress_by_numbers(outer_mm, inner_mm, directions, poisson=0.3):
    """Stress along the inner face of a thick ring (1 direction) or hollow sphere (2) under 1 MPa from outside.

    The balance of an element in the wall, u'' + d u'/r - d u/r^2 = 0, and Hooke's law for d equal stresses along the
    wall (ring: no stress along the axis), solved by scipy without the closed form.
    """
    def stresses(u, du, r):
        """Across and along the wall, E = 1. Ring: plane stress. Sphere: all three directions."""
        if directions == 1:
            return np.array([du + poisson * u / r, u / r + poisson * du]) / (1 - poisson**2)
        return np.array([(1 - poisson) * du + 2 * poisson * u / r, u / r + poisson * du]) / (
            (1 + poisson) * (1 - 2 * poisson))

    def element(r, y):
        return np.vstack([y[1], -directions * y[1] / r + directions * y[0] / r**2])

    def faces(at_bore, outside):  # nothing presses on the bore, 1 MPa on the outside
        return np.array([stresses(*at_bore, inner_mm)[0], stresses(*outside, outer_mm)[0] + 1.0])

    radii = np.linspace(inner_mm, outer_mm, 60)
    solved = solve_bvp(element, faces, radii, np.zeros((2, radii.size)), tol=1e-8)
    assert solved.success
    return -stresses(*solved.sol(inner_mm), inner_mm)[1]


@pytest.mark.published("worked", ids="11.9", source="the theory of elasticity, solved by SciPy", tolerance="1e-5")
@pytest.mark.parametrize("inner_mm", [50.0, 40.0, 20.0])
def test_the_bore_of_a_tube_is_stressed_as_the_theory_of_elasticity_says(inner_mm):
    expected = bore_stress_by_numbers(54.0, inner_mm, 1)
    assert shells.bore_hoop_stress_mpa(1.0, 54.0, 54.0 - inner_mm) == pytest.approx(expected, rel=1e-5)


@pytest.mark.published("worked", source="the theory of elasticity, solved by SciPy", tolerance="1e-5")
@pytest.mark.parametrize("inner_mm", [50.0, 40.0, 20.0])
def test_the_inner_face_of_a_dome_is_stressed_as_the_theory_of_elasticity_says(inner_mm):
    expected = bore_stress_by_numbers(54.0, inner_mm, 2)
    assert shells.sphere_bore_stress_mpa(1.0, 54.0, 54.0 - inner_mm) == pytest.approx(expected, rel=1e-5)


@pytest.mark.published(
    "memory", tolerance="0.2 %",
    source="p r/(2t), any handbook of strength of materials; r to the middle of the wall (from memory)")
def test_a_thin_dome_carries_the_membrane_stress_of_a_sphere():
    assert shells.sphere_bore_stress_mpa(1.0, 1000.0, 1.0) == pytest.approx(999.5 / 2.0, rel=2e-3)


# --- flat window -----------------------------------------------------------------------------------------------------


@pytest.mark.published(
    "worked", ids="11.7, 11.8", tolerance="1e-4 mm, 0.01 MPa",
    source="Formulas read in Timoshenko's and Roark's handbooks; the numbers are worked from them, not printed")
@pytest.mark.parametrize(("edge", "bow_mm", "stress_mpa"), [("supported", 0.5907, 34.87), ("clamped", 0.1507, 20.69)])
def test_an_acrylic_window_bows_and_is_stressed_as_worked_from_the_handbook(edge, bow_mm, stress_mpa):
    radius_mm, wall_mm, mpa, youngs_gpa, poisson = WINDOW
    found_bow_mm = shells.disc_bow_mm(mpa, radius_mm, wall_mm, youngs_gpa, poisson, edge)
    assert found_bow_mm == pytest.approx(bow_mm, abs=1e-4)
    assert shells.disc_stress_mpa(mpa, radius_mm, wall_mm, poisson, edge) == pytest.approx(stress_mpa, abs=0.01)


def plate_by_numbers(edge):
    """Bow and largest bending stress of `WINDOW`: the plate equation for a round plate, solved by scipy."""
    radius, wall, mpa, youngs_gpa, poisson = WINDOW
    stiffness = youngs_gpa * 1e3 * wall**3 / 12.0 / (1.0 - poisson**2)

    def balance(r, y):  # y: bow, slope phi = -w', and its change; B (phi'' + phi'/r - phi/r^2) = -p r/2
        return np.vstack([-y[1], y[2], -y[2] / r + y[1] / r**2 - mpa * r / (2.0 * stiffness)])

    def edges(centre, rim):
        held = rim[1] if edge == "clamped" else rim[2] + poisson * rim[1] / radius
        return np.array([centre[1], rim[0], held])

    radii = np.linspace(1e-3, radius, 400)
    solved = solve_bvp(balance, edges, radii, np.zeros((3, radii.size)), tol=1e-7, max_nodes=100_000)
    assert solved.success
    at = 0.5 if edge == "supported" else radius
    _, slope, change = solved.sol(at)
    return solved.sol(radii[0])[0], abs(6.0 * stiffness * (change + poisson * slope / at) / wall**2)


@pytest.mark.published(
    "worked", ids="11.7, 11.8", tolerance="0.2 %",
    source="the equation of the thin plate, solved by SciPy")
@pytest.mark.parametrize("edge", shells.EDGES)
def test_the_window_agrees_with_the_plate_equation_solved_by_numbers(edge):
    radius_mm, wall_mm, mpa, youngs_gpa, poisson = WINDOW
    bow_mm, stress_mpa = plate_by_numbers(edge)
    assert shells.disc_bow_mm(mpa, radius_mm, wall_mm, youngs_gpa, poisson, edge) == pytest.approx(bow_mm, rel=2e-3)
    assert shells.disc_stress_mpa(mpa, radius_mm, wall_mm, poisson, edge) == pytest.approx(stress_mpa, rel=2e-3)
    check = check_disc(2.0 * radius_mm, wall_mm, youngs_gpa, poisson, stress_mpa, edge)
    assert check.governing_mpa == pytest.approx(mpa, rel=2e-3)


# --- dome ------------------------------------------------------------------------------------------------------------


@pytest.mark.published(
    "memory", tolerance="0.1 %",
    source="Timoshenko and Gere, Theory of Elastic Stability: 1.21 E (t/R)^2 for nu = 0.3 (from memory)")
def test_the_perfect_sphere_of_steel_has_the_textbook_factor_1_21():
    assert shells.sphere_buckling_mpa(100.0, 1.0, 200.0, 0.3) == pytest.approx(1.21 * 200e3 * 0.01**2, rel=1e-3)


@pytest.mark.published(
    "memory", tolerance="not above",
    source="Krenzke and Kiernan, David Taylor Model Basin, 1960s: near-perfect machined spheres reached about 0.84 E"
           " (t/Ro)^2 at nu = 0.3 (from memory)")
def test_a_dome_is_never_counted_on_for_what_machined_spheres_reached():
    for wall_mm in (0.5, 1.0, 2.0, 5.0, 8.0):
        reached_mpa = 0.84 * 200e3 * (wall_mm / 60.0) ** 2
        assert check_dome(120.0, wall_mm, 200.0, 0.3, 1e6).buckling_mpa < reached_mpa


@pytest.mark.published(
    "memory", tolerance="0.001",
    source="NASA SP-8032, 1969: 0.14 + 3.2/lambda^2 for caps under outside pressure (from memory)")
def test_a_very_thin_dome_keeps_the_fourteen_hundredths_of_nasa_sp_8032():
    assert shells.dome_knock_down(1000.0, 0.1, 0.3) == pytest.approx(0.14, abs=1e-3)
    assert shells.dome_knock_down(50.0, 5.0, 0.3) == pytest.approx(0.14 + 3.2 / (math.sqrt(12 * 0.91) * 10.0 * 2.0))
