"""How fast panels are solved, against the least that any program must do: six distances for each panel."""

import sys
import time
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from qc_app.measure.quadrilateral import PanelShape, solve

PANELS = 100_000


def fastest(work: Callable[[], object], rounds: int) -> float:
    """Least processor time of one call, in seconds: other work on the machine does not count."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


@pytest.mark.bench
def test_a_hundred_thousand_panels_in_one_call(capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(1)
    nominal = np.array([(0, 0), (288, 0), (288, 96), (0, 96)], dtype=float)
    corners = nominal[:, :, None] + rng.normal(0, 0.1, (4, 2, PANELS))
    pairs = ((0, 1), (3, 2), (3, 0), (2, 1), (0, 2), (1, 3))

    def distance(one: int, other: int) -> NDArray[np.float64]:
        dx, dy = corners[one, 0] - corners[other, 0], corners[one, 1] - corners[other, 1]
        return np.asarray(np.sqrt(dx * dx + dy * dy))

    def distances() -> list[NDArray[np.float64]]:
        return [distance(one, other) for one, other in pairs]

    six = [row + rng.normal(0, 1 / 32, PANELS) for row in distances()]

    def solved() -> PanelShape[NDArray[np.float64], NDArray[np.bool_]]:
        return solve(
            288,
            96,
            edges=(six[0], six[1]),
            ends=(six[2], six[3]),
            diagonals=(six[4], six[5]),
            uncertainty=1 / 32,
        )

    def norms() -> list[NDArray[np.float64]]:
        return [np.hypot(corners[i, 0] - corners[j, 0], corners[i, 1] - corners[j, 1]) for i, j in pairs]

    solving, plain, leanest = fastest(solved, 25), fastest(norms, 25), fastest(distances, 50)
    with capsys.disabled():
        sys.stdout.write(
            f"\n{PANELS} panels: {solving * 1e3:.1f} ms, {solving / plain:.1f} times six distances each by "
            f"numpy.hypot (wanted: at most 15), {solving / leanest:.1f} times by bare squares and a root\n"
        )
    assert solved().corners.shape == (PANELS, 4, 2)
