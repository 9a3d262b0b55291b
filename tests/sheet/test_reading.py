"""A day sheet against the TOML specification, the standard library's own reader, and a writer's mistakes."""

import math
import os
import random
import time
import tomllib
from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.errors import InputError, SheetError, TraceError
from traceanalyze.sheet import Skip, read_sheet
from traceanalyze.sheet.fields import TABLES
from traceanalyze.sheet.statements import statements
from traceanalyze.sheet.tables import TableReader

SHEET = """\
[day]
date = 2026-05-17
place = "old airfield, taxiway B"
air_temperature_c = 21.0
pressure_hpa = 1009.0
humidity_pct = 55
wind_mps = 1.5
wind_from_deg = 250
utc_offset = "+02:00"

[vehicle]
name = "pit bike"
mass_kg = 142            # with rider and fuel
tyre_circumference_m = 1.32
teeth = [15, 41]         # driving, driven; more pairs for more stages
max_engine_rpm = 6500    # the builder's own safe limit

[[setup]]
name = "standard spring"
files = ["run1.nmea", "run2.nmea"]     # or: from = "14:05", to = "14:30" of a shared log

[[setup]]
name = "stiff spring"
files = ["run3.nmea"]
skip = ["run3.nmea#2"]                 # launch 2: missed the clutch
"""


@pytest.fixture
def folder(tmp_path):
    for name in ("run1.nmea", "run2.nmea", "run3.nmea"):
        (tmp_path / name).touch()
    return tmp_path


def read(folder, text):
    path = folder / "day.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_sheet(path)


def mistakes(folder, text):
    with pytest.raises(SheetError) as caught:
        read(folder, text)
    return str(caught.value).replace(f"{folder}/day.toml: ", "").splitlines()


def test_every_field_of_a_whole_sheet(folder):
    sheet = read(folder, SHEET)
    assert sheet.day.date == date(2026, 5, 17)
    assert sheet.day.place == "old airfield, taxiway B"
    assert sheet.day.utc_offset_s == 7200
    assert sheet.day.conditions.air_temperature_c == 21
    assert (sheet.day.conditions.pressure_hpa, sheet.day.conditions.humidity_pct) == (1009, 55)
    assert (sheet.day.conditions.wind_mps, sheet.day.conditions.wind_from_deg) == (1.5, 250)
    assert (sheet.vehicle.name, sheet.vehicle.mass_kg, sheet.vehicle.teeth) == ("pit bike", 142, ((15, 41),))
    assert (sheet.vehicle.tyre_circumference_m, sheet.vehicle.max_engine_rpm) == (1.32, 6500)
    first, second = sheet.setups
    assert (first.name, first.files) == ("standard spring", (folder / "run1.nmea", folder / "run2.nmea"))
    assert second.skip == (Skip(folder / "run3.nmea", "launch", 2),)
    assert second.vehicle == sheet.vehicle
    assert second.conditions == sheet.day.conditions
    assert sheet.files == (folder / "run1.nmea", folder / "run2.nmea", folder / "run3.nmea")
    assert math.isnan(sheet.day.conditions.gust_mps)


def test_a_setup_changes_what_it_names_and_keeps_the_rest(folder):
    text = SHEET.replace('name = "stiff spring"', 'name = "stiff spring"\nteeth = [[15, 41], [12, 30]]\nwind_mps = 3\n')
    first, second = read(folder, text).setups
    assert second.vehicle.teeth == ((15, 41), (12, 30))
    assert (second.vehicle.mass_kg, second.vehicle.name) == (142, "pit bike")
    assert (second.conditions.wind_mps, second.conditions.pressure_hpa) == (3, 1009)
    assert first.vehicle.teeth == ((15, 41),)


def test_fields_of_rider_and_tyres(folder):
    text = SHEET.replace("humidity_pct = 55", 'tyre_pressure_kpa = 180\nrider_mass_kg = 75\nposture = "upright"')
    first, second = read(folder, text + 'tyre_pressure_kpa = [150, 165.5]\nclothing = "suit"\nnotes = "cold"\n').setups
    assert first.conditions.tyre_pressure_kpa == (180,)
    assert (second.conditions.tyre_pressure_kpa, second.conditions.rider_mass_kg) == ((150, 165.5), 75)
    assert (second.conditions.clothing, second.conditions.posture, second.notes) == ("suit", "upright", "cold")


