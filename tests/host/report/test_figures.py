"""The pictures: the same bytes twice, the data drawn where it belongs, in the units asked for."""

from collections.abc import Callable
from io import BytesIO

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread

from host.report.results import result
from pullcurve.quantities import SI, US, UnitSystem
from pullcurve.report.figures import curve_figure, png, strip_figure, svg
from pullcurve.report.result import RunResult


@pytest.mark.parametrize("draw", [curve_figure, strip_figure])
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
    flows = [per_m3_s * point.standard_flow_m3_s.value for point in run.points]
    np.testing.assert_allclose(drawn[:, 1], flows)
    half = [np.ptp(segment[:, 1]) / 2 for segment in bars.lines[2][1].get_segments()]
    expected = [per_m3_s * point.standard_flow_m3_s.u95 for point in run.points]
    np.testing.assert_allclose(half, expected)
    label = axes.get_title(loc="left")
    assert label == (
        f"standard flow through the meter on the machine's port, {unit} at 101 325 Pa, 20 °C, dry"
    )
    names = {text.get_text() for text in axes.texts}
    assert {"1", "2", "3", "4", "5", "6"} < names


def test_holds_of_a_sweep_at_one_speed_share_a_label_and_sweeps_have_their_own_line() -> None:
    (axes,) = curve_figure(result(((1500, 3400, 3395, 1505), (2000, 3000))), SI).axes
    names = {text.get_text() for text in axes.texts}
    assert {"1.1\n1.4", "1.3\n1.2", "2.1", "2.2"} < names
    assert sum(line.get_gid() == "straight line" for line in axes.lines) == 2


def test_the_strip_marks_each_stretch_where_it_was() -> None:
    run = result()
    upper, lower = strip_figure(run, US).axes
    names = [text.get_text() for text in upper.texts]
    assert names == ["1", "2", "3", "4", "5", "6", "zero", "zero"]
    middles = [text.get_position()[0] for text in upper.texts]
    stretches = [*run.points, *run.zeros]
    np.testing.assert_allclose(middles, [(each.start_s + each.end_s) / 120 for each in stretches])
    drawn = np.asarray(lower.lines[0].get_ydata(), dtype=float)
    pressure = np.array(run.strip.differential_pressure_pa, dtype=float)
    np.testing.assert_allclose(drawn, pressure / 249.08891, rtol=1e-7)
    hatched = [patch for patch in upper.patches if patch.get_hatch()]
    assert len(hatched) == len(run.zeros)
