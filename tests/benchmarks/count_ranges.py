"""How often low to high of a count holds the true density, in logs drawn at random; about ten seconds.

Run it with ``python tests/benchmarks/count_ranges.py``. Densities and clumping are invented.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from rotation_opt import scouting_log, tables

FARMS = 150
FRAME_M2 = 0.25
WEED = "creeping_thistle"


def held(k: float, patches: int, stops: int) -> tuple[float, float]:
    """Share of visits whose range held the truth, and the middle one of the clumpings found."""
    rng = np.random.default_rng(1)
    crop_tables = tables.read()
    inside, found = 0, []
    for _ in range(FARMS):
        densities = rng.uniform(4.0, 60.0, patches)
        visits = [
            scouting_log.Visit(
                field="any",
                weed=WEED,
                date="2027-06-24",
                stage="bud",
                patch=str(number),
                frame_m2=FRAME_M2,
                counts=tuple(
                    stats.nbinom.rvs(k, k / (k + density * FRAME_M2), size=stops, random_state=rng).tolist()
                ),
            )
            for number, density in enumerate(densities)
        ]
        clumped = scouting_log.clumping(visits, crop_tables, WEED)
        found.append(clumped.k)
        for visit, density in zip(visits, densities, strict=True):
            low, _, high = scouting_log.shoots_per_m2(visit, clumped.k)
            inside += bool(low <= density <= high)
    return inside / (FARMS * patches), float(np.median(found))


if __name__ == "__main__":
    print("true k  patches  stops  held  k found")
    for true_k in (0.5, 1.0, 2.0, 5.0, 1000.0):
        for patches, stops in ((1, 5), (2, 4), (4, 5), (8, 5)):
            share, k = held(true_k, patches, stops)
            print(f"{true_k:6g}  {patches:7d}  {stops:5d}  {share:.2f}  {k:7.2f}")
