"""One dialect for every table: commas between cells, decimal points, lines ending in a line feed."""

from __future__ import annotations


def translation(separator: str, decimal: str) -> bytes | None:
    """Return the table for `bytes.translate` that turns a separator into a comma and a decimal sign into a point.

    Where the separator is a comma nothing needs turning: None. A comma that is neither becomes a byte that no
    number holds.
    """
    if separator == ",":
        return None
    table = bytearray(range(256))
    table[ord(",")] = ord(".") if decimal == "," else 1
    table[ord(separator)] = ord(",")
    return bytes(table)


def in_one_dialect(block: bytes, separator: str, table: bytes | None) -> bytes:
    """Return whole lines with line feeds, commas and points, and no blanks around cells."""
    if b"\r" in block:
        block = block.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if separator == " ":
        block = _single(block.replace(b"\t", b" "), b" ")
        block = block.replace(b" \n", b"\n").replace(b"\n ", b"\n").lstrip(b" ")
    if table is not None:
        block = block.translate(table)
    for pad in (b" ", b"\t"):
        if pad in block:
            block = _unpadded(block, pad)
    return block


def _unpadded(block: bytes, pad: bytes) -> bytes:
    block = _single(block, pad)
    for edge in (b",", b"\n"):
        block = block.replace(pad + edge, edge).replace(edge + pad, edge)
    return block.lstrip(pad)


def _single(block: bytes, pad: bytes) -> bytes:
    while pad * 2 in block:  # each turn halves the longest run
        block = block.replace(pad * 2, pad)
    return block
