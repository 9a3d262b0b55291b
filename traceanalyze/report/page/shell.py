"""Sections -> one self-contained page: its style, its script, nothing from anywhere else."""

from __future__ import annotations

from importlib.resources import files

from traceanalyze import __version__
from traceanalyze.report.page.markup import Markup, joined, tag


def page(title: str, *sections: object) -> str:
    """Return the whole document; it asks nothing of any network."""
    policy = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:"
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", http_equiv="Content-Security-Policy", content=policy),
        tag("meta", name="generator", content=f"traceanalyze {__version__}"),
        tag("title", title),
        Markup(f"<style>{_part('page.css')}</style>"),
    )
    body = tag("body", tag("main", joined(sections)), Markup(f"<script>{_part('page.js')}</script>"))
    return f"<!DOCTYPE html>\n{tag('html', head, body, lang='en')}\n"


def _part(name: str) -> str:
    """Return a file that lies beside this module."""
    return files("traceanalyze.report.page").joinpath(name).read_text("utf-8")
