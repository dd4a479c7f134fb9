"""The report as one HTML file that needs nothing else: to read, to print, to pin to a wall."""

from base64 import b64encode

from jinja2 import Environment, PackageLoader, StrictUndefined
from matplotlib.figure import Figure

from pullcurve.quantities import UnitSystem
from pullcurve.report.captions import curve_alt, curve_caption, strip_alt, strip_caption
from pullcurve.report.figures import curve_figure, strip_figure, svg
from pullcurve.report.result import RunResult
from pullcurve.report.rounding import Measured, minutes
from pullcurve.report.sentences import (
    SAFETY,
    headline,
    meter_sentences,
    point_name,
    quality_sentences,
    site_sentences,
    uncertainty_sentences,
    zero_sentence,
)
from pullcurve.report.tables import (
    budget_table,
    notes_table,
    places_table,
    points_table,
    stretches_table,
)


def page(result: RunResult, units: UnitSystem) -> str:
    """The whole page. Everything in it that a user wrote is escaped."""
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=PackageLoader("pullcurve.report", ""),
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.tests["measured"] = lambda cell: isinstance(cell, Measured)
    started = result.provenance.started
    return environment.get_template("page.html.j2").render(
        result=result,
        headline=headline(result.points, result.meter.position, result.reference_conditions, units),
        started=started.strftime("%Y-%m-%d %H:%M %Z") if started else "start not known",
        duration=minutes(result.duration_s),
        warnings=[remark for remark in result.remarks if remark.weight == "warning"],
        curve=_source(curve_figure(result, units)),
        curve_alt=curve_alt(result, units),
        curve_caption=curve_caption(result, units),
        strip=_source(strip_figure(result, units)),
        strip_alt=strip_alt(result, units),
        strip_caption=strip_caption(result, units),
        points=points_table(result, units),
        point_remarks=[
            (point_name(point, result.points), remark)
            for point in result.points
            for remark in point.remarks
        ],
        places=places_table(result, units),
        stretches=stretches_table(result, units),
        measured=meter_sentences(result.meter, units) + site_sentences(result.site, units),
        uncertainty=uncertainty_sentences(result, units),
        budget=budget_table(result),
        quality=[zero_sentence(result, units), *quality_sentences(result.quality)],
        notes=notes_table(result),
        safety=SAFETY,
    )


def _source(figure: Figure) -> str:
    """The picture as the source of an img: inlined SVGs would share their ids."""
    return "data:image/svg+xml;base64," + b64encode(svg(figure)).decode("ascii")
