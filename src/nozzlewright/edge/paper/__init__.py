"""Paper and picture: figures as SVG, the report as PDF and HTML.

``svg``
    Drawing by hand: shapes, text, ticks, colours.
``figures``
    The trace with its marks, the set, a value against its limits.
``pdf``
    Pages by Typst, from templates in this folder.
``typeset``
    Fonts, pictures of drawings and files, for both.
``voice``
    Whose language they speak.
``html``
    The same content in one file for a screen.
"""

from nozzlewright.edge.paper.figures import (
    Trace,
    scale_figure,
    set_figure,
    trace_figure,
    write_plot,
)
from nozzlewright.edge.paper.html import report_html, write_html
from nozzlewright.edge.paper.pdf import report_pdf, write_pdf
from nozzlewright.edge.paper.svg import DARK, LIGHT, PAGE, Theme
from nozzlewright.edge.paper.voice import Voice

__all__ = [
    "DARK",
    "LIGHT",
    "PAGE",
    "Theme",
    "Trace",
    "Voice",
    "report_html",
    "report_pdf",
    "scale_figure",
    "set_figure",
    "trace_figure",
    "write_html",
    "write_pdf",
    "write_plot",
]
