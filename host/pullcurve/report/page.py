"""The report as one HTML file that needs nothing else: to read, to print, to pin to a wall."""

from base64 import b64encode
from collections.abc import Mapping

from jinja2 import Environment, PackageLoader, StrictUndefined
from matplotlib.figure import Figure

from pullcurve.quantities import UnitSystem
from pullcurve.report.budget_figure import budget_figure
from pullcurve.report.captions import (
    budget_alt,
    budget_caption,
    curve_alt,
    curve_caption,
    strip_alt,
    strip_caption,
)
from pullcurve.report.curve_figure import curve_figure
from pullcurve.report.diagnosis_on_page import on_page
from pullcurve.report.drawing import NARROW_IN, svg
from pullcurve.report.facts_tables import (
    budget_table,
    channels_table,
    notes_table,
    sensors_table,
    stretches_table,
)
from pullcurve.report.finding_words import (
    CONSEQUENCES,
    kind_words,
    read_first,
    speed_doubt,
    told_evidence,
    when,
)
from pullcurve.report.quality_words import quality_sentences
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import (
    SAFETY,
    coefficient_words,
    headline,
    hold_remarks,
    meter_sentences,
    site_sentences,
    speed_sentence,
    withheld_sentences,
    zero_sentence,
)
from pullcurve.report.strip_figure import strip_figure
from pullcurve.report.tables import places_table, points_table
from pullcurve.report.uncertainty_words import has_budget, uncertainty_sentences
from pullcurve.rounding import Measured, minutes


def page(result: RunResult, units: UnitSystem) -> str:
    """The whole page. Everything in it that a user wrote is escaped."""
    started = result.provenance.started
    return (
        environment()
        .get_template("page.html.j2")
        .render(
            **_pictures(result, units),
            **on_page(result, units),
            result=result,
            headline=headline(
                result.points,
                result.meter.position,
                result.reference_conditions,
                units,
                speed_doubt(result.troubles, result.speed.shaft),
            ),
            started=started.strftime("%Y-%m-%d %H:%M %Z") if started else "start not known",
            duration=minutes(result.duration_s),
            read_first=read_first(result),
            points=points_table(result, units),
            point_remarks=withheld_sentences(result.points) + hold_remarks(result.points),
            troubles=[
                (
                    kind_words(trouble),
                    when(trouble),
                    told_evidence(trouble, units),
                    trouble.action,
                    CONSEQUENCES[trouble.consequence],
                )
                for trouble in result.troubles
            ],
            places=places_table(result, units),
            stretches=stretches_table(result, units),
            measured=[
                *meter_sentences(result, units),
                speed_sentence(result.speed),
                *site_sentences(result.site, units),
            ],
            sensors=sensors_table(result, units),
            uncertainty=uncertainty_sentences(result, units),
            quality=[zero_sentence(result, units), *quality_sentences(result.quality)],
            channels=channels_table(result),
            notes=notes_table(result),
            safety=SAFETY,
            calibration=f"discharge coefficient {coefficient_words(result)}",
        )
    )


def environment() -> Environment:
    """The report's templates."""
    found = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=PackageLoader("pullcurve.report", ""),
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    found.tests["measured"] = lambda cell: isinstance(cell, Measured)
    return found


def _pictures(result: RunResult, units: UnitSystem) -> Mapping[str, object]:
    """The pictures with what is said of them; a picture that shows nothing is left out."""
    shown: dict[str, object] = {
        "strip": picture_source(strip_figure(result, units)),
        "strip_alt": strip_alt(result, units),
        "strip_caption": strip_caption(result, units),
        "budget": None,
    }
    if result.stated:
        shown |= {
            "curve": picture_source(curve_figure(result, units)),
            "narrow_curve": picture_source(curve_figure(result, units, NARROW_IN)),
            "curve_alt": curve_alt(result, units),
            "curve_caption": curve_caption(result, units),
        }
    if has_budget(result):
        shown |= {
            "budget": budget_table(result),
            "budget_picture": picture_source(budget_figure(result)),
            "budget_alt": budget_alt(result),
            "budget_caption": budget_caption(result),
        }
    return shown


def picture_source(figure: Figure) -> str:
    """The picture as the source of an img: inlined SVGs would share their ids."""
    return "data:image/svg+xml;base64," + b64encode(svg(figure)).decode("ascii")
