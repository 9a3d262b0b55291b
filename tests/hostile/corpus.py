"""A corpus of damaged and hostile logs of every format, each made anew and always the same."""

import bz2
import gzip
import io
import lzma
import random
import warnings
import zipfile
from collections.abc import Iterator
from functools import reduce

KNOT = 1852 / 3600


def speeds_mps() -> list[float]:
    """Thirty seconds at 10 Hz: rest, one launch to 15 m/s, a short hold, brakes; noise of some centimetres a second."""
    rise = [0.0] * 60 + [min(0.25 * k, 15.0) for k in range(90)]
    ride = rise + [max(15.0 - 0.4 * k, 0.0) for k in range(80)] + [0.0] * 70
    dice = random.Random(0)
    return [abs(speed + dice.gauss(0, 0.04)) for speed in ride]


def with_checksum(body: str) -> str:
    """Return `$body*hh`, hh the exclusive or of the characters between $ and * (NMEA 0183)."""
    return f"${body}*{reduce(lambda total, char: total ^ char, body.encode('utf-8', 'replace'), 0):02X}"


def rmc(k: int, speed_mps: float, **parts: str) -> str:
    """Return one RMC sentence, some of its fields replaced."""
    fields = {
        "time": f"1200{k // 10:02d}.{k % 10}0", "status": "A", "lat": f"4100.{k:05d}", "ns": "N", "lon": "03800.00000",
        "ew": "W", "speed": f"{speed_mps / KNOT:.3f}", "course": "075.0", "date": "170526",
    }  # fmt: skip
    return "GNRMC," + ",".join((fields | parts).values()) + ",,,A"


def nmea(**parts: str) -> bytes:
    """Return a log of RMC sentences with these fields everywhere."""
    return "".join(with_checksum(rmc(k, v, **parts)) + "\r\n" for k, v in enumerate(speeds_mps())).encode()


def gpx(point: str = "", head: str = "", time: str | None = None) -> bytes:
    """Return a GPX log; `point` replaces what stands in a point beside its time."""
    points = "".join(
        f'<trkpt lat="{41 + k * 1e-5:.6f}" lon="-38">'
        + (f"<time>2026-05-17T12:00:{k / 10:04.1f}Z</time>" if time is None else time)
        + (point or f"<speed>{v:.2f}</speed>")
        + "</trkpt>\n"
        for k, v in enumerate(speeds_mps())
    )
    text = f"""<?xml version="1.0" encoding="UTF-8"?>{head}
<gpx version="1.0" creator="x" xmlns="http://www.topografix.com/GPX/1/0"><trk><trkseg>
{points}</trkseg></trk></gpx>
"""
    return text.encode()


def table(header: str = "time_s,speed_mps", row: str = "{t:.1f},{v:.2f}", end: str = "\n") -> bytes:
    """Return a table of the ride."""
    rows = [row.format(t=k / 10, v=v, k=k) for k, v in enumerate(speeds_mps())]
    return (end.join([header, *rows]) + end).encode()


def trivial() -> Iterator[tuple[str, bytes]]:
    yield "empty", b""
    bytes_alone = {"nul": 0, "ff": 255, "newline": 10, "cr": 13, "dollar": 36, "less": 60, "comma": 44, "quote": 34}
    for name, byte in (bytes_alone | {"space": 32, "zero": 48, "at": 64}).items():
        for count in (1, 100, 70_000):
            yield f"{name}-{count}", bytes([byte]) * count
    for mark in ("efbbbf", "fffe", "feff", "fffe0000", "0000feff", "2b2f7638"):
        yield f"mark-{mark}", bytes.fromhex(mark)
    for seed in range(8):
        yield f"random-{seed}", random.Random(seed).randbytes(50 * 4**seed % 60_000 + 3)


