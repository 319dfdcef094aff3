"""The documentation says what the program does: examples run, commands exist, links and tables are whole."""

from __future__ import annotations

import importlib
import re
import shlex
import sys
from pathlib import Path

import pytest

import curvometer
from curvometer.bibliography import REFERENCES
from curvometer.cli.arguments import parse
from curvometer.cli.table import LABELS
from curvometer.measurement import FLAG_TABLE, QUANTITY_NAMES

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
README = ROOT / "README.md"
PAGES = [README, ROOT / "DEVELOPERS.md", ROOT / "plugins" / "README.md", ROOT / "sample_images" / "README.md"]
PAGES += sorted(page for page in DOCS.rglob("*.md") if "_build" not in page.parts)
PAGE_NAMES = [str(page.relative_to(ROOT)) for page in PAGES]
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@pytest.fixture
def docs_module(monkeypatch):
    """Modules of the folder docs, which is no package."""
    monkeypatch.syspath_prepend(str(DOCS))
    names = ("examples", "tables", "refresh_readme")
    yield importlib.import_module
    for name in names:
        sys.modules.pop(name, None)


def text_of(page):
    return page.read_text(encoding="utf-8")


def blocks(page):
    """(language, content) of every fenced block of a page."""
    return re.findall(r"^```(\S*)[^\n]*\n(.*?)^```", text_of(page), flags=re.DOTALL | re.MULTILINE)


def commands(page):
    """Every command line in a page's blocks, joined where it goes on in the next line."""
    found = []
    for language, content in blocks(page):
        if language in ("sh", "bat", "{run-command}"):
            found += re.sub(r"\\\n\s*", " ", content).splitlines()
    return [line for line in found if line.strip() and not line.startswith(":")]


# --- README -----------------------------------------------------------------------------------------------


def test_python_lines_of_the_readme_run_and_print_an_angle(docs_module):
    """Six lines: import, load, scale, trace, measure, print; the value with its interval comes out."""
    examples, refresh = docs_module("examples"), docs_module("refresh_readme")
    lines = refresh.python_lines(text_of(README))
    assert len([line for line in lines.strip().splitlines() if line]) == 6
    with examples.example_folder() as folder:
        printed = examples.run_python(lines, folder)
    assert re.fullmatch(r"\d+\.\d deg \(\d+\.\d to \d+\.\d\)", printed)


def test_outputs_in_the_readme_are_those_of_the_program(docs_module):
    """Numbers may differ by what another machine rounds; after any other change refresh the README."""
    shown, fresh = text_of(README), docs_module("refresh_readme").refreshed(text_of(README))
    advice = "the README tells old outputs: run 'python docs/refresh_readme.py'"
    assert NUMBER.sub("#", " ".join(shown.split())) == NUMBER.sub("#", " ".join(fresh.split())), advice
    pairs = zip(NUMBER.findall(shown), NUMBER.findall(fresh), strict=True)
    assert all(abs(float(a) - float(b)) <= 0.11 + 0.01 * abs(float(b)) for a, b in pairs), advice


def test_refreshing_finds_a_changed_output(docs_module):
    """The comparison above can fail: an old number between the marks is replaced."""
    refresh = docs_module("refresh_readme")
    old = re.sub(r"(Schneider angle\s+)\d+\.\d", r"\g<1>99.9", text_of(README), count=1)
    assert "99.9 deg" in old
    assert "99.9 deg" not in refresh.refreshed(old)


def test_readme_shows_every_measure_and_the_cautions():
    text = text_of(README)
    assert all(label in text for label in LABELS.values())
    for words in (
        "not a diagnostic device",
        "lower bound",
        "only at the depth",
        "makers' instructions",
        "How to cite",
    ):
        assert words in text
    first = text.split("\n\n")[1]
    assert "clinician" in first or "You treat root canals" in first, "the job stands at the very top"
    assert "Not there yet" in first, "and says what is not there"


def test_installation_lines_use_the_pinned_versions():
    lines = [line for line in commands(README) if " pip " in line]
    assert len(lines) == 2, "Windows and macOS"
    assert all(line.endswith("pip install -c constraints.txt .") for line in lines)


# --- Every page -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES, ids=PAGE_NAMES)
def test_commands_exist(page):
    """Every ``curvometer`` line is understood by the parser, every ``./run`` word by the script."""
    words_of_run = set(re.findall(r"^(\w+)\) ", text_of(ROOT / "run"), flags=re.MULTILINE))
    assert {"demo", "test", "bench", "docs"} <= words_of_run
    for line in commands(page):
        words = shlex.split(line, comments=True)
        if not words:
            continue
        if words[0] == "./run":
            assert words[1] in words_of_run
        if words[0] == "curvometer" and not {"--help", "--version"} & set(words):
            parse(words[1:])
    for word in re.findall(r"`\./run (\w+)`", text_of(page)):
        assert word in words_of_run


