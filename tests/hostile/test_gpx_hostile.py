"""GPX made to harm, cut anywhere, or damaged: our own error or the complete points, nothing else, and soon."""

import time
from collections.abc import Callable
from random import Random

import pytest

from traceanalyze.errors import FormatError, LimitError, TraceError
from traceanalyze.parsers.gpx import read_bytes, sniff
from traceanalyze.parsers.gpx.markup import BLOCK_BYTES, MAX_DAMAGES
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import Source, Trace

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1"><trk><name>a &amp; b</name><trkseg>\n'
TAIL = "</trkseg></trk></gpx>\n"
#: Wall time within which each of these must be over [s]; alone each takes a tenth of it at most.
SOON_S = 10.0


def point(second: int) -> str:
    moment = f"2026-06-14T{second // 3600 % 24:02d}:{second // 60 % 60:02d}:{second % 60:02d}Z"
    return f'<trkpt lat="51.{second:06d}" lon="-0.1"><ele>1</ele><time>{moment}</time><speed>3.5</speed></trkpt>\n'


def read(data: str | bytes) -> Trace:
    return read_bytes(data.encode() if isinstance(data, str) else data, Source(format="gpx"), ReadOptions())


@pytest.fixture(autouse=True)
def _soon():
    start = time.monotonic()
    yield
    assert time.monotonic() - start < SOON_S


class TestEntities:
    # Billion laughs: ten levels of ten references to the one below; W3C XML 1.0 4.4 would make 10^10 letters of it
    def test_billion_laughs(self) -> None:
        levels = "".join(f'<!ENTITY l{k + 1} "{f"&l{k};" * 10}">' for k in range(10))
        laughs = f'<!DOCTYPE gpx [<!ENTITY l0 "ha">{levels}]>' + HEAD[39:] + f"<cmt>&l10;</cmt>{point(0)}" + TAIL
        with pytest.raises(FormatError, match="declares a document type"):
            read(laughs)

    @pytest.mark.parametrize(
        "declaration",
        [
            '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>',
            '<!DOCTYPE gpx [<!ENTITY % p SYSTEM "http://127.0.0.1:9/x.dtd"> %p;]>',
            '<!DOCTYPE gpx SYSTEM "file:///dev/zero">',
            '<!DOCTYPE gpx PUBLIC "-//x//y" "http://127.0.0.1:9/">',
            "<!DOCTYPE gpx>",
            "<!-- --><!DOCTYPE gpx [<!-- -->]>",
        ],
    )
    def test_any_document_type(self, declaration: str) -> None:
        text = f'<?xml version="1.0"?>{declaration}<gpx><trk><trkseg>{point(0)}<cmt>&x;</cmt></trkseg></trk></gpx>'
        for encoding in ("utf-8", "utf-16"):
            with pytest.raises(FormatError) as refused:
                read(text.encode(encoding))
            assert "root:" not in str(refused.value)

    def test_an_undeclared_entity_costs_no_point(self) -> None:
        trace = read(HEAD + "<desc>caf&eacute;</desc>" + point(0) + point(1) + TAIL)
        assert trace.points == 2
        assert trace.tally == {"malformed": 1}


