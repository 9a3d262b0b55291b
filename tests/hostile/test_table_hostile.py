"""Damaged and hostile tables: our own one-line error or a part, quickly, and nothing else."""

import time
from random import Random

import numpy as np
import pytest

from traceanalyze.errors import TraceError
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table import read_bytes, sniff
from traceanalyze.trace import Source, Trace

ROWS = 30
SEEDS = [
    ("time_s,speed_kmh", lambda k: f"{k / 10:.1f},{k * 1.5:.2f}"),
    ("Zeit [s];Geschwindigkeit [km/h]", lambda k: f"{k / 10:.1f};{k * 1.5:.2f}".replace(".", ",")),
    ("timestamp,lat,lon,speed_mph,hdop,sats,fix", lambda k: f"{1779008400000 + k * 100},50.{k:05d},8,{k},1,12,3"),
    ("# log\nDate,Time,Speed (mph),valid", lambda k: f"04.05.2026,11:00:{k // 10:02d}.{k % 10},{k},A"),
    ("time,v [m/s]", lambda k: f"2026-05-17T09:00:{k // 10:02d}.{k % 10}00+02:00,{k}.5"),
    ("time\tspeed_mps\tax\tay\taz", lambda k: f"{k / 100:.2f}\t{'' if k % 10 else k}\t0.01\t-0.02\t1.0{k % 3}"),
    ("drive,utc,date,speed_kn", lambda k: f"{k // 15},{95958 + k if k < 2 else 99998 + k:06d}.0,170526,{k}"),
    ('"time_s","speed_kmh","note"', lambda k: f'"{k / 10:.1f}","{k:.2f}","a b"'),
    ("time vn_mps ve_mps", lambda k: f"{k * 0.1!r} {k / 7!r} {k:e}"),
    ("year,month,day,hour,min,second,speed_kmh", lambda k: f"2026,5,17,9,0,{k / 10:.1f},{k}"),
    ("week,iTOW,gSpeed_mps", lambda k: f"2422,{345600200 + k * 100},{k}"),
    ("time;ms;speed_kmh", lambda k: f"2026-05-17 09:00:{k // 10:02d};{k % 10 * 100};{k}"),
]  # fmt: skip
TABLES = [(head + "\n" + "".join(row(k) + "\n" for k in range(ROWS))).encode() for head, row in SEEDS]
JUNK = [
    b'"', b",", b";", b"\t", b" ", b"\n", b"\r", b"\0", b"-", b".", b"e", b"9" * 25, b"1e308", b"1e999", b"nan", b"inf",
    b"\xff", b"\xef\xbb\xbf", b"#", b"%s{0}", b"2026-13-45", b"::", b"1e-400", b"--5", b"0x1F", b"1_0", b",,,,,",
    b"18446744073709551616", b"-9223372036854775808", b"99:99:99", b"0000-00-00T00:00:00Z", b"time,speed", b"\xd9\xa1",
    b"4294967296:1", b"1." + b"1" * 17, b"5e18",
]  # fmt: skip
OPTIONS = [
    ReadOptions(),
    ReadOptions(speed_unit="mph", accel_unit="g", time_unit="s"),
    ReadOptions(columns={"speed": "2", "time": "1"}, speed_unit="km/h"),
]


def damaged(data: bytes, random: Random) -> bytes:
    """Return a table after a few accidents."""
    for _ in range(random.choice((1, 1, 2, 4))):
        place = random.randrange(len(data) + 1)
        cut = place + random.choice((1, 2, 5, 40))
        lines = data.split(b"\n")
        accident = random.randrange(6)
        if accident == 0:
            data = data[:place] + bytes([random.randrange(256)]) + data[place + 1 :]
        elif accident == 1:
            data = data[:place] + random.choice(JUNK) + data[place:]
        elif accident == 2:
            data = data[:place] + data[cut:]
        elif accident == 3:
            data = data[:place]
        elif accident == 4:
            random.shuffle(lines)
            data = b"\n".join(lines)
        else:
            data = data[:place] + random.choice(TABLES)[:200] + data[place:]
    return data