def test_dates_and_offsets_in_quotes(folder):
    day = read(folder, SHEET.replace("2026-05-17", '"2026-05-17"').replace("+02:00", "-0530")).day
    assert (day.date, day.utc_offset_s) == (date(2026, 5, 17), -5.5 * 3600)


def test_the_least_sheet(folder):
    sheet = read(folder, '[[setup]]\nname = "a"\nfiles = "run1.nmea"\n')
    assert sheet.day.date is None
    assert math.isnan(sheet.vehicle.mass_kg)
    assert sheet.setups[0].files == (folder / "run1.nmea",)


# --- forms that the specification allows: TOML v1.0.0, https://toml.io/en/v1.0.0, section in the comment -------------
FORMS = [
    "\ufeff" + SHEET,  # a byte order mark, as an editor of another system writes it (tomllib itself refuses it)
    SHEET.replace("\n", "\r\n"),  # Spec: 'Newline means LF (0x0A) or CRLF (0x0D 0x0A)'
    SHEET.replace("[day]", "[ day ]  # note"),  # Table: 'Whitespace around the key is ignored'
    SHEET.replace("place =", '"place" ='),  # Keys: quoted keys follow the rules of strings
    SHEET.replace('"run1.nmea", "run2.nmea"]', '\n  "run1.nmea", # one\n  # [day]\n  "run2.nmea", # two\n]'),  # Array
    SHEET.replace('"old airfield, taxiway B"', '"""\nold airfield, \\\n   taxiway B"""'),  # Multi-line basic strings
    SHEET.replace('"old airfield, taxiway B"', "'old airfield, taxiway B'"),  # Literal strings
    SHEET.replace('"old airfield, taxiway B"', '"old airfield, taxiway \\u0042"'),  # Basic strings: escapes
    SHEET.replace("1009.0", "1_009.0"),  # Float: underscores between digits
    SHEET.replace("1009.0", "1.009e3"),  # Float: exponent
]


@pytest.mark.parametrize("text", FORMS)
def test_forms_of_the_specification_read_the_same(folder, text):
    assert read(folder, text) == read(folder, SHEET) or _equal_but_nan(read(folder, text), read(folder, SHEET))


def _equal_but_nan(one, other):
    return repr(one) == repr(other)  # NaN is unlike itself, its text is not


def test_utf_16_as_an_editor_may_save_it(folder):
    assert repr(read(folder, SHEET.encode("utf-16"))) == repr(read(folder, SHEET))


def test_dotted_keys_and_inline_tables_before_any_header(folder):
    text = (
        'day.utc_offset = "Z"\nvehicle = { name = "kart", mass_kg = 90 }\n'
        'setup = [ { name = "a", files = ["run1.nmea"] },\n { name = "b", files = ["run2.nmea"] } ]\nday.wind_mps = 2\n'
    )
    sheet = read(folder, text)
    assert (sheet.day.utc_offset_s, sheet.day.conditions.wind_mps) == (0, 2)
    assert (sheet.vehicle.name, [setup.name for setup in sheet.setups]) == ("kart", ["a", "b"])


def test_clock_windows_of_one_log(folder):
    text = (
        '[day]\nutc_offset = "-05:30"\nfiles = ["run1.nmea"]\n[[setup]]\nname = "a"\nto = "14:05"\n'
        '[[setup]]\nname = "b"\nfrom = 14:05:00\nto = "14:30:30"\n[[setup]]\nname = "c"\nfrom = "14:30:30"\n'
    )
    a, b, c = read(folder, text).setups
    assert a.files == b.files == c.files == (folder / "run1.nmea",)
    assert (a.to_s, b.from_s, b.to_s) == (14 * 3600 + 300, 14 * 3600 + 300, 14 * 3600 + 1830)
    assert math.isnan(a.from_s)
    assert math.isnan(c.to_s)
    assert read(folder, text).day.utc_offset_s == -5.5 * 3600


