"""The HTML printout as a PDF that screen readers can read; the maker of it is an extra."""

from __future__ import annotations

import contextlib
import io
import warnings
from typing import Any

from rotation_opt.errors import RotationOptError

INSTEAD = "Or save the printout as .html, open it in a browser and print it from there, to paper or to PDF."
NOT_THERE = f'A PDF needs the package weasyprint: pip install "rotation-opt[pdf]". {INSTEAD}'
NO_LIBRARIES = (
    "The package weasyprint is there, but not the libraries of the system that it needs (Pango and others). "
    "Install them with the system's own package manager; on Debian they are libpango-1.0-0, "
    f"libpangoft2-1.0-0 and libharfbuzz-subset0. {INSTEAD}"
)


def render(html: str) -> bytes:
    """The printout as PDF: tagged, fonts embedded, nothing fetched from anywhere.

    Parameters
    ----------
    html : str
        The file that ``report.html.render`` makes.

    Returns
    -------
    bytes
        The PDF. The same printout gives the same bytes on the same computer; fonts differ between computers.

    Raises
    ------
    RotationOptError
        If weasyprint or a library it needs is not installed.
    """
    weasyprint = _weasyprint()

    nothing = weasyprint.URLFetcher(allowed_protocols=())  # all that a printout needs is in it
    pdf: bytes = weasyprint.HTML(string=html, url_fetcher=nothing).write_pdf(pdf_variant="pdf/ua-1")
    return pdf


def _weasyprint() -> Any:
    """The package, or one sentence on what is missing; it would print a page of its own about that."""
    try:
        with contextlib.redirect_stdout(io.StringIO()), warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # a library that later versions will ask for
            import weasyprint
    except ImportError as missing:
        raise RotationOptError(NOT_THERE) from missing
    except OSError as missing:
        raise RotationOptError(NO_LIBRARIES) from missing
    return weasyprint
