"""The pictures: the same bytes twice, the data drawn where it belongs, in the units asked for."""

from collections.abc import Callable
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.text import Text

from host.report.results import REJECTED, result, withheld
from pullcurve.quantities import SI, US, UnitSystem
from pullcurve.report.budget_figure import budget_figure
from pullcurve.report.curve_figure import curve_figure
from pullcurve.report.drawing import NARROW_IN, WIDTH_IN, png, svg
from pullcurve.report.result import RunResult
from pullcurve.report.strip_figure import strip_figure


def budget_in_any_units(run: RunResult, units: UnitSystem) -> Figure:
    return budget_figure(run)


@pytest.mark.parametrize("draw", [curve_figure, strip_figure, budget_in_any_units])
def test_a_picture_is_the_same_to_the_byte(draw: Callable[[RunResult, UnitSystem], Figure]) -> None:
    assert svg(draw(result(), US)) == svg(draw(result(), US))
    assert png(draw(result(), US)) == png(draw(result(), US))


def test_a_png_opens_and_is_large_enough_for_print() -> None:
    pixels = imread(BytesIO(png(curve_figure(result(), SI))), format="png")
    assert pixels.shape[1] >= 1400
    assert pixels[..., :3].min() == 0.0


@pytest.mark.parametrize(
    ("units", "per_m3_s", "unit"), [(US, 60 / 0.3048**3, "ft³/min"), (SI, 3600.0, "m³/h")]
)
def test_the_curve_draws_the_points_and_names_flow_place_and_state(
    units: UnitSystem, per_m3_s: float, unit: str
) -> None:
    run = result()
    (axes,) = curve_figure(run, units).axes
    (bars,) = axes.containers
    drawn = np.asarray(bars.lines[0].get_xydata())
    np.testing.assert_allclose(drawn[:, 0], [point.speed_rpm.value for point in run.points])
    flows = [per_m3_s * point.standard_flow.value for point in run.points]
    np.testing.assert_allclose(drawn[:, 1], flows)
    half = [np.ptp(segment[:, 1]) / 2 for segment in bars.lines[2][1].get_segments()]
    expected = [per_m3_s * point.standard_flow.u95 for point in run.points]
    np.testing.assert_allclose(half, expected)
    label = axes.get_title(loc="left")
    assert label == (
        f"standard flow through the meter on the machine's port, {unit} at 101 325 Pa, 20 °C, dry"
    )
    names = {text.get_text() for text in axes.texts}
    assert {"1", "2", "3", "4", "5", "6"} < names


def test_holds_of_a_sweep_at_one_speed_share_a_label_and_sweeps_have_their_own_line() -> None:
    (axes,) = curve_figure(result(((1150, 2600, 2596, 1154), (1530, 2300))), SI).axes
    names = {text.get_text() for text in axes.texts}
    assert {"1.1\n1.4", "1.3\n1.2", "2.1", "2.2"} < names
    assert sum(line.get_gid() == "straight line" for line in axes.lines) == 2


@pytest.mark.parametrize("width_in", [WIDTH_IN, NARROW_IN])
@pytest.mark.parametrize("position", ["port", "hose_end", "clean_pipe"])
def test_no_letter_is_cut_off_or_too_small_for_a_phone(position: str, width_in: float) -> None:
    run = result()
    run = replace(run, meter=replace(run.meter, position=position))
    figure = curve_figure(run, US, width_in)
    figure.draw_without_rendering()
    (axes,) = figure.axes
    for text in (axes.xaxis.label, *axes.get_children()):
        if isinstance(text, Text) and text.get_text():
            box = text.get_window_extent()
            assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1, text.get_text()
            assert figure.bbox.y0 <= box.y0 < box.y1 <= figure.bbox.y1, text.get_text()
    if width_in == NARROW_IN:
        # A phone of 390 CSS px shows the picture 360 px wide, between its margins.
        px_a_point = 360 / (72 * width_in)
        assert min(text.get_size() for text in figure.findobj(Text)) * px_a_point >= 11


def test_the_strip_marks_each_stretch_where_it_was() -> None:
    run = withheld(result(), {3: "sensor_clipped"})
    upper, lower = strip_figure(run, US).axes
    names = [text.get_text() for text in upper.texts]
    assert names == ["1", "2", "4", "5", "6", "(3)", "zero", "zero", "a"]
    middles = [text.get_position()[0] for text in upper.texts]
    points = sorted(run.points, key=lambda point: point.withheld is not None)
    stretches = [*points, *run.zeros, *REJECTED]
    np.testing.assert_allclose(middles, [(each.start_s + each.end_s) / 120 for each in stretches])
    drawn = np.asarray(lower.lines[0].get_ydata(), dtype=float)
    pressure = np.array(run.strip.differential_pressure_pa, dtype=float)
    np.testing.assert_allclose(drawn, pressure / 249.08891, rtol=1e-7)
    kinds = [each for each in upper.collections if isinstance(each, PolyCollection)]
    dashed = [each.get_linestyle()[0][1] is not None for each in kinds]
    assert [each.get_hatch() for each in kinds] == [None, "....", "////", None]
    assert dashed == [False, False, False, True]
    areas = [path.get_extents().intervalx for each in kinds for path in each.get_paths()]
    np.testing.assert_allclose(areas, [(each.start_s / 60, each.end_s / 60) for each in stretches])


def test_a_withheld_hold_is_a_cross_on_the_axis_and_bends_no_line() -> None:
    whole, part = result(), withheld(result(), {6: "sensor_clipped"})
    (axes,) = curve_figure(part, SI).axes
    (bars,) = axes.containers
    assert len(np.asarray(bars.lines[0].get_xydata())) == len(whole.points) - 1
    (cross,) = (line for line in axes.lines if line.get_marker() == "x")
    assert np.asarray(cross.get_xydata()).tolist() == [[whole.points[5].speed_rpm.value, 0.0]]
    assert "(6)" in {text.get_text() for text in axes.texts}
    flow = 3600 * whole.points[5].standard_flow.value
    assert f"{flow:.0f}" not in " ".join(text.get_text() for text in axes.texts)


def test_the_budget_draws_each_part_in_per_cent_of_the_flow_of_its_hold() -> None:
    run = result()
    (axes,) = budget_figure(run).axes
    labels = [label.get_text().partition("\n")[0] for label in axes.get_yticklabels()]
    assert labels[:2] == ["all together", "discharge coefficient"]
    assert labels[-1] == "all others together"
    for bars, hold in zip(axes.containers, (run.points[5], run.points[0]), strict=True):
        widths = dict(zip(labels, (bar.get_width() for bar in bars), strict=True))
        whole = 100 * hold.standard_flow.u95 / hold.standard_flow.value
        assert widths.pop("all together") == pytest.approx(whole)
        assert widths["discharge coefficient"] == pytest.approx(4.0)
        assert widths["zero of the pressure sensor"] == pytest.approx(
            100 * 6.0 / hold.differential_pressure_pa.value
        )
        # Variances add (JCGM 100:2008, 5.1.2).
        assert np.linalg.norm(list(widths.values())) == pytest.approx(whole)
    told = [text.get_text() for text in axes.texts if "hold" in text.get_text()]
    assert [text.partition(", ")[2] for text in told] == [
        "hold 6, 2620\xa0rpm",
        "hold 1, 1130\xa0rpm",
    ]
    (alone,) = budget_figure(result(((2620,),))).axes
    assert len(alone.containers) == 1