def attempt(data: bytes, options: ReadOptions) -> Trace | None:
    try:
        sniff(data[:65536])
        return read_bytes(data, Source(), options)
    except TraceError as error:
        refusal = str(error)
    assert "\n" not in refusal
    assert len(refusal) < 1500
    return None


@pytest.mark.parametrize("seed", range(4))
def test_damaged_tables_give_a_part_or_our_error(seed: int) -> None:  # 10^5 such tables were run by hand: none escaped
    random = Random(seed)
    read = [attempt(damaged(random.choice(TABLES), random), random.choice(OPTIONS)) for _ in range(60)]
    traces = [trace for trace in read if trace is not None]
    assert len(traces) > 20  # most accidents cost a row, not the file
    for trace in traces:
        assert not np.isinf(trace.speed_mps).any()


@pytest.mark.parametrize("table", TABLES, ids=[head for head, _ in SEEDS])
def test_every_cut_of_every_table(table: bytes) -> None:
    whole = attempt(table, OPTIONS[0])
    assert whole is not None
    for cut in range(0, len(table), 11):
        part = attempt(table[:cut], OPTIONS[0])
        if part is not None and part.points:
            assert part.points <= whole.points


MANY = 8_000
LONG = {
    "a line without an end": b"time_s,speed_mps\n" + b"1" * 3_000_000,
    "blanks without an end": b"time_s,speed_mps\n0,1\n1, " + b" " * 3_000_000 + b"2\n2,3\n",
    "separators without an end": b"time_s,speed_mps\n0,1\n" + b"," * 3_000_000 + b"\n1,2\n",
    "quotes in every line": b"time_s,speed_mps\n" + b"".join(b'%d,"%d"\n' % (k, k) for k in range(MANY)),
    "an open quote in every line": b"time_s,speed_mps\n" + b"".join(b'%d,"%d\n' % (k, k) for k in range(MANY)),
    "an open quote at the start": b'time_s,"speed_mps\n' + b"".join(b"%d,%d\n" % (k, k) for k in range(MANY)),
    "thousands of columns": b",".join(b"speed_%d" % k for k in range(4000)) + b"\n" + (b"1," * 3999 + b"1\n") * 3,
    "a header of one long word": b"t" * 60_000 + b",speed_mps\n1,2\n2,3\n",
    "a cell like a stamp without an end": b"time,speed_mps\n" + b"1:" * 30_000 + b",2\n",
    "line ends only": b"\n" * 3_000_000,
    "every line another shape": b"time,speed_mps\n" + b"".join(b"x%s:%d,1\n" % (b"y" * (k % 97), k) for k in range(99)),
    "zeros": bytes(3_000_000),
    "every time the same": b"time_s,speed_mps\n" + b"5,1\n" * MANY,
    "times that fall": b"time_s,speed_mps\n" + b"".join(b"%d,1\n" % (MANY - k) for k in range(MANY)),
    "huge exponents": b"time_s,speed_mps\n" + b"".join(b"%d,1e-999\n" % k for k in range(MANY)),
}  # fmt: skip


@pytest.mark.parametrize("data", LONG.values(), ids=LONG.keys())
def test_nothing_hangs(data: bytes) -> None:
    began = time.process_time()
    attempt(data, OPTIONS[0])
    assert time.process_time() - began < 10  # each takes well under a second; a quadratic step would take minutes


def test_a_name_cannot_speak_to_the_terminal() -> None:
    trace = attempt("time_s,\x1b[2Jspeed_kmh\x07\u202e,speed_kmh\n".encode() + b"0,1,1\n1,2,2\n2,3,3\n", OPTIONS[0])
    assert trace is not None
    assert all(char.isprintable() for remark in trace.remarks for char in remark.text)