@pytest.mark.parametrize("page", PAGES, ids=PAGE_NAMES)
def test_links_lead_somewhere(page):
    text = re.sub(r"^```[^{].*?^```", "", text_of(page), flags=re.DOTALL | re.MULTILINE)
    targets = re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r'src="([^"]+)"', text)
    targets += re.findall(r"^```\{image\} (\S+)", text, flags=re.MULTILINE)
    for target in targets:
        if "://" not in target and not target.startswith("#"):
            assert (page.parent / target.split("#")[0]).exists(), target


@pytest.mark.parametrize("page", PAGES, ids=PAGE_NAMES)
def test_no_address_of_a_machine_stands_on_a_page(page):
    assert not re.search(r"(?<![\w.])/(root|home|work|tmp|usr|Users)/", text_of(page))
    assert not re.search(r"index-url|find-links|file://", text_of(page))


@pytest.mark.parametrize("page", PAGES, ids=PAGE_NAMES)
def test_constants_that_a_page_names_exist(page):
    """A page refers to a number by its name in the code; a renamed constant must be renamed here, too."""
    source = "\n".join(
        path.read_text(encoding="utf-8") for path in sorted((ROOT / "curvometer").rglob("*.py"))
    )
    for name in re.findall(r"`([A-Z][A-Z0-9]*_[A-Z0-9_]+)`", text_of(page)):
        assert re.search(rf"\b{name}\b", source), name


def test_plugin_example_uses_public_names_only_and_runs(docs_module):
    (code,) = [
        content for language, content in blocks(ROOT / "plugins" / "README.md") if language == "python"
    ]
    assert not re.search(r"curvometer\.\w", code.replace("from curvometer import", ""))
    examples = docs_module("examples")
    with examples.example_folder() as folder:
        examples.run_python(code, folder)


# --- Tables that are read off the program -----------------------------------------------------------------


def test_flag_table_tells_every_flag(docs_module):
    assert "{made-table} flag_table" in text_of(DOCS / "flags.md")
    rows = docs_module("tables").flag_table().splitlines()[2:]
    assert len(rows) == len(FLAG_TABLE)
    for row, (code, rule) in zip(rows, FLAG_TABLE.items(), strict=True):
        assert f"`{code}`" in row
        assert rule.text in row
        assert str(rule.severity) in row


def test_measure_table_tells_every_measure_and_its_page(docs_module):
    assert "{made-table} measure_table" in text_of(DOCS / "fitted_shape.md")
    tables = docs_module("tables")
    table = tables.measure_table()
    assert all(f"`{name}`" in table for name in QUANTITY_NAMES)
    assert set(tables.METHOD_PAGES) <= set(QUANTITY_NAMES)
    for page in set(tables.METHOD_PAGES.values()):
        assert (DOCS / "methods" / f"{page}.md").exists()


def test_bibliography_lists_every_source_once_and_how_it_was_read(docs_module):
    assert "{made-table} reference_list" in text_of(DOCS / "bibliography.md")
    listed = docs_module("tables").reference_list()
    keys = re.findall(r"^- `([^`]+)`:", listed, flags=re.MULTILINE)
    assert len(keys) == len(set(keys))
    assert set(REFERENCES) <= set(keys)
    assert "gum-4.3.7" in keys, "sources that a module keeps for itself are found, too"
    for line, key in zip(listed.splitlines(), keys, strict=True):
        if key in REFERENCES:
            assert str(REFERENCES[key].how_read).lower() in line.lower()


def test_constants_are_found_with_value_and_docstring(docs_module):
    table = docs_module("tables").constants("curvometer.measurement.flags")
    assert re.search(r"\| `SHORT_ARC_MM` \| `[\d.]+` \| Arcs shorter than this", table)


def test_reference_documents_every_public_name():
    text = text_of(DOCS / "reference.md")
    named = set(re.findall(r"^\.\. (?:auto\w+|py:data):: curvometer\.(\w+)$", text, flags=re.MULTILINE))
    assert named == set(curvometer.__all__)


def test_every_page_is_in_a_table_of_contents():
    """Included pieces apart, no page is out of reach."""
    tables = ("accuracy", "speed", "viewer_speed", "error_theory", "class_errors", "class_speed")
    included = {f"{name}_table" for name in tables}
    pages = (
        {str(page.relative_to(DOCS).with_suffix("")) for page in PAGES if DOCS in page.parents}
        - included
        - {"index"}
    )
    listed = set()
    for page in [path for path in PAGES if DOCS in path.parents]:
        folder = page.parent.relative_to(DOCS)
        for language, content in blocks(page):
            if language == "{toctree}":
                listed |= {
                    (folder / line).as_posix() for line in content.splitlines() if line and line[0] != ":"
                }
    assert pages == listed


def test_accuracy_includes_what_the_benchmark_writes():
    text = text_of(DOCS / "accuracy.md")
    for name in ("accuracy_table.md", "speed_table.md", "error_theory_table.md"):
        assert f"{{include}} {name}" in text
        assert (DOCS / name).exists()