def test_windows_without_files_take_the_folder(folder):
    text = '[day]\nutc_offset = "Z"\n[[setup]]\nname = "a"\nto = "9:00"\n[[setup]]\nname = "b"\nfrom = "09:00"\n'
    assert [setup.files for setup in read(folder, text).setups] == [(), ()]


def test_names_are_taken_as_written_and_from_the_sheets_folder(folder, monkeypatch):
    strange = ["~", "$HOME", "*.nmea", "a#2", "file:run", "<script>", "%s{0}", "two  spaces ", "'q'"]
    (folder / "sub").mkdir()
    for name in [*strange, "sub/run1.nmea"]:
        (folder / name).touch()
    monkeypatch.chdir("/")
    listed = ", ".join(f'"{name}"' for name in [*strange, "sub/run1.nmea", "../" + folder.name + "/run2.nmea"])
    skips = '"a#2#3", "sub/run1.nmea#pass 1", "two  spaces #1", "sub/run1.nmea#p12"'
    text = f'[[setup]]\nname = "a"\nfiles = [{listed}]\nskip = [{skips}]\n'
    setup = read(folder, text).setups[0]
    assert [path.name for path in setup.files] == [*strange, "run1.nmea", "run2.nmea"]
    assert setup.skip == (
        Skip(folder / "a#2", "launch", 3),
        Skip(folder / "sub" / "run1.nmea", "pass", 1),
        Skip(folder / "two  spaces ", "launch", 1),
        Skip(folder / "sub" / "run1.nmea", "pass", 12),
    )


