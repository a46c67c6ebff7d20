"""Whether the sections of a sail are such as the model knows."""

from __future__ import annotations

import numpy as np

from vpp.boat import Boat
from vpp.config.locate import Path
from vpp.config.schema import BoatDocument, SailTable
from vpp.config.validate import Finding
from vpp.physics.lifting_line import stations
from vpp.physics.sail_sections import BLUNT_RANGE, CAMBER_LIMIT, LEAST_DRAFT_BEHIND_HINGE, MAST_RANGE

# a wider hand-over to the stalled section would take lift away at the ideal incidence
MOST_STALL_WIDTH_SHARE = 0.2


def section_findings(path: Path, sail: SailTable) -> list[Finding]:
    """What does not go together in the sections of one sail's table."""
    found: list[Finding] = []
    if sail.stall_incidence_deg is not None and sail.stall_width_deg is not None:
        widest = MOST_STALL_WIDTH_SHARE * sail.stall_incidence_deg
        if sail.stall_width_deg > widest:
            wrong = (
                f"the flow must not separate over more than a fifth of {_given(sail, 'stall_incidence_deg')}"
            )
            found.append(Finding((*path, "stall_width_deg"), wrong, f"up to {widest:g} deg"))
    least = sail.hinge_at_percent + 100.0 * LEAST_DRAFT_BEHIND_HINGE
    if sail.draft_at_percent is not None and sail.draft_at_percent < least:
        wrong = f"the deepest camber lies too near to the hinge at {_given(sail, 'hinge_at_percent')}"
        found.append(Finding((*path, "draft_at_percent"), wrong, f"from {least:g} %"))
    if sail.section_model != "given":
        most = 100.0 * CAMBER_LIMIT
        wrong = f"beyond what is known of sections of {_given(sail, 'section_model')}"
        found += [
            Finding((*path, "camber_full_percent", index), wrong, f"up to {most:g} %")
            for index, camber in enumerate(sail.camber_full_percent)
            if camber > most
        ]
    return found


def _given(sail: SailTable, key: str) -> str:
    value = getattr(sail, key)
    return f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value:g}"


def mast_findings(document: BoatDocument) -> list[Finding]:
    """Whether a mast that turns has a sail that takes its nose from it."""
    least, most = document.rig.mast_rotation_min_deg, document.rig.mast_rotation_max_deg
    sails = [sail for sail in document.sail if isinstance(sail, SailTable)]
    if least > most or (least, most) == (0.0, 0.0) or any(sail.hinge_at_percent > 0.0 for sail in sails):
        return []
    wrong = "no sail takes its nose from the turning mast"
    hint = "give that sail hinge_at_percent, or leave this key out"
    return [Finding(("rig", "mast_rotation_max_deg"), wrong, "", hint)]


def strip_findings(boat: Boat, document: BoatDocument) -> list[Finding]:
    """Whether mast and thick leech are thin against the chord of every strip."""
    found: list[Finding] = []
    index = {sail.name: number for number, sail in enumerate(document.sail)}
    for sail in boat.sails:
        if sail.section is None:
            continue
        path: Path = ("sail", index[sail.name])
        _, heights = stations(lower=sail.lower_edge_height, upper=sail.head_height, count=sail.station_count)
        chords = np.array([sail.chord_at(float(height)) for height in heights])
        leech = np.array([sail.leech_thickness_at(float(height)) for height in heights])
        diameter = sail.section.mast_diameter
        if np.max(diameter / chords) > MAST_RANGE[1]:
            wrong = f"the mast is {diameter:g} m wide and the narrowest strip {chords.min():.2f} m"
            allowed = f"strips from {diameter / MAST_RANGE[1]:.2f} m"
            found.append(
                Finding((*path, "behind_mast"), wrong, allowed, "or a thinner mast at rig.mast_diameter_m")
            )
        if np.max(leech / chords) > BLUNT_RANGE[1]:
            most = float(np.min(chords[leech > 0.0])) * BLUNT_RANGE[1]
            wrong = f"is more than {100.0 * BLUNT_RANGE[1]:g} % of the chord"
            found.append(Finding((*path, "clew_thickness_m"), wrong, f"up to {most:.3f} m"))
    return found
