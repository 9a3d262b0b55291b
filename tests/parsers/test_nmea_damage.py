"""Damaged NMEA logs: what is whole is kept exactly, what is damaged is never half read, and the count is exact."""

import functools
import operator
import re
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.parsers.nmea_logs import gga, read_lines, read_log, ride, rmc, sentence, stamp
from traceanalyze.errors import FormatError
from traceanalyze.trace import Trace

KNOT = 1852 / 3600  # m/s, exact definition of the knot


def speeds_kn(trace: Trace) -> list[float]:
    """Return the speeds in knots, to the third decimal, in which they were written."""
    return np.round(trace.speed_mps / KNOT, 3).tolist()


def rmc_ride(count: int) -> list[bytes]:
    """Return RMC lines once a second; that of second k states k / 8 kn."""
    return [rmc(stamp(36_000 + k), f"{k / 8:.3f}") for k in range(count)]


def changed(line: bytes, at: int) -> bytes:
    """Return a line with one digit or letter changed to another."""
    return line[:at] + bytes([line[at] ^ 1]) + line[at + 1 :]


DAMAGE = {
    "a byte changed": (lambda line: changed(line, 45), "checksum"),
    "the checksum changed": (lambda line: changed(line, -3), "checksum"),
    "a checksum that is none": (lambda line: line[:-4] + b"G" + line[-3:], "checksum"),
    "cut within the speed": (lambda line: line[:46] + b"\r\n", "truncated"),
    "cut after the star": (lambda line: line[:-4] + b"\r\n", "truncated"),
    "cut within the checksum": (lambda line: line[:-3] + b"\r\n", "truncated"),
    "cut within the tag": (lambda line: line[:4] + b"\r\n", "truncated"),
    "cut after one letter": (lambda line: line[:2] + b"\r\n", "truncated"),
    "cut after the dollar sign": (lambda line: line[:1] + b"\r\n", "truncated"),
    "cut, and the next line joined": (lambda line: line[:46], "truncated"),
    "zeros from a place on": (lambda line: line[:46] + bytes(20) + b"\r\n", "truncated"),
    "the star lost": (lambda line: line.replace(b"*", b""), "truncated"),
    "the dollar sign lost": (lambda line: line[1:], "malformed"),
    "the beginning lost": (lambda line: line[30:], "malformed"),
    "a letter of the talker lost to noise": (lambda line: line[:2] + b"\x90" + line[3:], "malformed"),
    "the line end lost": (lambda line: line[:-2], ""),
    "noise after the line": (lambda line: line[:-2] + b"\x93\x00\xff\r\n", ""),
    "noise before the line": (lambda line: b"\x93\x00\xff" + line, ""),
}


@pytest.mark.parametrize(("harm", "kind"), DAMAGE.values(), ids=DAMAGE.keys())
@pytest.mark.parametrize("count", [6, 300])
def test_one_damaged_line_costs_itself_and_is_counted_once(harm, kind: str, count: int) -> None:
    lines = rmc_ride(count)
    lines[3] = harm(lines[3])
    trace = read_lines(lines)
    assert dict(trace.tally) == ({kind: 1} if kind else {})
    assert speeds_kn(trace) == [k / 8 for k in range(count) if not (kind and k == 3)]
    assert trace.damaged is bool(kind)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_many_damaged_lines_are_counted_exactly(data: st.DataObject) -> None:
    lines = rmc_ride(120)
    names = [name for name in DAMAGE if name != "cut, and the next line joined"]
    hit = data.draw(st.dictionaries(st.integers(0, 118).map(lambda k: k - k % 2), st.sampled_from(names), max_size=40))
    expected: Counter[str] = Counter()
    for k, name in hit.items():
        harm, kind = DAMAGE[name]
        lines[k] = harm(lines[k])
        expected[kind] += 1
    del expected[""]
    lost = {k for k, name in hit.items() if DAMAGE[name][1]}
    trace = read_lines(lines)
    assert dict(trace.tally) == dict(expected)
    assert speeds_kn(trace) == [k / 8 for k in range(120) if k not in lost]