# --- mistakes ---------------------------------------------------------------------------------------------------------
ONE_MISTAKE = [
    (
        "wind_mps = 1.5",
        "wnid_mps = 1.5",
        "line 7: unknown key 'wnid_mps' in [day]; the nearest known key is 'wind_mps'",
    ),
    ("wind_mps = 1.5", "mass_kg = 1.5", "line 7: unknown key 'mass_kg' in [day]; it belongs in [vehicle]"),
    ("wind_mps = 1.5", "wind_mps = 1,5", "line 7: not TOML: something is left over after the value; write decimals"),
    ("wind_mps = 1.5", "wind_mps = '1.5'", "line 7: wind_mps cannot be '1.5'; give the mean wind in m/s as a number"),
    ("wind_mps = 1.5", "wind_mps = true", "line 7: wind_mps cannot be True"),
    ("wind_mps = 1.5", "wind_mps = nan", "line 7: wind_mps cannot be nan"),
    ("pressure_hpa = 1009.0", "pressure_hpa = 29.9", "line 5: pressure_hpa cannot be 29.9 .. 1 inHg is 33.86 hPa"),
    ("2026-05-17", "17.5.2026", "line 2: not TOML: something is left over .. ; "),
    ("2026-05-17", "2026-02-29", "line 2: not TOML: there is no such date"),
    ("2026-05-17", "'17 May'", "line 2: date cannot be '17 May'"),
    ("2026-05-17", "2026-05-17T10:00:00", "line 2: date cannot be .. ; write the date as year-month-day"),
    ('"+02:00"', '"+15:00"', "line 9: utc_offset cannot be '+15:00'"),
    ('"+02:00"', "+02:00", 'line 9: not TOML .. ; write a clock time or an offset in quotes, such as "14:05"'),
    ("[vehicle]", "[vehicel]", "line 11: unknown table 'vehicel'; the nearest known one is [vehicle]"),
    ("[vehicle]", "[[vehicle]]", "line 11: vehicle has the wrong brackets; write it as [vehicle]"),
    ("[vehicle]", "[vehicle.engine]", "line 11: unknown key 'engine' in [vehicle]"),
    ("[vehicle]", "[vehicle", "line 11: not TOML: expected ']'"),
    ('"old airfield, taxiway B"', "7", "line 3: place cannot be 7; give the place in quotes"),
    ("humidity_pct = 55", "tyre_pressure_kpa = [1, 2, 3]", "line 6: tyre_pressure_kpa cannot be [1, 2, 3]; give one"),
    ("humidity_pct = 55", "tyre_pressure_kpa = 2.2", "line 6: tyre_pressure_kpa cannot be 2.2 .. 1 psi is 6.895 kPa"),
    ('["run3.nmea"]', "7", "line 24: files cannot be 7; write a list of names in quotes"),
    ("[15, 41]", "[15]", "line 15: teeth cannot be [15]; give whole numbers of teeth in pairs"),
    ("[15, 41]", "[15, 41, 12]", "line 15: teeth"),
    ("[15, 41]", "[[15, 41], [12]]", "line 15: teeth"),
    ("[15, 41]", "[15.0, 41]", "line 15: teeth"),
    ("[15, 41]", "[15, 41", "line 15: not TOML .. ; close the list"),
    ("142 ", "1420000 ", "line 13: mass_kg cannot be 1420000; .. from 10 to 2000"),
    ("max_engine_rpm", "mass_kg", "line 16: 'mass_kg' stands in [vehicle] already, on line 13; keep one"),
    ('"standard spring"', '"Stiff Spring"', "line 23: setup 'stiff spring' stands there already, on line 18"),
    ('"standard spring"', "standard spring", "line 19: not TOML .. ; put text in quotes"),
    ('"standard spring"', '"standard spring', "line 19: not TOML: the quotes are not closed; close the quotes"),
    ('"standard spring"', '" "', "line 19: name cannot be ' '"),
    ('name = "standard spring"', "", "line 18: a [[setup]] without a name"),
    ('files = ["run3.nmea"]\nskip = ["run3.nmea#2"]', "", "line 22: a [[setup]] without files"),
    ('["run3.nmea"]', "[]", "line 24: files cannot be []"),
    ('"run2.nmea"', '"run4.nmea"', "line 20: no file 'run4.nmea'; the nearest there is 'run3.nmea'"),
    ('"run2.nmea"', '"."', "line 20: '.' is a folder or a device"),
    ('"run2.nmea"', '"logs\\run2.nmea"', "line 20: no file 'logs\\run2.nmea'; a \\ in double quotes is an escape"),
    ('"run2.nmea"', '"logs\\data.nmea"', "line 20: not TOML: unescaped '\\' in a string; write / between folders"),
    ('"run2.nmea"', '"run1.nmea"', "line 20: 'run1.nmea' stands twice in one list"),
    ('"run2.nmea"', '"run3.nmea"', "line 24: 'run3.nmea' is in this setup and in that of line 18; give each its share"),
    ('"run2.nmea"', '"link.nmea"', "line 24: 'run3.nmea' is in this setup and in that of line 18"),
    ("run3.nmea#2", "run2.nmea#2", "line 25: 'run2.nmea#2' is of no file of this setup; the nearest is 'run3.nmea'"),
    ("run3.nmea#2", "run3.nmea#0", "line 25: 'run3.nmea#0' names no run to skip"),
    ("run3.nmea#2", "run3.nmea", "line 25: 'run3.nmea' names no run to skip"),
    ('skip = ["run3.nmea#2"]', 'from = "15:00"\nto = "14:00"', "line 26: to is not later than from"),
    ('skip = ["run3.nmea#2"]', "from = 14:05", 'line 25: not TOML: .. such as "14:05"'),
    ('skip = ["run3.nmea#2"]', 'from = "24:01"', "line 25: from cannot be '24:01'"),
    ("[day]", "wind_mps = 1\n[day]", "line 1: 'wind_mps' stands before any table; put it under [day]"),
    ("[day]", 'colour = "red"\n[day]', "line 1: 'colour' stands before any table; the nearest known key is"),
    ("[[setup]]", "[setup]", "line 18: setup has the wrong brackets; write it as [[setup]]"),
    ("[vehicle]", "[day]\n[vehicle]", "line 11: [day] stands there already, on line 1; put both together"),
]


