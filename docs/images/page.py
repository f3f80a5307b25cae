"""One page of a PDF as a picture for README and docs.

Run: python docs/images/page.py REPORT.pdf PAGE OUT.png
"""

from __future__ import annotations

import sys
from pathlib import Path

import typst

SOURCE = """
#set page(width: auto, height: auto, margin: 0pt)
#image("{name}", page: {page}, width: 595pt)
"""


def main() -> None:
    """Write the picture."""
    pdf, page, out = Path(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])
    source = SOURCE.format(name=pdf.name, page=page).encode()
    out.write_bytes(typst.compile(source, root=pdf.parent.resolve(), format="png", ppi=110.0))


if __name__ == "__main__":
    main()