#: What is written (when it is asked for: some are 40 MB), and how many points are read of it or what refuses it.
SHAPES: dict[str, tuple[Callable[[], str], int | type[TraceError]]] = {
    "40 MB comment": (lambda: HEAD + "<!--" + "<" * 40_000_000 + "-->" + point(0) + TAIL, 1),
    "unclosed comment": (lambda: HEAD + point(0) + TAIL + "<!--" + ">" * 40_000_000, 1),
    "40 MB instruction": (lambda: HEAD + point(0) + "<?x " + "?" * 40_000_000 + "?>" + TAIL, 1),
    "many cdata": (lambda: HEAD + point(0) + "<![CDATA[]]>" * 300_000 + TAIL, 1),
    "many comments": (lambda: HEAD + point(0) + "<!-->" * 600_000 + TAIL, 1),
    "40 MB spaces": (lambda: HEAD + " " * 40_000_000 + point(0) + TAIL, LimitError),
    "unclosed tag": (lambda: HEAD + point(0) + f"<a {'x' * 40_000_000}", LimitError),
    "long value": (lambda: HEAD + point(0) + f'<a b="{"x" * 40_000_000}"/>' + TAIL, LimitError),
    "long text": (lambda: HEAD + point(0) + f"<a>{'x' * 40_000_000}</a>" + TAIL, LimitError),
    "long cdata": (lambda: HEAD + point(0) + f"<![CDATA[{'x' * 40_000_000}]]>" + TAIL, LimitError),
    "deep": (lambda: HEAD + point(0) + "<a>" * 500_000, LimitError),
    "deep and closed": (lambda: HEAD + point(0) + "<a>" * 500_000 + "</a>" * 500_000 + TAIL, LimitError),
    "only deep": (lambda: "<a>" * 500_000, LimitError),
    "closings": (lambda: "</a>" * 2_000_000, FormatError),
    "angle brackets": (lambda: "<" * 3_000_000, FormatError),
    "broken points": (lambda: HEAD + "<trkpt" * 2_000_000, FormatError),
    "untimed points": (lambda: HEAD + "<trkpt lat='1' lon='2'/>" * 200_000 + TAIL, FormatError),
    "long number": (lambda: HEAD + point(0).replace("3.5", "9" * 900_000) + TAIL, 1),
    "long time": (lambda: HEAD + point(0).replace("2026", "9" * 900_000) + point(1) + TAIL, 1),
}


