"""Which of these links to buy: measures them side by side, prints a table and one sentence, draws a picture.

    buy.py loan-a loan-b loan-c --max-latency-ms 10 --picture buy.png

What is too late for its use is out. Among the others the first row of ORDER decides in which the best
is surely better than every other one by a difference that counts.
"""

import argparse
import sys
from math import hypot

from matplotlib import pyplot

import goodwire

#: Analysis, figure, its name in words, +1 where more is better, and the least difference that counts:
#: the most important first. Order and differences are our choice; make them yours.
ORDER = [
    ("noise", "dynamic_range_a", "dynamic range (A-weighted)", +1, 1.0),
    ("response", "flatness", "largest deviation of a band", -1, 0.5),
    ("latency", "latency", "latency", -1, 0.5),
]


def figure_of(measurement, id):
    """A figure; the flatness is the deviation of the worst band, without its sign."""
    if id == "flatness":
        bands = [one for one in measurement.figures if one.id == "deviation"]
        worst = max(bands, key=lambda one: abs(one.value))
        return abs(worst.value), worst.uncertainty, worst.unit
    figure = measurement.figure(id)
    return figure.value, figure.uncertainty, figure.unit


def decide(links, figures):
    """The one to buy and why, in a sentence. None where what was measured does not decide."""
    if len(links) < 2:
        return (links[0], "all others are too late") if links else (None, "all are too late")
    for _, id, words, sign, least in ORDER:
        best, *others = sorted(links, key=lambda link: -sign * figures[link, id][0])
        value, spread, unit = figures[best, id]
        margins = [(abs(value - figures[one, id][0]), hypot(spread, figures[one, id][1])) for one in others]
        if all(margin - 2 * doubt > least for margin, doubt in margins):
            margin, doubt = min(margins)
            return best, f"its {words} is better than the next by {margin:.2f} ± {doubt:.2g} {unit}"
    return None, "no difference is surely large enough to count; let price, battery and handling decide"


def draw(responses, path):
    """The responses in one picture, on the proportions of IEC 60263."""
    axes = pyplot.subplots(layout="constrained")[1]
    styles = ["-", "--", ":", "-."]
    for number, measurement in enumerate(responses):
        measurement.curve("magnitude").plot(axes, label=measurement.link, linestyle=styles[number % len(styles)])
    axes.legend()
    axes.figure.savefig(path, dpi=150)


def measure(venue, asked):
    """Every figure by link and id."""
    # The level first: from then on the dynamic range counts up to where each link clips.
    for one in venue.measure_all(asked.links, "level", present=asked.present):
        one.require()
    figures = {}
    for analysis, id, *_ in ORDER:
        measured = [one.require() for one in venue.measure_all(asked.links, analysis, present=asked.present)]
        figures.update({(one.link, id): figure_of(one, id) for one in measured})
        if analysis == "response":
            draw(measured, asked.picture)
    return figures


def show(links, figures):
    """The table: a row a figure, a column a link."""
    print(" " * 28 + "".join(f"{link:>24}" for link in links))
    for _, id, words, *_ in ORDER:
        print(f"{words:28}" + "".join("{:>12.2f} ± {:<6.1g} {}".format(*figures[link, id]) for link in links))


def main(asked):
    with goodwire.connect() as venue:
        figures = measure(venue, asked)
        simulated = venue.status().simulated
    show(asked.links, figures)
    left = []
    for link in asked.links:
        latency_ms, spread_ms, _ = figures[link, "latency"]
        if latency_ms + 2 * spread_ms > asked.max_latency_ms:
            print(f"{link} is out: its latency is not surely below {asked.max_latency_ms:g} ms.")
        else:
            left.append(link)
    best, why = decide(left, figures)
    print(f"Buy {best}: {why}." if best else f"Buy none for its figures: {why}.")
    print("One unit of each was measured, in one place" + (", simulated." if simulated else "."))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="which of these links to buy")
    parser.add_argument("links", nargs="+")
    parser.add_argument("--max-latency-ms", type=float, default=10.0)
    parser.add_argument("--picture", default="buy.png", help="(%(default)s)")
    parser.add_argument("--present", action="store_true", help="you are in the room, and sound may be played now")
    try:
        main(parser.parse_args())
    except goodwire.GoodwireError as error:
        sys.exit(f"buy.py: {error}")
