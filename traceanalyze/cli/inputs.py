"""Files as people drop them on a command line: quoted, escaped, as addresses, as patterns."""

from __future__ import annotations

import os
from collections.abc import Iterable


def as_dropped(words: Iterable[str]) -> list[str]:
    """Return the file names that the words mean, in order; a word that fits nothing is kept as it is.

    A `file://` address, quotes or escaped spaces as terminals paste them, and patterns that the shell did not
    expand are understood; a name that exists as written always wins.
    """
    return [name for word in words for name in _names(word)]


def _names(word: str) -> list[str]:
    if word == "-" or os.path.lexists(word):
        return [word]
    for name in (_address(word), _unquoted(word), word.replace("\\ ", " ").strip()):
        if name != word and name and os.path.lexists(name):
            return [name]
    pattern = os.path.expanduser(_unquoted(word))  # noqa: PTH111 - text, not a path yet
    if any(sign in pattern for sign in "*?["):
        import glob  # most shells have expanded patterns

        return sorted(glob.glob(pattern)) or [word]  # noqa: PTH207 - keeps the name as written
    return [pattern] if os.path.exists(pattern) else [word]  # noqa: PTH110 - any text may stand here


def _address(word: str) -> str:
    """Return the path of a `file:` address on this machine; any other word as it is."""
    if not word.strip().lower().startswith("file:"):
        return word
    from urllib.parse import unquote, urlsplit  # few words are addresses

    try:
        parts = urlsplit(word.strip())
    except ValueError:
        return word
    return unquote(parts.path, errors="surrogateescape") if parts.netloc in ("", "localhost") else word


def _unquoted(word: str) -> str:
    text = word.strip()
    return text[1:-1] if len(text) > 1 and text[0] == text[-1] and text[0] in "'\"" else text
