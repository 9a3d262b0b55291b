"""Which column is what: by the options first, then by the names, and never silently where a name leaves doubt."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple, get_args

from traceanalyze.errors import FormatError, UsageError
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table.layout import Layout
from traceanalyze.parsers.table.words import Meaning, Role, meaning, unit_word

ROLES: Final[tuple[str, ...]] = get_args(Role)
_AXES = ("ax", "ay", "az")
_MADE_FROM_ANOTHER = 9  #: rank of a column that is no recording


class Named(NamedTuple):
    """One column that a quantity may be read from.

    Attributes
    ----------
    column : int
        Its place in the row, from 0.
    name : str
        As the header has it.
    meaning : Meaning
    asked : bool
        Whether an option named it.
    """

    column: int
    name: str
    meaning: Meaning
    asked: bool = False


class Choice(NamedTuple):
    """The columns of each quantity, the most trusted first, and the rest by name.

    Attributes
    ----------
    by_role : mapping of str to tuple of Named
    left : tuple of str
        Names of speed columns that were made from another column and are not used.
    names : tuple of str
        Every column's name.
    """

    by_role: Mapping[str, tuple[Named, ...]]
    left: tuple[str, ...]
    names: tuple[str, ...]

    def all(self, role: str) -> tuple[Named, ...]:
        """Return the columns of a quantity."""
        return self.by_role.get(role, ())

    def first(self, role: str) -> Named | None:
        """Return the most trusted column of a quantity, None without any."""
        return next(iter(self.all(role)), None)

    def listed(self) -> str:
        """Return the names of the columns for a message."""
        shown = ", ".join(repr(name) for name in self.names[:12])
        return shown + (f" and {len(self.names) - 12} more" if len(self.names) > 12 else "")


def chosen(layout: Layout, options: ReadOptions) -> Choice:
    """Return the columns that may hold each quantity.

    Speeds are in this order: those that state a unit (or all, when an option gives it), the receiver's own before
    those of unknown origin, before those with the vertical part; north and east velocities; the vehicle's bus and
    wheels last. Columns made from another (sorted, smoothed, averaged) are never taken unless an option names them.

    Raises
    ------
    UsageError
        If an option names an unknown quantity or unit.
    FormatError
        If an option names a column that is not there, or the table has no header and no option names its columns.
    """
    asked = _asked(layout, options)
    if not layout.names and not asked:
        raise FormatError(
            "the table has no header line to name its columns",
            advice="name them by their place: --column time=1 --column speed=2 --speed-unit km/h",
        )
    found: dict[str, list[Named]] = {}
    left = []
    units = layout.units or ("",) * layout.width
    for column, (name, unit_cell) in enumerate(zip(layout.names, units, strict=False)):
        said = meaning(name, unit_cell)
        if said is None or said.role in asked or any(named.column == column for named in asked.values()):
            continue
        if said.rank == _MADE_FROM_ANOTHER:
            left.append(name)
        elif not (said.role in _AXES and any(axis in asked for axis in _AXES)):
            found.setdefault(said.role, []).append(Named(column, name, said))
    found |= {role: [named] for role, named in asked.items()}
    found["speed"] = sorted(found.get("speed", []), key=lambda named: _speed_order(named, options))
    if "speed" in asked:
        found |= {"vn": [], "ve": []}
    by_role = {role: tuple(columns) for role, columns in _one_sensor(found).items() if columns}
    return Choice(by_role, tuple(left), layout.names or tuple(f"column {k + 1}" for k in range(layout.width)))


def _speed_order(named: Named, options: ReadOptions) -> tuple[bool, bool, int, int]:
    unit = named.meaning.unit or options.speed_unit
    return named.meaning.rank == 3, not unit, named.meaning.rank, named.column


def _asked(layout: Layout, options: ReadOptions) -> dict[str, Named]:
    """Return the columns that the options name."""
    asked = {}
    for role, name in options.columns.items():
        role = role.strip().lower()
        if role not in ROLES:
            raise UsageError(f"--column {role}=... names no quantity", advice="known are " + ", ".join(ROLES))
        column = _place(name, layout)
        header = layout.names[column] if layout.names else f"column {column + 1}"
        unit_cell = layout.units[column] if layout.units else ""
        said = meaning(header, unit_cell)
        unit = said.unit if said and said.role == role else ""
        asked[role] = Named(column, header, Meaning(role, unit or unit_word(role, unit_cell)), asked=True)  # type: ignore[arg-type]
    return asked


def _place(name: str, layout: Layout) -> int:
    """Return the place of a column named by its header, or by a number from 1."""
    wanted = name.strip()
    exact = [k for k, header in enumerate(layout.names) if header == wanted]
    loose = [k for k, header in enumerate(layout.names) if header.strip().lower() == wanted.lower()]
    if exact or loose:
        return (exact or loose)[0]
    if wanted.isascii() and wanted.isdigit() and len(wanted) < 6 and 1 <= int(wanted) <= layout.width:
        return int(wanted) - 1
    known = ", ".join(repr(header) for header in layout.names[:12]) or f"1 to {layout.width}"
    raise FormatError(f"there is no column {name!r}", advice=f"its columns are {known}")


def _one_sensor(found: dict[str, list[Named]]) -> dict[str, list[Named]]:
    """Keep the axes of one accelerometer: of the sensor with most axes, the first of them."""
    axes = [named for role in _AXES for named in found.get(role, [])]
    if any(named.asked for named in axes):
        return found
    groups: dict[str, dict[str, Named]] = {}
    for named in sorted(axes, key=lambda named: named.column):
        groups.setdefault(named.meaning.group, {}).setdefault(named.meaning.role, named)
    best = max(groups.values(), key=len, default={})
    lone_direction = len(best) < 3 and all(not named.meaning.group for named in best.values())
    kept = {} if lone_direction else best
    return found | {role: [kept[role]] if role in kept else [] for role in _AXES}
