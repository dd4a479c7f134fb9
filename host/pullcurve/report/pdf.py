"""The page as PDF, by WeasyPrint, which the extra `pullcurve[pdf]` installs."""

from pullcurve.errors import ReportError
from pullcurve.quantities import US, UnitSystem


def pdf(html: str, units: UnitSystem) -> bytes:
    """A page as PDF, on letter paper with US units, else on A4.

    Nothing that the page does not hold is fetched.

    Raises ReportError when WeasyPrint or the system's libraries that it needs are missing.
    """
    try:
        from weasyprint import CSS, HTML, URLFetcher  # noqa: PLC0415  (optional, and slow to import)
    except ImportError:
        raise ReportError(
            "a PDF needs WeasyPrint: install it with pip install 'pullcurve[pdf]', or print "
            "the HTML page from a browser"
        ) from None
    except OSError as fault:
        reason = str(fault).splitlines()[0]
        raise ReportError(
            f"a PDF needs the system library Pango, which WeasyPrint did not find ({reason}); on "
            "Debian or Ubuntu: apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0. "
            "Or print the HTML page from a browser"
        ) from None
    inside_only = URLFetcher(allowed_protocols=("data",))
    paper = "letter" if units is US else "A4"
    size = CSS(string=f"@page {{ size: {paper} }}")
    content: bytes = HTML(string=html, url_fetcher=inside_only).write_pdf(
        stylesheets=[size], pdf_tags=True
    )
    return content