@settings(max_examples=150, deadline=None)
@given(cut=st.integers(1, 6000))
def test_every_truncation_keeps_every_whole_sentence(cut: int) -> None:
    whole = b"".join(ride(30))
    kept = whole[:cut]
    # a sentence is whole when its checksum is: found here by a regular expression, line by line
    epochs = {
        found[1]
        for found in re.finditer(rb"\$(?:GPRMC,|GPGGA,)([0-9.]+)[^*]*\*(?=[0-9A-F]{2})", kept)
        if functools.reduce(operator.xor, found[0][1:-1]) == int(kept[found.end() : found.end() + 2], 16)
    }
    if not epochs:
        with pytest.raises(FormatError):
            read_log(kept)
        return
    trace = read_log(kept)
    assert trace.points == len(epochs)
    rest = kept[kept.rfind(b"$") :]
    assert dict(trace.tally) == ({} if re.search(rb"\*[0-9A-F]{2}", rest) else {"truncated": 1})


def test_a_cut_speed_is_not_another_speed_even_at_the_end_of_the_file() -> None:
    line = rmc("100001.00", knots="29.000")
    for end in range(len(line) - 4):
        assert speeds_kn(read_log(rmc("100000.00") + line[:end])) == [10.0]
    assert speeds_kn(read_log(rmc("100000.00") + line[:-2])) == [10.0, 29.0]  # no line end, but its checksum is right


def test_a_sentence_spliced_into_another() -> None:
    # as the file triton400.log of gpsd's test/daemon has it in line 19
    lines = [rmc("100000.00"), b"$GPGGA,100001$GPGLL,5100.0,N,00030.0,E,100001.00,A,A", rmc("100002.00")]
    assert dict(read_lines(lines).tally) == {"truncated": 2}
    lines = [rmc("100000.00"), rmc("100001.00")[:-2] + rmc("100002.00")]
    assert not read_lines(lines).tally


def test_joined_sentences_whose_bytes_together_match_the_checksum() -> None:
    # the exclusive-or of a cut sentence and the `$` after it is nothing once in 256 times
    pieces = (rmc("100000.00", f"{k / 8:.3f}")[:at] for k in range(400) for at in range(30, 60))
    piece = next(piece for piece in pieces if functools.reduce(operator.xor, piece[1:]) == ord("$"))
    joined = piece + rmc("100001.00")
    assert functools.reduce(operator.xor, joined[1:-5]) == int(joined[-4:-2], 16)
    for count in (1, 40):
        trace = read_lines([rmc("095959.00"), *[joined] * count])
        assert dict(trace.tally) == {"truncated": count} | ({"duplicate": 39} if count == 40 else {})
        assert speeds_kn(trace) == [10.0, 10.0]


def test_a_rest_of_another_sentence_after_a_whole_one() -> None:
    # as gp-320fw-2019-04-07-coldboot.log of gpsd's test/daemon has it in line 44
    trace = read_lines([rmc("100000.00"), b"$GPGSA,A,1,,,,,,,,,,,,,,,*1E0,*4E\r\n"])
    assert dict(trace.tally) == {"malformed": 1}


def test_binary_blocks_are_no_damage() -> None:
    noise = bytes(np.random.default_rng(1).integers(0, 256, 60_000, dtype=np.uint8).tolist())
    blocks = [line for k, line in enumerate(ride(50)) for line in (noise[k * 400 : k * 400 + 400], line)]
    trace = read_lines(blocks)
    assert trace.points == 50
    assert not trace.tally


def test_banners_and_prices_are_no_damage() -> None:
    text = b"$SkyTraq,Venus6\r\n$ver,011023,rev,090210\r\n# only sends $GPRMC.\r\nfor $US 5 * 2 = $US 10\r\n"
    assert not read_lines([text, rmc("100000.00")]).tally


def test_proprietary_sentences_may_lack_a_checksum_when_none_of_them_has_one() -> None:
    bare = b"$POLYN,TIME,RESTART_OCCURRED\r\n"
    assert not read_lines([bare, rmc("100000.00"), bare]).tally
    cut = b"$PGRME,15.0,M\r\n"
    assert dict(read_lines([cut, rmc("100000.00"), sentence("PGRME,15.0,M,45.0,M,25.0,M")]).tally) == {"truncated": 1}


def test_unused_sentences_count_when_damaged() -> None:
    gsv = sentence("GPGSV,3,1,11,03,03,111,00,04,15,270,00")
    trace = read_lines([rmc("100000.00"), gsv, changed(gsv, 20), gsv[:20] + b"\r\n"])
    assert dict(trace.tally) == {"checksum": 1, "truncated": 1}


def test_nothing_but_damage_is_refused_with_its_number() -> None:
    with pytest.raises(FormatError, match="none of its sentences can be used: 2 are damaged; copy the log again"):
        read_lines([changed(rmc("100000.00"), 40), changed(rmc("100001.00"), 40)])


