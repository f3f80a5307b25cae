"""One page of a PDF as a picture for README and docs.

Run: python docs/images/page.py REPORT.pdf PAGE OUT.png
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

import typst
from PIL import Image

SOURCE = """
#set page(width: auto, height: auto, margin: 0pt)
#image("{name}", page: {page}, width: 595pt)
"""


PPI = 110.0
FINER = 2
"""It is drawn finer and made smaller: at some sizes letters are cut where two of its tiles meet."""


def main() -> None:
    """Write the picture."""
    pdf, page, out = Path(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])
    source = SOURCE.format(name=pdf.name, page=page).encode()
    drawn = typst.compile(source, root=pdf.parent.resolve(), format="png", ppi=FINER * PPI)
    with Image.open(io.BytesIO(drawn)) as picture:
        picture.convert("RGB").reduce(FINER).save(out, optimize=True)


if __name__ == "__main__":
    main()