@pytest.mark.parametrize(("old", "new", "told"), ONE_MISTAKE)
def test_one_mistake_is_one_line(folder, old, new, told):
    (folder / "link.nmea").symlink_to(folder / "run3.nmea")
    assert old in SHEET
    lines = mistakes(folder, SHEET.replace(old, new, 1))
    assert len(lines) == 1, lines
    first, *others = told.split(" .. ")
    assert lines[0].startswith(first)
    assert all(other in lines[0] for other in others)
    assert "; " in lines[0]  # what to do is said


def test_all_mistakes_are_told_at_once_in_order_of_lines(folder):
    text = SHEET
    for old, new in [
        ("place =", "plce ="),
        ("1.5", "1,5"),
        ("[15, 41]", "[15]"),
        ("run2.nmea", "run9.nmea"),
        ("run3.nmea#2", "#"),
        ("humidity_pct = 55", 'humidity_pct = "'),
    ]:
        text = text.replace(old, new, 1)
    lines = mistakes(folder, text)
    assert [line.split(":")[0] for line in lines] == ["line 3", "line 6", "line 7", "line 15", "line 20", "line 25"]


def test_the_line_of_one_name_in_a_long_list(folder):
    lines = mistakes(folder, SHEET.replace('"run2.nmea"', '\n\n"gone.nmea",\n"run2.nmea"'))
    assert lines[0].startswith("line 22: no file 'gone.nmea'")


def test_a_list_never_closed_hides_nothing_after_it(folder):
    lines = mistakes(folder, SHEET.replace('"run2.nmea"]', '"run2.nmea"').replace("skip =", "skpi ="))
    assert len(lines) == 2
    assert lines[0].startswith("line 20: not TOML")
    assert lines[1].startswith("line 25: unknown key 'skpi'")


def test_overlapping_windows_of_one_log_are_told_and_touching_ones_are_not(folder):
    head = '[day]\nutc_offset = "Z"\nfiles = ["run1.nmea"]\n'
    window = '[[setup]]\nname = "{}"\nfrom = "{}"\nto = "{}"\n'
    read(folder, head + window.format("a", "10:00", "11:00") + window.format("b", "11:00", "12:00"))
    lines = mistakes(folder, head + window.format("a", "10:00", "11:00") + window.format("b", "10:59", "12:00"))
    assert lines[0].startswith("line 10: 'run1.nmea' is in this setup and in that of line 4")
    whole = (
        window.format("a", "00:00", "24:00") + window.format("b", "1:00", "2:00") + window.format("c", "3:00", "4:00")
    )
    assert len(mistakes(folder, head + whole)) == 2  # both lie inside the first, though not beside it


def test_a_window_needs_the_offset_of_the_clock(folder):
    text = SHEET.replace('utc_offset = "+02:00"', "") + 'from = "14:05"\n'
    assert mistakes(folder, text)[0].startswith("line 26: a clock window, but [day] does not say")


def test_no_setup_at_all(folder):
    for text in ("", "# nothing\n", "[day]\n"):
        assert mistakes(folder, text) == [
            "line 1: no [[setup]] in it; add a [[setup]] with a name and files for each thing tried"
        ]


def test_a_log_given_as_a_sheet_is_one_line(folder):
    assert mistakes(folder, "$GPRMC,120000.00,A,,,,,1.0,,170526,,*00\n" * 300) == [
        "is no day sheet; give a log by itself, without a sheet"
    ]


def test_sheets_that_cannot_be_opened(folder):
    for path, reason in [(folder, "folder"), (folder / "no.toml", "no such file"), (folder / "a\0b", "; ")]:
        with pytest.raises(InputError, match=reason):
            read_sheet(path)
    (folder / "loop.toml").symlink_to(folder / "loop.toml")
    os.mkfifo(folder / "pipe.toml")
    for name in ("loop.toml", "pipe.toml"):
        with pytest.raises(InputError):
            read_sheet(folder / name)
    assert mistakes(folder, b'[day]\nplace = "caf\xe9"\n')[0].startswith("line 2: not UTF-8 text; save the sheet")
    assert mistakes(folder, b" " * 250_001) == ["is too large for a day sheet; give logs by themselves"]


