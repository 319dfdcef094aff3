"""What the pages need beyond plain Sphinx: tables off the code, examples that run, formulas offline.

``{made-table} NAME [arguments]``
    The Markdown that a function of `tables` returns.
``{run-command}``
    One ``curvometer`` command per block and what it prints; ``:until:`` cuts before a line that begins so.
``{run-python}``
    Lines of Python and what they print. Blocks of one page share their variables.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

import examples
import tables
from docutils import nodes
from docutils.parsers.rst import directives
from latex2mathml import converter
from sphinx.application import Sphinx
from sphinx.util.docutils import SphinxDirective


class MadeTable(SphinxDirective):
    """A table that a function of `tables` writes."""

    required_arguments = 1
    optional_arguments = 20

    def run(self) -> list[nodes.Node]:
        markdown = getattr(tables, self.arguments[0])(*self.arguments[1:])
        found = self.parse_text_to_nodes(markdown)
        for table in (part for node in found for part in node.findall(nodes.table)):
            table["classes"].append("made-table")
        return found


class _Example(SphinxDirective):
    has_content = True
    option_spec: ClassVar[dict[str, Any]] = {"until": directives.unchanged}

    def _folder(self) -> Path:
        return self.env.app.example_folder  # type: ignore[attr-defined,no-any-return]

    def _shown(self, output: str) -> str:
        end = self.options.get("until")
        lines = output.splitlines()
        stop = next((i for i, line in enumerate(lines) if end and line.startswith(end)), None)
        if stop == 0:
            return ""
        return output if stop is None else "\n".join(lines[:stop]).rstrip() + "\n..."


class RunCommand(_Example):
    """A command line and its output."""

    def run(self) -> list[nodes.Node]:
        line = "\n".join(self.content)
        output = self._shown(examples.run_command(line, self._folder()))
        return [_block(line, "text"), *([_block(output, "text")] if output else [])]


class RunPython(_Example):
    """Python lines and their output."""

    def run(self) -> list[nodes.Node]:
        code = "\n".join(self.content)
        names: dict[str, Any] = self.env.temp_data.setdefault("example_names", {})
        output = self._shown(examples.run_python(code, self._folder(), names))
        return [_block(code, "python"), *([_block(output, "text")] if output else [])]


def _block(text: str, language: str) -> nodes.literal_block:
    return nodes.literal_block(text, text, language=language)


# --- Formulas: MathML, which every browser shows by itself ------------------------------------------------


def _mathml(latex: str, *, display: str = "inline") -> str:
    # The converter would set the letters of an operator's name one by one, in italics.
    return str(converter.convert(latex.replace(r"\operatorname", r"\text"), display=display))


def _inline_math(writer: Any, node: nodes.Node) -> None:
    writer.body.append(_mathml(node.astext()))
    raise nodes.SkipNode


def _display_math(writer: Any, node: nodes.Node) -> None:
    writer.body.append(f'<div class="math">{_mathml(node.astext(), display="block")}</div>')
    raise nodes.SkipNode


def _plain_signature(*event: Any) -> tuple[str | None, str | None]:
    """Write the default of a field that makes its own as ``...``, which Sphinx can read and set properly."""
    signature, returned = event[-2:]
    return (signature and signature.replace("<factory>", "..."), returned)


def setup(app: Sphinx) -> dict[str, bool]:
    """Register everything with Sphinx."""
    app.add_directive("made-table", MadeTable)
    app.add_directive("run-command", RunCommand)
    app.add_directive("run-python", RunPython)
    app.add_html_math_renderer("mathml", (_inline_math, None), (_display_math, None))
    app.connect("autodoc-process-signature", _plain_signature)
    folder = examples.example_folder()
    app.example_folder = folder.__enter__()  # type: ignore[attr-defined]
    app.connect("build-finished", lambda *_: folder.__exit__(None, None, None))
    return {"parallel_read_safe": False, "parallel_write_safe": True}