class TestNoChecksums:
    """A log in which no sentence has a checksum."""

    @staticmethod
    def bare(lines: list[bytes]) -> list[bytes]:
        return [line[:-5] + b"\r\n" for line in lines]

    def test_it_is_read_and_says_so(self) -> None:
        trace = read_lines(self.bare(rmc_ride(50)))
        assert speeds_kn(trace) == [k / 8 for k in range(50)]
        assert [remark.code for remark in trace.remarks] == ["no-checksums"]
        assert not trace.damaged

    def test_a_cut_line_in_it_is_not_half_read(self) -> None:
        lines = self.bare(rmc_ride(50))
        lines[7] = lines[7][:46] + b"\r\n"
        trace = read_lines(lines)
        assert speeds_kn(trace) == [k / 8 for k in range(50) if k != 7]
        assert dict(trace.tally) == {"truncated": 1}

    def test_its_last_line_is_distrusted_without_line_end(self) -> None:
        data = b"".join(self.bare(rmc_ride(50)))
        trace = read_log(data[:-2])
        assert trace.points == 49
        assert dict(trace.tally) == {"truncated": 1}

    def test_one_checksum_and_the_rule_is_off(self) -> None:
        trace = read_lines([*self.bare(rmc_ride(50)), rmc("110000.00")])
        assert trace.points == 1
        assert dict(trace.tally) == {"truncated": 50}


class TestWrongRmc:
    """A log whose writer got every RMC checksum wrong, as google/gps-measurement-tools has one."""

    @staticmethod
    def wrong(line: bytes) -> bytes:
        return line[:-4] + b"%02X\r\n" % (int(line[-4:-2], 16) ^ 0x5C)

    def ride(self, count: int = 40) -> list[bytes]:
        lines = []
        for k, line in enumerate(rmc_ride(count)):
            lines += [gga(stamp(36_000 + k)), self.wrong(line)]
        return lines

    def test_speeds_that_gga_confirms_are_used_and_it_says_so(self) -> None:
        trace = read_lines(self.ride())
        assert speeds_kn(trace) == [k / 8 for k in range(40)]
        assert not trace.tally
        assert [remark.code for remark in trace.remarks] == ["rmc-checksums"]
        assert "40 of 40" in trace.remarks[0].text

    @pytest.mark.parametrize("replacement", [rmc("100010.00").replace(b"5100.0", b"5101.0"), rmc("100010.50")])
    def test_one_that_no_gga_confirms_is_not(self, replacement: bytes) -> None:
        lines = self.ride()
        lines[21] = self.wrong(replacement)
        trace = read_lines(lines)
        assert dict(trace.tally) == {"checksum": 1}
        assert np.isnan(trace.speed_mps[10])
        assert trace.points == 40

    def test_blocks_without_any_gga_confirm_nothing(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("traceanalyze.parsers.files.CHUNK_BYTES", 500)
        monkeypatch.setattr("traceanalyze.parsers.containers.CHUNK_BYTES", 500)
        monkeypatch.setattr("traceanalyze.parsers.nmea.collecting._BLOCK_BYTES", 500)
        lines = [self.wrong(line) for line in rmc_ride(8)]
        trace = read_lines([*lines, *self.ride(200)])
        assert dict(trace.tally) == {"checksum": 8}
        assert trace.points == 200

    def test_too_few_confirmed_and_none_is_used(self) -> None:
        lines = self.ride()
        for k in range(5):
            lines[2 * k + 1] = self.wrong(rmc(stamp(36_000 + k)).replace(b"5100.0", b"5101.0"))
        trace = read_lines(lines)
        assert trace.speed_source == "positions"
        assert dict(trace.tally) == {"checksum": 40}

    @pytest.mark.parametrize("count", [9, 40])
    def test_one_right_or_few_and_the_rule_is_off(self, count: int) -> None:
        lines = self.ride(count)
        if count == 40:
            lines[1] = rmc_ride(1)[0]
        trace = read_lines(lines)
        assert trace.tally["checksum"] == (9 if count == 9 else 39)
        assert np.isfinite(trace.speed_mps).sum() == (0 if count == 9 else 1)

    def test_wrong_gga_too_and_nothing_is_used(self) -> None:
        with pytest.raises(FormatError, match="80 are damaged"):
            read_lines(line if k % 2 else self.wrong(line) for k, line in enumerate(self.ride()))