class TestShapes:
    @pytest.mark.parametrize("shape", SHAPES)
    def test_is_read_or_refused(self, shape: str) -> None:
        text, expected = SHAPES[shape]
        if isinstance(expected, int):
            assert read(text()).points == expected
        else:
            with pytest.raises(expected):
                read(text())

    def test_twenty_thousand_namespaces(self) -> None:
        words = " ".join(f'xmlns:n{k}="urn:example:{k}"' for k in range(20_000))
        assert read(f"<gpx {words}><trk><trkseg>{point(0)}</trkseg></trk></gpx>").points == 1

    def test_twenty_thousand_attributes_of_a_point(self) -> None:
        words = " ".join(f'a{k}="{k}"' for k in range(20_000))
        assert read(HEAD + point(0).replace("<trkpt", f"<trkpt {words}") + TAIL).points == 1

    def test_a_time_of_every_layout(self) -> None:
        odd = [f"20{'x' * (k % 50)}26-06-14T12:00:00.{k}Z" for k in range(20_000)]
        points = "".join(f'<trkpt lat="1" lon="2"><time>{text}</time></trkpt>' for text in odd)
        trace = read(HEAD + points + point(0) + TAIL)
        assert trace.tally["malformed"] == 20_000 - 400

    def test_points_across_the_borders_of_blocks(self) -> None:
        filling = f"<cmt>{'x' * 1000}</cmt>"
        for shift in range(0, 140, 14):
            start = HEAD + f"<cmt>{'y' * shift}</cmt>"
            count = (BLOCK_BYTES * 3 // 2) // len(point(0) + filling) + 1
            text = start + "".join(point(k).replace("</trkpt>", filling + "</trkpt>") for k in range(count)) + TAIL
            trace = read(text)
            assert trace.points == count
            assert (trace.speed_mps == 3.5).all()
            assert (trace.altitude_m == 1).all()


class TestDamage:
    small = (HEAD + point(0) + point(1) + "</trkseg><trkseg>" + point(2) + TAIL).encode()

    def test_every_cut_keeps_every_complete_point(self) -> None:
        ends = [k for k in range(len(self.small)) if self.small[:k].endswith(b"</trkpt>")]
        for cut in range(len(self.small) - 1):
            complete = sum(end <= cut for end in ends)
            if not complete:
                with pytest.raises(FormatError, match=r"no track points|cut before|not GPX"):
                    read(self.small[:cut])
                continue
            trace = read(self.small[:cut])
            assert trace.points == complete
            whole = self.small[:cut].endswith(b"</gpx>")
            assert trace.tally == ({} if whole else {"truncated": 1}), cut

    def test_every_cut_in_utf_16(self) -> None:
        data = self.small.decode().encode("utf-16")
        for cut in range(2, len(data), 5):
            try:
                assert read(data[:cut]).points <= 3
            except FormatError:
                assert b"</trkpt>" not in data[:cut].decode("utf-16", "ignore").encode()

    def test_a_power_cut_that_left_zeros(self) -> None:
        trace = read(HEAD.encode() + point(0).encode() + point(1).encode()[:50] + bytes(5000))
        assert (trace.points, dict(trace.tally)) == (1, {"truncated": 1})
        assert read(self.small + bytes(5000)).tally == {}

    @pytest.mark.parametrize(
        "wrong", ["<ele>", "\x00\x01", "<trkpt lat=5>", "&", "</trkseg>", '"<"', "<a b='1' b='2'/>"]
    )
    def test_damage_in_the_middle_costs_one_point_at_most(self, wrong: str) -> None:
        text = HEAD + point(0) + point(1).replace("<ele>", wrong + "<ele>") + point(2) + point(3) + TAIL
        trace = read(text)
        assert {0.0, 2.0, 3.0} <= set(trace.t_s.tolist())
        assert trace.tally["malformed"] == 1
        assert (trace.speed_mps == 3.5).all()

    def test_tags_in_a_broken_declaration_are_none(self) -> None:
        trace = read('<?xml version="1.0" encoding</trkpt>UTF-8"?>' + HEAD[39:] + point(0) + point(1) + TAIL)
        assert trace.points == 2
        assert trace.tally == {"malformed": 1}

    def test_a_long_text_after_damage(self) -> None:
        trace = read(HEAD + point(0) + "<" + point(1) + f"<cmt>{'x' * 100_000}</cmt>" + point(2) + TAIL)
        assert trace.t_s.tolist() == [0.0, 1.0, 2.0]
        assert trace.tally == {"malformed": 1}

    def test_files_joined_end_to_end(self) -> None:
        one, two = (HEAD + "".join(map(point, seconds)) + TAIL for seconds in (range(3), range(10, 13)))
        trace = read(one + two)
        assert trace.points == 6
        assert trace.stretch.tolist() == [0, 0, 0, 1, 1, 1]
        assert not trace.tally

    def test_many_damages(self) -> None:
        count = MAX_DAMAGES + 100
        trace = read(HEAD + "".join(point(k) + "<broken" for k in range(count)) + TAIL)
        assert trace.tally == {"malformed": MAX_DAMAGES + 1}
        assert trace.points == MAX_DAMAGES + 1

    def test_noise_in_any_place(self) -> None:
        """A small fuzz: bytes changed, cut out, doubled; anything but our own error or a trace fails."""
        fuzz(Random(20260614), rounds=600)


def fuzz(random: Random, rounds: int) -> int:
    """Read damaged copies of small files; return how many were read at all."""
    extended = point(3).replace("<ele>", "<extensions><x:speed>2</x:speed></extensions><ele>")
    odd = "<trkpt lat='&#53;' lon='6' q='>'><time> 2026-06-14T12:00:00.5+01:00 </time><fix>3d</fix></trkpt>"
    seeds = [
        TestDamage.small,
        TestDamage.small.decode().encode("utf-16"),
        ('<g:gpx xmlns:g="x">' + point(0).replace("<", "<g:").replace("<g:/", "</g:") + "</g:gpx>").encode(),
        (HEAD + "<!-- c --><![CDATA[ x ]]>" + extended + odd + TAIL).encode(),
    ]
    words = [
        b"<", b">", b'"', b"'", b"&", b"<!--", b"-->", b"<![CDATA[", b"]]>", b"<?", b"/", b"<trkpt ", b"</trkpt>", b":",
        b"\0", b"\xff", b"nan", b"1e999", b"9" * 30, b"<!DOCTYPE x>", b"&#0;", b"<time>", b"T24:00:00", b"\xef\xbb\xbf",
    ]  # fmt: skip
    changes: list[Callable[[bytearray, int], None]] = [
        lambda data, at: data.__setitem__(at, random.randrange(256)),
        lambda data, at: data.__delitem__(slice(at, at + random.randrange(1, 40))),
        lambda data, at: data.__setitem__(slice(at, at), data[at : at + random.randrange(1, 200)]),
        lambda data, at: data.__setitem__(slice(at, at + random.randrange(3)), random.choice(words)),
    ]
    good, lines = 0, 1
    for _ in range(rounds):
        data = bytearray(random.choice(seeds))
        for _ in range(random.choice((1, 1, 2, 5))):
            random.choice(changes)(data, random.randrange(max(len(data) - 1, 1)))
        sniff(bytes(data))
        try:
            good += read(bytes(data)).points > 0
        except TraceError as error:
            lines = max(lines, str(error).count("\n") + 1)
    assert lines == 1
    return good
