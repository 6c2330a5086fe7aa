"""Tables for pandas and notebooks, and curves drawn on the proportions of IEC 60263."""

import html.parser

import numpy as np
import pytest

import goodwire

matplotlib = pytest.importorskip("matplotlib", reason="SKIPPED: matplotlib is not installed")
pandas = pytest.importorskip("pandas", reason="SKIPPED: pandas is not installed")
matplotlib.use("Agg")


@pytest.fixture(scope="module")
def response(server):
    with goodwire.connect(server) as venue:
        return venue.measure("lectern", "response").require()


def test_figures_and_curves_are_tables_with_the_same_numbers(response):
    table = response.to_pandas()
    assert list(table["value"]) == [figure.value for figure in response.figures]
    assert set(table["unit"]) == {figure.unit for figure in response.figures} and "at_from_hz" in table
    curve = response.curve("magnitude")
    points = curve.to_pandas()
    assert np.array_equal(points["x (Hz)"], curve.x) and np.array_equal(points["magnitude (dB)"], curve.y)


@pytest.mark.parametrize("size_inch", [(6.4, 4.8), (12, 3), (4, 9)])
def test_25_db_are_as_long_as_a_decade_whatever_the_figures_shape(response, size_inch):
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=size_inch)
    assert response.curve("magnitude").plot(axes) is axes
    figure.canvas.draw()
    # Where points are drawn, in pixels: IEC 60263:1982 has 10, 25 or 50 dB to a decade (from memory).
    (x_100_hz, y_0_db), (x_1000_hz, y_up) = axes.transData.transform([(100, -25), (1000, 0)])
    assert y_up - y_0_db == pytest.approx(x_1000_hz - x_100_hz, rel=1e-6)
    pyplot.close(figure)


def test_other_curves_are_drawn_and_one_without_points_too(response):
    from matplotlib import pyplot

    for curve in response.curves:
        curve.plot()
    assert response.plot().get_ylabel() == f"{response.curves[0].id} ({response.curves[0].y_unit})"
    pyplot.close("all")


class Tags(html.parser.HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.text = set(), ""

    def handle_starttag(self, tag, attributes):
        self.tags.add(tag)

    def handle_data(self, data):
        self.text += data


def test_the_notebook_shows_a_small_table_with_everything_escaped():
    at = {"to_hz": 63, "frequency_hz": 27.123456789, "from_hz": 20}
    message = goodwire.v1.measurement_pb2.Measurement(
        name="measurements/1",
        link="links/<script>alert(1)</script>",
        analysis="latency",
        state="SUCCEEDED",
        figures=[{"id": "<b>gain", "value": 1.0, "unit": "dB & more", "at": at}] * 20,
        findings=[{"id": "x", "text": "<img src=x>"}],
    )
    page = Tags()
    page.feed(goodwire.results.measurement_of(message)._repr_html_())
    assert page.tags == {"table", "caption", "tr", "td"}
    assert "20 to 63 Hz, frequency_hz 27.123" in page.text
    assert "<b>gain" in page.text and "and 8 more" in page.text and "<img src=x>" in page.text
