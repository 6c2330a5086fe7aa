"""Measures every link of the rig at once, and shows how far each is: watch_all.py latency"""

import asyncio
import sys

import goodwire.aio


async def watch(handle, progress):
    """Follows one measurement to its end; gives it."""
    async for news in handle.watch(timeout_s=300):
        if isinstance(news, goodwire.Measurement):
            measurement = news
        elif news.progress is not None:
            progress[handle.link] = news.progress
            show(progress)
    return measurement


def show(progress):
    """All links in one line that is written over again."""
    line = "  ".join(f"{link} {100 * share:3.0f} %" for link, share in progress.items())
    print(f"\r{line}", end="", file=sys.stderr, flush=True)


async def main(analysis, present):
    """Gives the worst exit code: fail over unmeasured over drift over pass."""
    async with goodwire.aio.connect() as venue:
        handles = await venue.start("all", analysis, present=present)
        progress = {handle.link: 0.0 for handle in handles}
        measured = await asyncio.gather(*(watch(handle, progress) for handle in handles))
    print(file=sys.stderr)
    for one in measured:
        figures = ", ".join(f"{figure.id} {figure.value:.3f} {figure.unit}".rstrip() for figure in one.figures)
        simulated = "simulated: " if one.simulated else ""
        print(f"{one.link:14} {one.outcome:10} {simulated}{one.reason.text if one.reason else figures}")
    return max((one.exit_code for one in measured), key=(0, 1, 3, 2).index)


if __name__ == "__main__":
    try:
        sys.exit(asyncio.run(main(sys.argv[1], "--present" in sys.argv)))
    except goodwire.GoodwireError as error:
        print(error, file=sys.stderr)
        sys.exit(goodwire.Outcome.UNMEASURED.exit_code)
