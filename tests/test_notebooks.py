"""The notebooks run from top to bottom, use only the public library, and keep small outputs."""

import ast
from pathlib import Path

import matplotlib as mpl
import nbformat
import pytest

import traceanalyze as ta

NOTEBOOKS = sorted((Path(__file__).resolve().parents[1] / "notebooks").glob("*.ipynb"))


def _code(path: Path) -> list[str]:
    return [cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"]


def test_there_are_notebooks() -> None:
    assert len(NOTEBOOKS) >= 3


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_runs_from_top_to_bottom(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(path.parent)
    names: dict[str, object] = {"__name__": "notebook"}
    with mpl.rc_context({"backend": "agg"}):
        for number, source in enumerate(_code(path)):
            exec(compile(source, f"{path.name}[{number}]", "exec"), names)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_uses_only_the_public_library(path: Path) -> None:
    for source in _code(path):
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.ImportFrom):
                assert not (node.module or "").startswith("traceanalyze")
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "ta":
                assert node.attr in ta.__all__


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_is_valid_and_its_outputs_are_small(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    assert path.stat().st_size < 400_000
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert all(cell.execution_count for cell in code)
    assert not any(output.output_type == "error" for cell in code for output in cell.outputs)
