"""The time axis of a ride: pauses, holes, thinning, room for labels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from traceanalyze.plots.timeline import MOST_POINTS, minute_axis, roomy, thinned, with_breaks
from traceanalyze.trace import make_trace


def trace_with(*spans, **columns):
    t_s = np.concatenate([np.arange(begin, end, 1.0) for begin, end in spans])
    return make_trace(t_s, speed_mps=np.full(t_s.size, 5.0), **columns)


def test_an_ordinary_log_is_drawn_in_minutes_as_it_is():
    axis = minute_axis(trace_with((0, 600)))
    assert axis.label == "time from the start of the log [min]"
    assert axis.at(90.0) == pytest.approx(1.5)
    assert axis.at(np.array([0.0, 599.0])) == pytest.approx([0, 599 / 60])
    assert axis.length == pytest.approx(599 / 60)


def test_a_pause_as_long_as_the_ride_is_cut_out():
    axis = minute_axis(trace_with((0, 600), (86400, 87000)))
    assert axis.label == "time [min], a long pause cut out"
    assert axis.length < 21
    assert axis.at(600.0) < axis.at(86400.0) < axis.at(86500.0)
    assert axis.at(86500.0) - axis.at(86440.0) == pytest.approx(1)  # a minute stays a minute


def test_a_short_pause_stays():
    assert minute_axis(trace_with((0, 600), (640, 1200))).at(1199.0) == pytest.approx(1199 / 60)


def test_long_logs_are_drawn_in_hours():
    axis = minute_axis(trace_with((0, 40000)))
    assert axis.label == "time from the start of the log [h]"
    assert axis.at(7200.0) == pytest.approx(2)


@given(st.lists(st.floats(0.05, 1e5), min_size=1, max_size=60))
def test_places_rise_with_time_and_never_run_ahead_of_it(steps):
    t_s = np.concatenate([[0.0], np.cumsum(steps)])
    axis = minute_axis(make_trace(t_s))
    places = axis.at(t_s) * axis.unit_s
    assert (np.diff(places) > 0).all()
    assert (np.diff(places) <= np.diff(t_s) * (1 + 1e-6) + 1e-6).all()
    # between knots a moment is where its neighbours say
    middle = (t_s[1:] + t_s[:-1]) / 2
    assert (axis.at(middle) * axis.unit_s >= places[:-1] - 1e-6).all()


def test_no_line_is_drawn_over_a_hole():
    t_s, speed = with_breaks(trace_with((0, 10), (30, 40)))
    assert np.flatnonzero(np.isnan(speed)).tolist() == [10]
    assert t_s[10] == 30
    stretch = np.repeat([0, 1], 10).astype(np.int32)
    _, speed = with_breaks(trace_with((0, 20), stretch=stretch, utc0_s=[0.0, 0.0]))
    assert np.isnan(speed).sum() == 1


@given(arrays(float, st.integers(MOST_POINTS + 1, 3 * MOST_POINTS), elements=st.floats(0, 50), fill=st.just(1.0)))
def test_thinning_keeps_the_highest_and_the_lowest(speed):
    t_s, kept = thinned(np.arange(float(speed.size)), speed)
    assert kept.size <= MOST_POINTS + 2 * (speed.size // MOST_POINTS + 2)
    assert (kept.max(), kept.min()) == (speed.max(), speed.min())
    assert (np.diff(t_s) > 0).all()
    np.testing.assert_array_equal(kept, speed[t_s.astype(int)])


def test_thinning_keeps_holes_and_short_logs():
    speed = np.ones(4 * MOST_POINTS)
    speed[9000:9100] = np.nan
    assert np.isnan(thinned(np.arange(float(speed.size)), speed)[1]).any()
    assert thinned(np.arange(9.0), np.ones(9))[0].size == 9


@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), max_size=50), st.data())
def test_labels_that_are_kept_have_room_and_the_first_is_always_kept(places, data):
    order = data.draw(st.permutations(range(len(places))))
    x, y = (np.array([place[k] for place in places]) for k in (0, 1))
    kept = roomy(x, y, (0.1, 0.2), first=order)
    assert kept[:1] == order[:1]
    assert all(abs(x[a] - x[b]) > 0.1 or abs(y[a] - y[b]) > 0.2 for a in kept for b in kept if a != b)
    left_out = set(order) - set(kept)
    assert all(any(abs(x[a] - x[b]) <= 0.1 and abs(y[a] - y[b]) <= 0.2 for b in kept) for a in left_out)
