"""Times of NMEA sentences: epochs, midnight, years, leap seconds, wrong and missing dates, clocks that go back."""

import numpy as np
import pytest

from tests.parsers.nmea_logs import gga, read_lines, ride, rmc, sentence, stamp, vtg
from traceanalyze.trace import Trace

KNOT = 1852 / 3600  # m/s, exact definition of the knot
MAY_17_2026 = 1778976000.0  # date -u -d 2026-05-17 +%s


def codes(trace: Trace) -> list[str]:
    return [remark.code for remark in trace.remarks]


def speeds_kn(trace: Trace) -> list[float]:
    return np.round(trace.speed_mps / KNOT, 3).tolist()


class TestEpochs:
    """Which sentences belong together."""

    def test_order_within_the_burst_does_not_matter(self) -> None:
        for order in ((0, 1, 2), (1, 0, 2), (1, 2, 0), (0, 2, 1)):
            lines = ride(50)
            trace = read_lines(lines[3 * k + which] for k in range(50) for which in order)
            assert trace.points == 50
            assert speeds_kn(trace) == [k % 97 / 4 for k in range(50)]
            assert trace.altitude_m.tolist() == [100 + k % 7 for k in range(50)]

    @pytest.mark.parametrize("offset_s", [0.001, 0.01, 0.04, -0.04])
    def test_gga_and_rmc_of_one_epoch_may_differ_in_time(self, offset_s: float) -> None:
        lines = []
        for k in range(40):
            lines += [rmc(stamp(36_000 + k / 10, 3), f"{k}.0"), gga(stamp(36_000 + offset_s + k / 10, 3))]
        trace = read_lines(lines)
        assert trace.points == 40
        assert np.diff(trace.t_s) == pytest.approx(np.full(39, 0.1), abs=1e-9)
        assert trace.lat_deg.tolist() == [51.0] * 40
        assert speeds_kn(trace) == list(range(40))

    def test_sentences_of_different_rates_are_epochs_of_their_own(self) -> None:
        # as rst39.log of gpsd's test/daemon: GGA ten times a second, RMC once
        lines = [
            line for k in range(40) for line in ([rmc(stamp(k / 10))] if k % 10 == 0 else []) + [gga(stamp(k / 10))]
        ]
        trace = read_lines(lines)
        assert trace.points == 40
        assert np.flatnonzero(np.isfinite(trace.speed_mps)).tolist() == [0, 10, 20, 30]

    def test_sentences_that_take_turns(self) -> None:
        # as humminbird-M37.log of gpsd's test/daemon: RMC, GLL with VTG, RMC, GGA, a second apart
        lines = []
        for k in range(0, 24, 4):
            lines += [
                rmc(stamp(k, 0), f"{k}.0"),
                sentence(f"INGLL,5100.0,N,00030.0,E,{stamp(k + 1, 0)},A"),
                vtg(f"{k + 1}.0"),
            ]
            lines += [rmc(stamp(k + 2, 0), f"{k + 2}.0"), gga(stamp(k + 3, 0))]
        trace = read_lines(lines)
        assert trace.t_s.tolist() == list(range(24))
        assert [speed for speed in speeds_kn(trace) if speed == speed] == [k for k in range(24) if k % 4 != 3]

    def test_speed_of_vtg_goes_to_its_own_epoch_when_its_rmc_is_lost(self) -> None:
        lines = [line for k in range(9) for line in (rmc(stamp(k), f"{k}.0"), vtg(f"{k}.0"), gga(stamp(k)))]
        del lines[12]  # the RMC of epoch 4: its VTG now stands after the GGA of epoch 3
        assert speeds_kn(read_lines(lines)) == list(range(9))

    @pytest.mark.parametrize("lag", [1, 3])
    def test_a_sentence_type_that_lags_by_whole_epochs_is_joined_by_its_times(self, lag: int) -> None:
        lines = [
            line
            for k in range(40)
            for line in (
                gga(stamp(36_000 + k / 10), height=f"{k}.0"),
                rmc(stamp(36_000 + (k - lag) / 10), f"{k - lag + 9}.0"),
            )
        ]
        trace = read_lines(lines)
        assert trace.points == 40 + lag
        assert speeds_kn(trace)[:40] == [k - lag + 9 for k in range(40)]
        assert trace.altitude_m[lag:].tolist() == list(range(40))
        assert not trace.tally
        assert codes(trace) == ["sorted-by-time"]

    def test_a_receiver_that_is_set_to_a_faster_rate(self) -> None:
        times = [*range(50), *(50 + k / 10 for k in range(20))]
        trace = read_lines(line for k, t in enumerate(times) for line in (rmc(stamp(t), f"{k}.0"), gga(stamp(t))))
        assert trace.t_s == pytest.approx(np.array(times), abs=1e-9)
        assert speeds_kn(trace) == list(range(70))

    def test_sentences_of_several_talkers_are_one_epoch(self) -> None:
        lines = []
        for k in range(9):
            lines += [rmc(stamp(k)), rmc(stamp(k)).replace(b"$GPRMC", b"$GARMC"), gga(stamp(k))]
        lines = [line if b"GARMC" not in line else sentence(line[1:-5].decode()) for line in lines]
        trace = read_lines(lines)
        assert trace.points == 9
        assert not trace.tally

    def test_a_position_that_only_gll_tells_late_does_not_tear_the_series(self) -> None:
        # as garmin48.log of gpsd's test/daemon: GLL one second after RMC and GGA of the same burst, every two seconds
        lines = [
            line
            for k in range(0, 20, 2)
            for line in (rmc(stamp(k, 0)), gga(stamp(k, 0)), sentence(f"GPGLL,5100.0,N,00030.0,E,{stamp(k + 1, 0)},A"))
        ]
        trace = read_lines(lines)
        assert trace.t_s.tolist() == list(range(0, 20, 2))
        assert dict(trace.tally) == {"lone_position": 10}
        assert not trace.damaged
        alone = read_lines(line for line in lines if b"GLL" in line)
        assert alone.points == 10

    def test_a_gll_without_time_is_passed_over(self) -> None:
        trace = read_lines([rmc("100000.00"), sentence("GPGLL,5100.0,N,00030.0,E"), rmc("100001.00")])
        assert trace.points == 2
        assert not trace.tally

    def test_lines_written_twice_count_as_repeated(self) -> None:
        trace = read_lines(line for line in ride(30) for _ in range(2))
        assert trace.points == 30
        assert dict(trace.tally) == {"duplicate": 30}
        assert not codes(trace)

    def test_ten_fixes_a_second_with_whole_second_times_are_not_ten_instants(self) -> None:
        trace = read_lines(rmc(stamp(k // 10, 0), f"{k}.0") for k in range(100))
        assert trace.t_s.tolist() == list(range(10))
        assert speeds_kn(trace) == list(range(0, 100, 10))
        assert dict(trace.tally) == {"duplicate": 90}
        assert codes(trace) == ["repeated-times"]

    def test_a_fix_without_a_time_is_counted(self) -> None:
        trace = read_lines([rmc("100000.00"), rmc(""), rmc("100001.00")])
        assert trace.points == 2
        assert dict(trace.tally) == {"no_time": 1}

    def test_a_clock_that_stands_still_ends_nowhere(self) -> None:
        trace = read_lines([rmc("100000.00")] * 30_000)
        assert trace.points == 1
        assert trace.tally["duplicate"] == 29_999


def test_midnight_and_year() -> None:
    # both sentences made with pynmea2 1.19; the step is 0.1 s by the calendar
    trace = read_lines(
        [
            b"$GPRMC,235959.90,A,5100.00000,N,00000.00000,E,10.000,000.0,311225,,,A*65\r\n",
            b"$GPRMC,000000.00,A,5100.00000,N,00000.00000,E,10.000,000.0,010126,,,A*6F\r\n",
        ]
    )
    assert trace.t_s[1] == pytest.approx(0.1, abs=1e-9)
    assert trace.utc_s(1) == 1767225600.0  # date -u -d 2026-01-01 +%s
    assert trace.stretch.tolist() == [0, 0]


def test_midnight_without_any_date() -> None:
    trace = read_lines(gga(stamp(86_395 + k)) for k in range(10))
    assert trace.t_s.tolist() == list(range(10))
    assert np.isnan(trace.utc0_s[0])
    assert codes(trace) == ["no-date"]


def test_a_date_that_is_late_at_midnight() -> None:
    lines = [
        rmc(stamp(86_395 + k), date="170526" if k < 6 else "180526") for k in range(10)
    ]  # k = 5 is already the 18th
    trace = read_lines(lines)
    assert trace.t_s.tolist() == list(range(10))
    assert trace.stretch.max() == 0
    assert not codes(trace)


def test_a_leap_second_is_a_second() -> None:
    # 2016-12-31 had a 61st second (IERS Bulletin C 52); from 23:59:59.0 to 00:00:00.0 two seconds pass
    times = ["235959.00", "235959.50", "235960.00", "235960.50", "000000.00", "000000.50"]
    lines = [line for k, t in enumerate(times) for line in (rmc(t, date="311216" if k < 4 else "010117"), gga(t))]
    trace = read_lines(lines)
    assert trace.t_s.tolist() == [0, 0.5, 1, 1.5, 2, 2.5]
    assert codes(trace) == ["leap-second"]
    once = read_lines(rmc(t, date="311216" if t > "2" else "010117") for t in ("235959", "235960", "000000", "000001"))
    assert once.t_s.tolist() == [0, 1, 2, 3]


class TestWeeks:
    """Dates 1024 weeks too old: the ten-bit week number of GPS (rollovers in August 1999, April 2019)."""

    def test_a_stale_receiver(self) -> None:
        # 7168 days before 2026-06-14 is 2006-10-29 (Python's datetime)
        trace = read_lines([rmc("120000.00", date="291006"), rmc("120001.00", date="291006")])
        assert trace.utc_s(0) == 1781438400.0  # 2026-06-14T12:00:00Z
        assert codes(trace) == ["date-1024-weeks"]
        assert "2006-10-29" in trace.remarks[0].text
        assert "2026-06-14" in trace.remarks[0].text

    def test_the_first_rollover_log(self) -> None:
        # april6_2019.log of gpsd's test/daemon, recorded on 2019-04-06/07: one date cut, one 1024 weeks old
        lines = [
            b"$GPRMC,000231.099,A,4829.0005,N,00022.0015,E,0.15,212.28,2208-1,,,A*73\r\n",
            b"$GPRMC,000231.42,A,4829.0005,N,00022.0016,E,0.16,212.28,220899,,,A*59\r\n",
        ]
        trace = read_lines(lines)
        assert trace.utc_s(0) == pytest.approx(1554595351.42, abs=1e-6)  # date -u -d '2019-04-07 00:02:31.42'
        assert dict(trace.tally) == {"malformed": 1}

    def test_dates_of_today_and_of_before_are_left_alone(self) -> None:
        assert not codes(read_lines([rmc("120000.00", date="170526")]))
        assert codes(read_lines([rmc("120000.00", date="191194")])) == ["old-date"]

    def test_a_date_learned_while_running(self) -> None:
        lines = [rmc(stamp(k), date="060180" if k < 5 else "170526") for k in range(30)]
        trace = read_lines(lines)
        assert trace.t_s.tolist() == list(range(30))
        assert trace.utc_s(0) == MAY_17_2026
        assert codes(trace) == ["date-corrected"]

    def test_sessions_of_different_days_keep_their_dates(self) -> None:
        lines = [rmc(stamp(36_000 + k), date=day) for day in ("170526", "190526") for k in range(20)]
        trace = read_lines(lines)
        assert trace.t_s[20] == 2 * 86_400
        assert not codes(trace)


class TestDates:
    """Where the date comes from."""

    def test_an_empty_date_is_that_of_the_others(self) -> None:
        trace = read_lines([rmc("100000.00", date=""), rmc("100001.00"), rmc("100002.00", date="")])
        assert trace.utc_s(0) == MAY_17_2026 + 36_000
        assert trace.t_s.tolist() == [0, 1, 2]

    def test_zda_dates_a_log_without_rmc(self) -> None:
        lines = [
            line
            for k in range(5)
            for line in (sentence(f"GPZDA,{stamp(86_399 + k)},{17 + (k > 0)},05,2026,,"), gga(stamp(86_398 + k)))
        ]
        trace = read_lines(lines)  # each ZDA a second ahead of its GGA, as ac12.log of gpsd's test/daemon has it
        assert trace.utc_s(0) == MAY_17_2026 + 86_398
        assert trace.t_s.tolist() == list(range(5))

    @pytest.mark.parametrize(
        ("body", "tally"),
        [
            ("GPZDA,100000.00,32,05,2026,,", {"out_of_range": 1}),
            ("GPZDA,100000.00,7,05,2026,,", {"malformed": 1}),
            ("GPZDA,100000.00,17,05,26,,", {"malformed": 1}),
            ("GPZDA,,,,,00,00", {}),
        ],
    )
    def test_a_zda_that_is_none_dates_nothing(self, body: str, tally: dict[str, int]) -> None:
        trace = read_lines([gga("100000.00"), sentence(body)])
        assert np.isnan(trace.utc0_s[0])
        assert dict(trace.tally) == tally


def test_a_clock_that_goes_back_begins_a_session() -> None:
    # as humminbird-M37.log of gpsd's test/daemon: 13 s back, the boat moving on
    times = [*range(70_861, 70_884), *range(70_871, 70_880)]
    trace = read_lines(rmc(stamp(t, 0), f"{k / 4:.2f}") for k, t in enumerate(times))
    assert trace.points == len(times)
    assert trace.stretch.tolist() == [0] * 23 + [1] * 9
    assert codes(trace) == ["clock-went-back"]
    assert not trace.tally


def test_an_epoch_is_never_torn_between_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = ride(400)
    whole = read_lines(lines)
    for size in (300, 1000, 5000):
        monkeypatch.setattr("traceanalyze.parsers.nmea.collecting._BLOCK_BYTES", size)
        monkeypatch.setattr("traceanalyze.parsers.files.CHUNK_BYTES", size)
        monkeypatch.setattr("traceanalyze.parsers.containers.CHUNK_BYTES", size)
        trace = read_lines(lines)
        assert trace.t_s.tolist() == whole.t_s.tolist()
        assert trace.speed_mps.tolist() == whole.speed_mps.tolist()
        assert trace.altitude_m.tolist() == whole.altitude_m.tolist()
