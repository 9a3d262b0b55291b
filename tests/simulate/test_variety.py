"""Every kind of machine launches, and their starts differ as those of real ones do."""

import numpy as np
import pytest

from traceanalyze.errors import UsageError
from traceanalyze.simulate.motion import rise_s
from traceanalyze.simulate.rides import Wait, ride
from traceanalyze.simulate.variety import KINDS, varied_launch, varied_vehicle


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_launches(kind):
    rng = np.random.default_rng(3)
    for _ in range(6):
        made = ride(varied_vehicle(rng, kind), [Wait(1.0), varied_launch(rng)], rng=rng)
        event = made.events[1]
        t30 = rise_s(made.motion, 13.4112, event.onset_s, event.end_s) - event.onset_s
        # light vehicles take 2.5 to 15 s to 30 mph: common practice, no source
        assert 1.8 < t30 < 16
        climbing = made.motion.speed_mps[made.motion.t_s > event.onset_s]
        assert (climbing >= 0).all()


def test_any_kind_comes_up():
    rng = np.random.default_rng(1)
    drives = {type(varied_vehicle(rng).drive).__name__ for _ in range(40)}
    assert drives == {"Powertrain", "ConstantThrust", "CappedPower"}
    with pytest.raises(UsageError, match="no kind of machine is called 'rocket'"):
        varied_vehicle(rng, "rocket")
