"""Contrast, character height and colour vision against published values."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from station.views.palette import DARK, LIGHT, Look, channels, contrast
from station.views.type_sizes import height_for_angle_mm


@pytest.mark.parametrize(
    ("colour", "ground", "printed"),
    [
        ("#3366CC", "#000000", 3.9),  # W3C, Techniques for WCAG, G183
        ("#FF3838", "#FFFFFF", 3.6),  # W3C, Techniques for WCAG, G195
        ("#E3660E", "#FFFFFF", 3.4),  # W3C, Techniques for WCAG, G207
        ("#FFF000", "#FFFFFF", 1.2),  # W3C, Understanding WCAG, 1.4.11
        ("#9D9D9D", "#FFFFFF", 2.7),  # W3C, Understanding WCAG, 1.4.11
        ("#000000", "#FFFFFF", 21.0),  # by definition
    ],
)
def test_contrast_is_what_w3c_prints(colour: str, ground: str, printed: float) -> None:
    """Contrast agrees with the pairs W3C prints, to the digit printed, whichever colour comes first."""
    assert round(contrast(colour, ground), 1) == printed
    assert contrast(colour, ground) == contrast(ground, colour)


def test_the_threshold_greys_fall_on_their_sides() -> None:
    """The grey #767676 on white passes 4.5 to 1 and #777777 does not (WCAG 2.2, 1.4.3: a ratio is never rounded)."""
    assert round(contrast("#767676", "#FFFFFF"), 2) == 4.54
    assert contrast("#767676", "#FFFFFF") >= 4.5 > contrast("#777777", "#FFFFFF")


@pytest.mark.parametrize("wrong", ["", "#FFF", "FFFFFF", "#GGGGGG", "#FFFFFFFF"])
def test_what_is_no_colour_is_refused(wrong: str) -> None:
    """Only #RRGGBB is a colour."""
    with pytest.raises(ValueError, match=r"colour|literal"):
        contrast(wrong, "#FFFFFF")


# NUREG-0700 Rev. 3, 1.3.1-4 and 11.4.1.5-1: at least 16 minutes of arc, 20 to 22 preferred; h = 6.283 D (MA) / 21600.
@pytest.mark.parametrize("angle_arcmin", [15, 16, 20, 22, 24])
@pytest.mark.parametrize("distance_mm", [500, 700, 1000, 1500, 2000, 3000])
def test_character_height_agrees_with_the_printed_formula(angle_arcmin: float, distance_mm: float) -> None:
    """The height for an angle is that of NUREG-0700's formula, to a hundredth of a millimetre."""
    printed_mm = 6.283 * distance_mm * angle_arcmin / 21_600
    assert height_for_angle_mm(angle_arcmin, distance_mm) == pytest.approx(printed_mm, abs=0.01)


# Colour vision without one kind of cone: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based
# Model for Simulation of Color Vision Deficiency", IEEE TVCG 15 (2009), severity 1.0. Written down from memory.
WITHOUT_ONE_CONE = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}
TOLD_APART = 7.5  # CIE 1976 colour difference: about three times what is just seen side by side (common practice)


def seen(colour: str, vision: str) -> np.ndarray:
    """Give a colour as CIE L*a*b* (D65) to an eye that lacks one kind of cone."""
    linear = np.clip(np.array(WITHOUT_ONE_CONE[vision]) @ np.array(channels(colour)), 0, 1)
    to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.072175], [0.0193339, 0.119192, 0.9503041]]
    )
    share = to_xyz @ linear / np.array([0.95047, 1.0, 1.08883])
    root = np.where(share > 216 / 24389, np.cbrt(share), (24389 / 27 * share + 16) / 116)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def closest(look: Look, vision: str) -> float:
    """Give the smallest difference between two colours that mean different things."""
    meanings = {"in_band", "leaving", "ceiling", "act"}
    pairs = combinations(sorted(meanings), 2)
    return min(
        float(np.linalg.norm(seen(getattr(look, one), vision) - seen(getattr(look, other), vision)))
        for one, other in pairs
    )


@pytest.mark.parametrize("vision", WITHOUT_ONE_CONE)
def test_the_dark_look_is_told_apart_with_any_colour_vision(vision: str) -> None:
    """In the dark look in band, leaving, ceiling and act here differ to every eye that lacks one kind of cone."""
    assert closest(DARK, vision) >= TOLD_APART


@pytest.mark.parametrize("vision", WITHOUT_ONE_CONE)
def test_the_light_look_is_told_apart_with_any_colour_vision(vision: str) -> None:
    """In the light look, too, every pair differs to every eye that lacks one kind of cone."""
    assert closest(LIGHT, vision) >= TOLD_APART
