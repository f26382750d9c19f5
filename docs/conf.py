"""Configuration of the pages; build them with ``python -m sphinx -W docs .cache/docs``."""

import sys
from importlib import metadata
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent / folder) for folder in ("reference", "pictures")]

project = "lobework"
release = metadata.version("lobework")
project_copyright = "lobework contributors, MIT license"

extensions = ["myst_parser", "sphinx.ext.autodoc"]
exclude_patterns = ["reference/README.md"]
nitpicky = True
default_role = "py:obj"
smartquotes = False
suppress_warnings = ["config.cache"]

autodoc_member_order = "bysource"
autodoc_typehints = "none"
python_use_unqualified_type_names = True
python_maximum_signature_line_length = 96
toc_object_entries = False
myst_enable_extensions = ["colon_fence"]
myst_heading_anchors = 3

SERIF = "'Palatino Linotype', Palatino, 'TeX Gyre Pagella', 'Book Antiqua', Georgia, 'DejaVu Serif', serif"
LIGHT = {"paper": "#fffdf9", "side": "#f6f2ea", "rule": "#e2dacb", "ink": "#1b1c1f", "accent": "#8a3324", "code": "#f4efe5"}
DARK = {"paper": "#17181a", "side": "#1d1e21", "rule": "#34363b", "ink": "#dcd8cf", "accent": "#e0957f", "code": "#222428"}


def colours(of):
    """Return the colours by the names of the theme's variables."""
    return {
        "color-background-primary": of["paper"],
        "color-background-secondary": of["side"],
        "color-background-border": of["rule"],
        "color-foreground-primary": of["ink"],
        "color-brand-primary": of["accent"],
        "color-brand-content": of["accent"],
        "color-brand-visited": of["accent"],
        "color-link": of["accent"],
        "color-link--hover": of["accent"],
        "color-code-background": of["code"],
        "color-inline-code-background": of["code"],
        "color-api-name": of["accent"],
        "color-api-pre-name": of["accent"],
        "font-stack--headings": SERIF,
    }


html_theme = "furo"
html_title = "lobework"
html_static_path = ["reference/style"]
html_css_files = ["lobework.css"]
html_theme_options = {"light_css_variables": colours(LIGHT), "dark_css_variables": colours(DARK)}
html_show_search_summary = False
html_show_sphinx = False
html_show_sourcelink = False
html_copy_source = False


def setup(app):
    """Connect the functions that write the reference and process its links, signatures and docstrings."""
    import pages

    app.connect("builder-inited", pages.write)
    app.connect("source-read", pages.linked)
    app.connect("doctree-read", pages.named)
    app.connect("missing-reference", pages.elsewhere)
    app.connect("autodoc-process-signature", pages.signed)
    app.connect("autodoc-process-docstring", pages.explained)
