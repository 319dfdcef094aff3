"""How Sphinx builds these pages: ``./run docs``."""

from __future__ import annotations

import sys
from pathlib import Path

DOCS = Path(__file__).resolve().parent
sys.path[:0] = [str(DOCS.parent), str(DOCS)]

import curvometer  # noqa: E402

project = "curvometer"
author = "The curvometer developers"
copyright = "The curvometer developers, BSD-3-Clause"  # noqa: A001 - Sphinx's own name for it
version = release = curvometer.__version__

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon", "page_parts"]
source_suffix = {".md": "markdown"}
exclude_patterns = [
    "_build",
    "accuracy_table.md",
    "speed_table.md",
    "error_theory_table.md",
    "class_*_table.md",
]
nitpicky = False

myst_enable_extensions = ["dollarmath", "amsmath", "deflist", "colon_fence"]
myst_heading_anchors = 3

default_role = "py:obj"
autodoc_default_options = {"members": True, "member-order": "bysource", "exclude-members": "model_config"}
autodoc_typehints = "signature"
autodoc_typehints_format = "short"
autodoc_preserve_defaults = True
napoleon_google_docstring = False
napoleon_use_ivar = True
napoleon_use_rtype = False
python_use_unqualified_type_names = True
add_module_names = False

html_theme = "furo"
html_title = "curvometer"
html_static_path = ["static"]
html_css_files = ["curvometer.css"]
html_math_renderer = "mathml"
html_copy_source = False
html_show_sphinx = False
