"""Whatever a board sends: the arm's measurements give a result or reasons, never an error."""

import json
import math
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.measure.arm.facts import ArmRecord, Asked
from rig.measure.arm.no_load import no_load_sweep
from rig.measure.pry.evaluate import PryResult, evaluate_pry
from rig.measure.twist.evaluate import evaluate_twist
from tests.measure.pry.traces import broken, facts, record
from tests.measure.test_twist import facts as twist_facts

WHOLE = record(broken())


def spoilt(seed: int, cut: tuple[float, float], steps: int, loud: float) -> ArmRecord:
    """A good record cut short, with jumps, stretches that stand still, and noise of any size."""
    rng = np.random.default_rng(seed)
    codes, sums = WHOLE.codes.astype(float), WHOLE.sums.astype(float)
    for values, size in ((codes, 1e6), (sums, 3e4)):
        for _ in range(steps):
            at, width = rng.integers(0, len(values)), rng.integers(1, 120)
            kind = rng.integers(0, 3)
            part = slice(at, at + width)
            if kind == 0:
                values[at:] += rng.normal(0, size)
            elif kind == 1:
                values[part] = values[at]
            else:
                values[part] += rng.normal(0, size * loud, len(values[part]))
    loads = slice(*(int(len(codes) * share) for share in cut))
    turns = slice(*(int(len(sums) * share) for share in cut))
    return replace(
        WHOLE,
        load_ticks=WHOLE.load_ticks[loads],
        codes=np.clip(codes, -(2**23), 2**23 - 1).astype(np.int64)[loads],
        angle_ticks=WHOLE.angle_ticks[turns],
        sums=np.clip(sums, 0, 65472).astype(np.int64)[turns],
    )


CUTS = st.tuples(st.floats(0, 0.9), st.floats(0.02, 1)).map(
    lambda ends: (min(ends), max(*ends, min(ends) + 0.01))
)


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10**6), CUTS, st.integers(0, 5), st.floats(0, 2), st.sampled_from([1, -1]))
def test_any_record_gives_a_result_that_can_be_stored(
    seed: int, cut: tuple[float, float], steps: int, loud: float, direction: int
) -> None:
    made = spoilt(seed, cut, steps, loud)
    told = evaluate_pry(made, facts(), Asked(direction, at_rad=math.radians(2)))
    again = PryResult.from_dict(json.loads(json.dumps(told.to_dict(), allow_nan=False)))
    assert again == told
    assert told.reasons or (told.kind in ("snap", "bend", "survived") and told.measurands)
    assert told.reasons or told.censored == "right" or told.kind != "survived"
    json.dumps(evaluate_twist(made, twist_facts(), 5).to_dict(), allow_nan=False)
    given_ = facts()
    json.dumps(no_load_sweep(made, given_.torque, given_.angle, 0.02), allow_nan=False)
