"""Drag of sections: S. F. Hoerner, "Fluid-Dynamic Drag", 1965 (from memory), evaluated by hand."""

import math

import numpy as np
import pytest

from vpp.physics import sail_sections, sections
from vpp.physics.hull import friction_coefficient


def test_form_factor_of_a_section() -> None:
    """2 Cf (1 + 2 t/c + 60 (t/c)^4): 1.252 times two flat sides at 12 %."""
    drag = sail_sections.profile_drag(
        thickness_share=0.12, mast_share=0.0, blunt_share=0.0, reynolds=3e6, camber=0.0
    )
    assert drag / (2.0 * friction_coefficient(reynolds=3e6)) == pytest.approx(1.2524, abs=1e-4)


@pytest.mark.parametrize(("blunt", "added"), [(0.0, 0.0), (0.0025, 0.00022), (0.01, 0.0014), (0.02, 0.0035)])
def test_blunt_trailing_edge(blunt: float, added: float) -> None:
    """0.135 (h/c)^(4/3)/0.009^(1/3), chapter III; by hand."""
    drag = sail_sections.base_drag(forebody_drag=0.009, blunt_share=np.array(blunt))
    assert drag == pytest.approx(added, rel=0.03)


def test_force_on_a_sharp_plate_stands_square_to_it() -> None:
    """Chapter VII: drag above friction is lift times the tangent of the incidence; 1 % to 5 deg."""
    found = sail_sections.section_law(
        kind="single_skin", thickness_share=0.0, mast_share=0.0, blunt_share=0.0, reynolds=1e6
    ).at(camber=0.0)
    incidence = math.radians(5.0)
    lift = sections.attached_lift(incidence=incidence, camber=0.0)
    drag = sections.attached_drag(
        lift=lift, camber=0.0, least_drag=found.least_drag, bucket_factor=found.bucket_factor
    )
    assert drag - found.least_drag == pytest.approx(lift * math.tan(incidence), rel=0.01)


def test_greatest_lift_of_a_sharp_flat_plate() -> None:
    """Handbook range for endless flat plates (from memory): 0.7 to 0.8; the section's forces reach 0.73."""
    found = sail_sections.section_law(
        kind="single_skin", thickness_share=0.0, mast_share=0.0, blunt_share=0.0, reynolds=1e6
    ).at(camber=0.0)
    lift, _ = sections.section_forces(
        incidence=np.linspace(0.0, 0.3, 601), camber=0.0, drag_maximum=1.98, **vars(found)
    )
    assert 0.7 < lift.max() < 0.8
