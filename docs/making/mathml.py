"""Formulas as MathML, which browsers set by themselves: the pages fetch nothing."""

from __future__ import annotations

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml


def _inline(writer, node) -> None:
    writer.body.append(tex2mathml(node.astext()))
    raise nodes.SkipNode


def _display(writer, node) -> None:
    writer.body.append(f'<div class="formula">{tex2mathml(node.astext(), as_block=True)}</div>')
    raise nodes.SkipNode


def setup(app) -> dict:
    """Enter the way in which formulas are written."""
    app.add_html_math_renderer("mathml", (_inline, None), (_display, None))
    app.config.html_math_renderer = "mathml"
    return {"parallel_read_safe": True}
