"""Formulas as MathML, which browsers show without a script: the usual renderer loads one from the network."""

import re

from docutils import nodes
from latex2mathml.converter import convert
from sphinx.application import Sphinx
from sphinx.util import logging
from sphinx.writers.html5 import HTML5Translator

logger = logging.getLogger(__name__)

# What the converter passes through when it does not know a command or an environment.
NOT_UNDERSTOOD = re.compile(r"<mi>(\\\w+|&)</mi>|<mo>&</mo>")


def _mathml(node: nodes.math | nodes.math_block, display: str) -> str:
    try:
        result = convert(node.astext(), display=display)
    except Exception as error:  # the converter has no common class for what it raises
        logger.warning("formula not understood (%r): %s", error, node.astext(), location=node)
        return ""
    if NOT_UNDERSTOOD.search(result):
        logger.warning("formula not understood: %s", node.astext(), location=node)
    return result


def visit_inline(translator: HTML5Translator, node: nodes.math) -> None:
    """Write an inline formula."""
    translator.body.append(_mathml(node, "inline"))
    raise nodes.SkipNode


def visit_block(translator: HTML5Translator, node: nodes.math_block) -> None:
    """Write a formula that stands on its own line."""
    translator.body.append(f'<div class="math">{_mathml(node, "block")}</div>\n')
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Register the renderer and make it the one in use."""
    app.add_html_math_renderer("mathml", (visit_inline, None), (visit_block, None))
    app.config["html_math_renderer"] = "mathml"
    return {"parallel_read_safe": True, "parallel_write_safe": True}