def damaged() -> Iterator[tuple[str, bytes]]:
    for kind, whole in (("nmea", nmea()), ("gpx", gpx()), ("csv", table())):
        dice = random.Random(kind)
        for share in (0.001, 0.01, 0.1, 0.333, 0.5, 0.9, 0.99):
            yield f"{kind}-cut-{share}", whole[: int(len(whole) * share)]
            yield f"{kind}-beheaded-{share}", whole[int(len(whole) * share) :]
        for cut in range(1, 12):
            yield f"{kind}-cut-last-{cut}", whole[:-cut]
        for seed in range(6):
            bent = bytearray(whole)
            for _ in range(4**seed % 3000 + 1):
                bent[dice.randrange(len(bent))] = dice.randrange(256)
            yield f"{kind}-bent-{seed}", bytes(bent)
        lines = whole.splitlines(keepends=True)
        shuffled = dice.sample(lines[1:], len(lines) - 1)
        yield f"{kind}-shuffled", b"".join([lines[0], *shuffled])
        yield f"{kind}-reversed", b"".join([lines[0], *lines[:0:-1]])
        yield f"{kind}-every-line-twice", b"".join(line * 2 for line in lines)
        yield f"{kind}-twice", whole * 2
        yield f"{kind}-holes", b"".join(lines[:100] + lines[140:200] + lines[260:])
        yield f"{kind}-cr-only", whole.replace(b"\r\n", b"\n").replace(b"\n", b"\r")
        yield f"{kind}-one-line", whole.replace(b"\r", b"").replace(b"\n", b"")
        yield f"{kind}-nul-between", b"\0".join(lines)
        yield f"{kind}-zeroed-middle", whole[:2000] + b"\0" * 4000 + whole[6000:]
        yield f"{kind}-upper", whole.upper()
        for code in ("utf-16", "utf-16-le", "utf-16-be", "utf-32"):
            yield f"{kind}-{code}", whole.decode().encode(code)
            yield f"{kind}-{code}-cut", whole.decode().encode(code)[:-3]
        yield f"{kind}-binary-before", random.Random(1).randbytes(3000) + whole
        yield f"{kind}-binary-after", whole + random.Random(2).randbytes(3000)
        yield f"{kind}-latin1", "né §\n".encode("latin-1") + whole
        yield f"{kind}-escapes", whole + b"\x1b[31m\x07\x08\x7f\xe2\x80\xae%s{0}<script>\n"
    yield "nmea-in-gpx", gpx()[:3000] + nmea() + gpx()[3000:]
    yield "all-three", table() + nmea() + gpx()


def odd_nmea() -> Iterator[tuple[str, bytes]]:
    for field, values in {
        "speed": ["nan", "inf", "-inf", "1e300", "-12.0", "9_9", "", "0", "999999999", "\u0661\u0662", "1.2.3", "0x10"],
        "lat": ["9500.0000", "4199.0000", "", "nan", "-100.0", "1e9", "9000.0001"],
        "lon": ["18100.0000", "", "99999999999"],
        "ns": ["X", "", "n"],
        "status": ["V", "", "B"],
        "date": ["000000", "", "310299", "170526170526", "1705", "abcdef", "170580"],
        "time": ["", "250000.00", "126000.00", "120000.00", "12", "nan", "235959.99"],
        "course": ["nan", "9999", "-1", ""],
    }.items():
        for value in values:
            yield f"nmea-{field}-{value.encode('unicode_escape').decode()}", nmea(**{field: value})
    whole = nmea().decode()
    yield "nmea-wrong-checksums", "".join(f"{line[:-2]}ZZ\r\n" for line in whole.splitlines()).encode()
    yield "nmea-other-checksums", "".join(f"{line[:-2]}00\r\n" for line in whole.splitlines()).encode()
    yield "nmea-no-checksums", "".join(f"{line[:-3]}\r\n" for line in whole.splitlines()).encode()
    yield "nmea-lower-case", "".join(f"{line[:-2]}{line[-2:].lower()}\r\n" for line in whole.splitlines()).encode()
    yield "nmea-commas", (with_checksum("GNRMC" + "," * 5000) + "\r\n").encode() * 50
    yield "nmea-only-gsv", (with_checksum("GPGSV,1,1,01,01,40,083,46") + "\r\n").encode() * 200
    yield "nmea-only-tags", b"$GPRMC\r\n$GPGGA\r\n$GPVTG\r\n" * 500
    yield "nmea-long-line", b"$GPRMC," + b"1" * 1_000_000 + b"\r\n" + nmea()
    yield "nmea-dollars-and-stars", b"$*" * 50_000
    backwards = [with_checksum(rmc(300 - k, v)) for k, v in enumerate(speeds_mps())]
    yield "nmea-backwards", "\r\n".join(backwards).encode()
    for kind in (
        "GPGGA,120000,4100,N,03800,W,1,08,0.9,12,M,,M,,",
        "GPVTG,75,T,,M,5,N,9.3,K",
        "GPGLL,4100,N,03800,W,120000,A",
        "GPZDA,120000,17,05,2026,00,00",
        "GNGNS,120000,4100,N,03800,W,AN,08,0.9,12,0,,",
    ):
        yield f"nmea-only-{kind[2:5]}", (with_checksum(kind) + "\r\n").encode() * 60


