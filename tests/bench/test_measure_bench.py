"""How fast panels are solved, against the least that any program must do: six distances for each panel."""

import sys
import time
from collections.abc import Callable

import numpy as np
import pytest

from qc_app.measure.quadrilateral import solve

PANELS = 100_000


def fastest(work: Callable[[], object], rounds: int = 5) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


@pytest.mark.bench
def test_a_hundred_thousand_panels_in_one_call(capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(1)
    nominal = np.array([(0, 0), (288, 0), (288, 96), (0, 96)], dtype=float)
    corners = nominal[:, :, None] + rng.normal(0, 0.1, (4, 2, PANELS))
    pairs = ((0, 1), (3, 2), (3, 0), (2, 1), (0, 2), (1, 3))

    def distances() -> list[np.ndarray[tuple[int], np.dtype[np.float64]]]:
        return [np.hypot(*(corners[one] - corners[other])) for one, other in pairs]

    six = [row + rng.normal(0, 1 / 32, PANELS) for row in distances()]

    def solved() -> object:
        return solve(
            288,
            96,
            edges=(six[0], six[1]),
            ends=(six[2], six[3]),
            diagonals=(six[4], six[5]),
            uncertainty=1 / 32,
        )

    baseline, solving = fastest(distances), fastest(solved)
    many = solve(
        288, 96, edges=(six[0], six[1]), ends=(six[2], six[3]), diagonals=(six[4], six[5]), uncertainty=1 / 32
    )
    with capsys.disabled():
        sys.stdout.write(
            f"\n{PANELS} panels: {solving * 1e3:.1f} ms, {solving / baseline:.1f} times six distances each\n"
        )
    assert many.corners.shape == (PANELS, 4, 2)