def test_messages_are_harmless_to_print(folder):
    text = SHEET.replace("place =", '"a\\u001b[31m\\u202e" =').replace('"run2.nmea"', '"\\u001b]0;x\\u0007"')
    for line in mistakes(folder, text):
        assert line.isprintable(), line


# --- laws -------------------------------------------------------------------------------------------------------------
PIECES = ["[", "]", "=", '"', "'", "\n", "#", '"""', "'''", "{", "}", ",", "\\", "\r", ".", "0", "\0", "é", "name = "]


@given(st.lists(st.tuples(st.integers(0, len(SHEET)), st.integers(0, 12), st.sampled_from(PIECES)), max_size=4))
def test_whatever_is_accepted_is_toml_and_says_the_same(tmp_path_factory, changes):
    """Damaged sheets: our pieces never say yes, or anything else, where the standard library's reader says no."""
    folder = tmp_path_factory.getbasetemp() / "damaged"
    folder.mkdir(exist_ok=True)
    for name in ("run1.nmea", "run2.nmea", "run3.nmea"):
        (folder / name).touch()
    text = SHEET
    for at, length, piece in changes:
        text = text[:at] + piece + text[at + length :]
    reader = TableReader(TABLES)
    tables = reader.read(text)
    try:
        whole = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        whole = None
    if whole is None:
        assert reader.mistakes
    elif not reader.mistakes:
        mine = {"setup": [{k: e.value for k, e in table.entries.items()} for table in tables if table.name == "setup"]}
        mine |= {t.name: {k: e.value for k, e in t.entries.items()} for t in tables if t.name != "setup"}
        assert {key: value for key, value in mine.items() if value or key in whole} == whole
    with suppress(TraceError):  # and nothing else
        read(folder, text)


@given(st.text(max_size=300))
def test_the_statements_are_the_text(text):
    """Nothing between statements but blank lines and comments."""
    rest = text
    for statement in statements(text):
        before, found, rest = rest.partition(statement.text)
        assert found
        assert all(not line.strip() or line.lstrip().startswith("#") for line in before.split("\n"))
    assert all(not line.strip() or line.lstrip().startswith("#") for line in rest.split("\n"))


@pytest.mark.parametrize(
    "text",
    [
        "a" * 240_000,
        "a = 1\n" * 60_000,
        "[[setup]]\n" * 8_000,
        "[[setup]]\nname='a'\nfiles='run1.nmea'\n" * 2_000,
        "x = " + "[" * 50_000,
        ".".join(["a"] * 120_000) + " = 1",
        (".".join(["a"] * 29_000) + " = 1\n") * 4,
        "[vehicle]\nteeth" + ".a" * 20_000 + " = 1",
        "[vehicle]\nteeth = {" + ".".join(["a"] * 29_000) + " = 1}",
        "teeth = " + "9" * 240_000,
        '[[setup]]\nname = "a"\nfiles = [' + '"gone", ' * 7_000 + "]\n",
        '"' * 240_000,
        "'''" + "'" * 240_000,
        '[[setup]]\nname = "a"\nskip = [' + '"run1.nmea#1", ' * 4_000 + ']\nfiles = ["run1.nmea"]\n',
    ],
    ids=lambda text: text[:12].replace("\n", " "),
)
def test_hostile_sheets_end_soon(folder, text):
    begin = time.process_time()
    with suppress(TraceError):
        read(folder, text)
    assert time.process_time() - begin < 5  # a person waits; the work of a normal sheet is milliseconds


def test_order_of_keys_and_tables_does_not_matter(folder):
    rng = random.Random(3)
    head, *tables = SHEET.split("\n\n")
    setups = [table for table in tables if table.startswith("[[setup]]")]
    shuffled = [table for table in [head, *tables] if table not in setups]
    for _ in range(5):
        rng.shuffle(shuffled)
        text = "\n\n".join([*shuffled, *setups])
        assert repr(read(folder, text)) == repr(read(folder, SHEET))
