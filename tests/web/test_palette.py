"""State colours stay apart for every eye, and text on them can be read.

Sources: Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision
deficiency", IEEE TVCG 15(6), 2009, severity 1.0 (matrices from memory); CIE 1976 colour difference; contrast
as in WCAG 2.2, success criteria 1.4.3 and 1.4.6.
"""

import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

STYLES = (Path(__file__).parents[2] / "static" / "log.css").read_text("utf-8")

EYES = {
    "usual": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
WHITE = np.array([0.95047, 1.0, 1.08883])

FAR_APART = 40
"""CIE 1976 difference at which two fills cannot be confused: our choice, far above the noticeable 2.3."""


def colour(name: str) -> NDArray[np.float64]:
    """Linear RGB of one of the style sheet's named colours."""
    found = re.search(rf"--{name}: #([0-9a-f]{{6}});", STYLES)
    assert found is not None
    encoded = np.array([int(found[1][i : i + 2], 16) for i in (0, 2, 4)]) / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def lab(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    ratio = TO_XYZ @ np.clip(linear, 0, 1) / WHITE
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    light, dark = sorted((float((TO_XYZ @ colour(name))[1]) for name in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("eye", EYES)
def test_states_stay_apart_for_every_eye(eye: str) -> None:
    for one, other in combinations(("in", "watch", "out"), 2):
        difference = np.linalg.norm(lab(EYES[eye] @ colour(one)) - lab(EYES[eye] @ colour(other)))
        assert difference > FAR_APART, (one, other)


@pytest.mark.parametrize(
    ("text", "ground"),
    [
        ("ink", "paper"),
        ("ink", "sheet"),
        ("soft", "sheet"),
        ("sheet", "act"),
        ("out", "sheet"),
        ("ink", "watch"),
    ],
)
def test_text_has_a_contrast_of_seven_to_one(text: str, ground: str) -> None:
    assert contrast(text, ground) >= 7