def odd_gpx() -> Iterator[tuple[str, bytes]]:
    laughs = "".join(f'<!ENTITY l{k} "{f"&l{k - 1};" * 10}">' for k in range(1, 10))
    yield "gpx-laughs", gpx(head=f'<!DOCTYPE gpx [<!ENTITY l0 "lol">{laughs}]>', point="<speed>&l9;</speed>")
    yield "gpx-external", gpx(head='<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>', point="<name>&x;</name>")
    yield "gpx-dtd", gpx(head='<!DOCTYPE gpx SYSTEM "http://example.invalid/x.dtd">')
    yield "gpx-parameter-entity", gpx(head='<!DOCTYPE gpx [<!ENTITY % p SYSTEM "file:///dev/zero"> %p;]>')
    yield "gpx-deep", b"<gpx><trk><trkseg>" + b"<a>" * 200_000
    yield "gpx-deep-in-point", b'<gpx><trk><trkseg><trkpt lat="1" lon="2">' + b"<extensions>" * 50_000
    yield "gpx-huge-attribute", gpx().replace(b'creator="x"', b'creator="' + b"y" * 2_000_000 + b'"')
    yield "gpx-huge-text", gpx(point="<name>" + "z" * 6000 + "</name>")
    yield "gpx-huge-comment", gpx().replace(b"<trkseg>", b"<trkseg><!--" + b"-x" * 1_000_000 + b"-->")
    yield "gpx-open-comment", gpx().replace(b"<trkseg>", b"<trkseg><!--")
    yield "gpx-cdata", gpx(point="<speed><![CDATA[12]]></speed>")
    yield "gpx-namespaces", gpx().replace(b"<gpx ", b"<gpx " + b"".join(b'xmlns:n%d="u" ' % k for k in range(5000)))
    yield "gpx-instructions", gpx().replace(b"<trkseg>", b"<?php system('x'); ?><trkseg>")
    for code in ("UTF-7", "none-such", "UTF-16", "latin-1", "cp037", "\x00"):
        yield f"gpx-encoding-{code.encode('unicode_escape').decode()}", gpx().replace(b"UTF-8", code.encode())
    for speed in ("nan", "inf", "-3", "1e300", "", "12,5", "0x1F", "\u0663", "1" * 400):
        yield f"gpx-speed-{speed[:9].encode('unicode_escape').decode()}", gpx(point=f"<speed>{speed}</speed>")
    yield "gpx-many-speeds", gpx(point="<speed>1</speed><speed>2</speed><extensions><speed>3</speed></extensions>")
    for time in (
        "",
        "<time></time>",
        "<time>2026-05-17T12:00:00Z</time>",
        "<time>tomorrow</time>",
        "<time>2026-13-45T99:99:99Z</time>",
        "<time>0000-00-00T00:00:00Z</time>",
        "<time>99999-01-01T00:00:00Z</time>",
        "<time>1901-12-13T20:45:52Z</time>",
        "<time>2026-05-17T12:00:00.1234567890123Z</time>",
        "<time>2026-05-17T12:00:00+99:99</time>",
    ):
        yield f"gpx-time-{time[6:18]}-{len(time)}", gpx(time=time)
    for lat in ("95", "nan", "inf", "", "1e3", "-90.0000001", "41"):
        yield (
            f"gpx-lat-{lat}",
            b'<gpx><trk><trkseg><trkpt lat="%s" lon="2"><time>2026-05-17T12:00:00Z</time></trkpt>' % lat.encode(),
        )
    yield "gpx-no-lat", gpx().replace(b"lat=", b"lad=")
    yield "gpx-lat-twice", gpx().replace(b"lon=", b"lat=")
    yield "gpx-segments", gpx().replace(b"</trkpt>", b"</trkpt></trkseg><trkseg>")
    yield "gpx-nothing-in-it", b"<?xml version='1.0'?><gpx/>"
    others = (
        b"<html><body>not found</body></html>",
        b"<?xml version='1.0'?><kml><Document/></kml>",
        b"<svg/>",
        b"<?xml version='1.0'?>",
        b"<gpx",
        b"<!DOCTYPE html>",
        b'{"type": "FeatureCollection"}',
        b"%PDF-1.7\n1 0 obj",
        b"\x89PNG\r\n\x1a\n",
        b"SQLite format 3\0",
        b"\x7fELF\x02\x01",
    )
    for k, other in enumerate(others):
        yield f"other-{k}", other


