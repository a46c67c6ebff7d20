"""Sphinx configuration. The pages build offline: no fonts, scripts or images come from elsewhere."""

import sys
import tomllib
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE / "extensions"))

metadata = tomllib.loads((HERE.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]

project = metadata["name"]
author = "the vpp authors"
copyright = author
release = version = metadata["version"]

extensions = ["myst_parser", "mathml"]
myst_enable_extensions = ["colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build"]

nitpicky = True
html_theme = "furo"
html_title = f"vpp {release}"
html_copy_source = False
html_show_sphinx = False
html_css_files = ["tables.css"]
html_static_path = ["static"]
