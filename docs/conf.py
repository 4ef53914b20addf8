"""How Sphinx builds the pages: `nox -s docs`."""

from meshcomp._version import __version__

project = "meshcomp"
copyright = "the meshcomp team"  # noqa: A001 - the name that Sphinx wants
version = release = __version__
extensions = ["myst_parser"]
root_doc = "index"
exclude_patterns = ["_build"]
html_theme = "alabaster"
html_theme_options = {
    "description": "prints that are true to size",
    "page_width": "66rem",
    "code_font_size": "0.8em",
    "show_powered_by": False,
}
html_copy_source = False
html_show_sourcelink = False
# Headings may be linked to, and the pages are read in the repository, too.
myst_heading_anchors = 3
nitpicky = True