def odd_tables() -> Iterator[tuple[str, bytes]]:
    yield "csv-header-only", b"time_s,speed_mps\n"
    yield "csv-one-row", b"time_s,speed_mps\n0,1\n"
    yield "csv-two-rows", b"time_s,speed_mps\n0,1\n1,2\n"
    yield "csv-no-header", table(header="").lstrip()
    yield "csv-ragged", table(row="{t:.1f},{v:.2f},9,9").replace(b",9,9\n0.5", b",9\n0.5")
    yield "csv-short-rows", table().replace(b"5.", b"5\n")
    yield "csv-text", table().replace(b"15.00", b"fast")
    yield "csv-one-text", table().replace(b",7.50", b",seven", 1)
    yield "csv-open-quote", table().replace(b"10.0,", b'"10.0,')
    yield "csv-formulas", table(row="=1+1,{v:.2f}")
    yield "csv-formula-names", table(header="=cmd|' /C calc'!A0,speed_mps")
    yield "csv-mixed-encodings", table() + "9.9,é\n".encode("latin-1") + "9.9,é\n".encode() + "9.9,1\n".encode("utf-16")
    for value in ("nan", "inf", "-inf", "1e300", "-1", "1e-300", "", "null", "N/A", "9" * 400, "0x10", "\u0661"):
        name = value[:9].encode("unicode_escape").decode()
        yield f"csv-speed-{name}", table(row=f"{{t:.1f}},{value}")
        yield f"csv-time-{name}", table(row=f"{value},{{v:.2f}}")
    yield "csv-same-times", table(row="7,{v:.2f}")
    yield "csv-whole-second-times", table(header="time_s,speed_mps", row="{k},{v:.2f}").replace(b"1,", b"0,")
    yield "csv-backwards", table(row="-{t:.1f},{v:.2f}")
    yield "csv-constant-speed", table(row="{t:.1f},12.5")
    yield "csv-all-zero", table(row="{t:.1f},0")
    yield "csv-half-a-launch", b"".join(table().splitlines(keepends=True)[:95])
    yield "csv-launch-from-the-first-row", b"".join([b"time_s,speed_mps\n", *table().splitlines(keepends=True)[60:]])
    yield "csv-spikes", table().replace(b"5.00", b"500.00")
    yield "csv-frozen", table().replace(b"9.", b"7.")
    yield "csv-semicolons", table(header="time_s;speed_mps", row="{t:.1f};{v:.2f}").replace(b".", b",")
    yield "csv-tabs", table(header="time_s\tspeed_mps", row="{t:.1f}\t{v:.2f}")
    yield "csv-no-unit", table(header="time_s,speed")
    yield "csv-two-speeds", table(header="time_s,speed_mps,v_kmh", row="{t:.1f},{v:.2f},{v:.1f}")
    yield "csv-same-names", table(header="speed_mps,speed_mps")
    yield (
        "csv-many-columns",
        table(header=",".join(f"c{k}" for k in range(3000)), row=",".join(["{v:.0f}"] * 3000))[:900_000],
    )
    yield "csv-empty-names", table(header=",")
    yield "csv-comments", b"# a\n; b\n// c\n" * 2000 + table()
    yield "csv-repeated-header", table().replace(b"10.0,", b"time_s,speed_mps\n10.0,")
    yield "csv-nanoseconds", table(header="timestamp_ns,speed_mps", row="17{k:017d},{v:.2f}")
    yield "csv-day-first", table(header="date,time,speed_kmh", row="04.05.2024,12:00:{t:04.1f},{v:.2f}")
    yield "csv-iso", table(header="utc,speed_mps", row="2026-05-17T12:00:{t:04.1f}Z,{v:.2f}")
    yield "csv-far-years", table(header="utc,speed_mps", row="9999-12-31T23:59:{t:04.1f}Z,{v:.2f}")
    yield "csv-no-years", table(header="utc,speed_mps", row="0000-00-00T00:00:{t:04.1f}Z,{v:.2f}")
    yield "csv-huge-times", table(row="1e{k},{v:.2f}")
    yield "csv-positions", table(header="time_s,lat,lon", row="{t:.1f},41.{k:05d},-38")
    yield "csv-positions-out-of-range", table(header="time_s,lat,lon,speed_mps", row="{t:.1f},95.{k},-238,{v:.1f}")
    yield "csv-accelerometer", table(header="time_s,ax,ay,az", row="{t:.1f},{v:.2f},0.1,9.8")
    yield "csv-accelerometer-still", table(header="time_s,ax,ay,az", row="{t:.1f},0,0,9.81")
    yield "csv-accelerometer-one-axis", table(header="time_s,speed_mps,ax", row="{t:.1f},{v:.2f},0.3")
    yield "csv-accelerometer-nan", table(header="time_s,speed_mps,ax,ay,az", row="{t:.1f},{v:.2f},nan,inf,1e300")
    yield "csv-long-line", table() + b"9" * 1_000_000 + b",1\n"
    yield "csv-long-cells", table(row="{t:.1f},{v:.2f}" + "0" * 2000)
    yield "csv-crcrlf", table(end="\r\r\n")
    for seed in range(10):
        dice = random.Random(seed)
        cells = ["1", "-", "=x", '"', "nan", "1,5", "2026-05-17", "é", "'", "0.1", "9e99", "", " "]
        rows = [",".join(dice.choice(cells) for _ in range(dice.randrange(1, 6))) for _ in range(80)]
        yield f"csv-soup-{seed}", "\n".join(["time,speed km/h,lat,lon", *rows]).encode()


