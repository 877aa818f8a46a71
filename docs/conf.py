"""How the documentation is built; see DEVELOPERS.md."""

import sys
from pathlib import Path

import screenplan

# The pages are made by the folder `docs` itself.
sys.path.insert(0, str(Path(__file__).parents[1]))

project = "screenplan"
author = "The screenplan authors"
copyright = author  # noqa: A001
version = release = screenplan.__version__

extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.napoleon",
    "sphinx.ext.viewcode",
    "sphinx_click",
    "docs.making.extension",
    "docs.making.mathml",
]
exclude_patterns = ["_build", "generate", "making", "symbols", "__init__.py"]
# Formulas between dollars, and lists of words with their meanings.
myst_enable_extensions = ["dollarmath", "deflist"]
# A link to a heading is checked like any other.
myst_heading_anchors = 2

# Docstrings give the types, with units; the signature shows names and defaults.
autodoc_typehints = "none"
autodoc_member_order = "bysource"
napoleon_google_docstring = False
# Parameters that share a line share their sentence.
napoleon_use_param = False
napoleon_use_rtype = False
napoleon_preprocess_types = False
default_role = "py:obj"

# Our own names must lead somewhere; words for types, and names that are not on these pages, need not.
nitpicky = True
nitpick_ignore_regex = [
    ("py:class", r"(?!screenplan\.).*"),
    ("py:obj", r"(?!screenplan\.[A-Za-z_]+$).*"),
]

html_theme = "furo"
html_title = f"screenplan {version}"
html_static_path = ["_static"]
html_css_files = ["tables.css", "made.css"]
html_copy_source = False
html_show_sourcelink = False
html_theme_options = {
    "light_css_variables": {
        "color-brand-primary": "#1b5e3f",
        "color-brand-content": "#1b5e3f",
        "color-api-name": "#1b5e3f",
        "color-api-pre-name": "#1b5e3f",
    },
    "dark_css_variables": {
        "color-brand-primary": "#8fd3ae",
        "color-brand-content": "#8fd3ae",
        "color-api-name": "#8fd3ae",
        "color-api-pre-name": "#8fd3ae",
    },
}