def zipped(*members: tuple[str, bytes]) -> bytes:
    """Return a zip archive."""
    file = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        warnings.simplefilter("ignore", UserWarning)  # of one name twice
        for name, data in members:
            archive.writestr(zipfile.ZipInfo(name, (2026, 5, 17, 12, 0, 0)), data, zipfile.ZIP_DEFLATED, 1)
    return file.getvalue()


def with_password(data: bytes) -> bytes:
    """Return an archive whose members claim to be encrypted (bit 0 of the flags: APPNOTE.TXT 4.4.4)."""
    bent = bytearray(data)
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = bent.find(mark)
        while place >= 0:
            bent[place + offset] |= 1
            place = bent.find(mark, place + 4)
    return bytes(bent)


def packed() -> Iterator[tuple[str, bytes]]:
    log = nmea()
    yield "gz", gzip.compress(log, mtime=0)
    yield "gz-cut", gzip.compress(log, mtime=0)[:-30]
    yield "gz-head-only", gzip.compress(log, mtime=0)[:12]
    yield "gz-wrong-crc", gzip.compress(log, mtime=0)[:-8] + b"\1\2\3\4\5\6\7\x08"
    yield "gz-bent", gzip.compress(log, mtime=0)[:500] + b"\xff" * 50 + gzip.compress(log, mtime=0)[550:]
    yield "gz-twice", gzip.compress(gzip.compress(log, mtime=0), mtime=0)
    yield "gz-five-times", reduce(lambda data, _: gzip.compress(data, mtime=0), range(5), log)
    yield "gz-of-nothing", gzip.compress(b"", mtime=0)
    yield "gz-garbage-after", gzip.compress(log, mtime=0) + b"garbage" * 100
    yield "gz-several", gzip.compress(log[:9000], mtime=0) + gzip.compress(log[9000:], mtime=0)
    yield "gz-bomb", gzip.compress(b"\0" * 5_000_000, mtime=0) * 60
    yield "bz2", bz2.compress(log)
    yield "xz", lzma.compress(log)
    yield "zst", b"\x28\xb5\x2f\xfd" + log
    yield "7z", b"7z\xbc\xaf\x27\x1c" + log
    yield "rar", b"Rar!\x1a\x07\x00" + log
    one = zipped(("ride.nmea", log))
    yield "zip", one
    yield "zip-cut", one[:-40]
    yield "zip-head-only", one[:50]
    yield "zip-bent", one[:300] + b"\0" * 60 + one[360:]
    yield "zip-password", with_password(one)
    yield "zip-beside-notes", zipped(("a.txt", b"x"), ("b.nmea", log))
    yield "zip-empty", zipped()
    yield "zip-no-log", zipped(("readme.txt", b"hello"), ("picture.png", b"\x89PNG"))
    yield "zip-climbing-names", zipped(("../../etc/passwd", log), ("/abs/b.nmea", log), ("C:\\c.nmea", log))
    yield "zip-odd-names", zipped(("a\x1b[31m.nmea", log), ("b\n.nmea", log), ("\u202egpj.nmea", log))
    yield "zip-same-names", zipped(("a.nmea", log), ("a.nmea", table()))
    yield "zip-in-zip", zipped(("inner.zip", one), ("b.csv", table()))
    yield "zip-in-zip-in-zip", zipped(("a.zip", zipped(("b.zip", one))))
    yield "zip-many", zipped(*((f"{k}.txt", b"") for k in range(1500)))
    yield "zip-bomb", zipped(("bomb.nmea", b"\0" * 210_000_000))
    yield "zip-bomb-of-many", zipped(*((f"{k}.csv", b"0" * 30_000_000) for k in range(7)))
    yield (
        "zip-some-good",
        zipped(("a.nmea", log), ("b.nmea", log[:40]), ("c.csv", table()), ("d.gpx", gpx()), ("e", b"\0")),
    )
    yield "zip-after-junk", b"junk" * 100 + one


PARTS = (trivial, damaged, odd_nmea, odd_gpx, odd_tables, packed)
