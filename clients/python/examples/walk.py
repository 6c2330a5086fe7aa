"""How far a link holds: walk away from the receiver, stop, type the distance in metres, wait, walk on.

    walk.py lectern --present       an empty line ends the walk

Watch where you walk, not the screen: mind stairs, cables and vehicles, and leave no emergency exit
blocked. Ask before you walk through other people's rooms. Somebody else had better type for you, and
stay where the loudspeakers are muted. A stop tells of that spot and moment alone: a body in the
way, or another transmitter, changes it.
"""

import argparse
import sys

import goodwire

#: Four steps of level, and four sweeps: about a quarter of a minute of sound at each stop.
LEVELS = {"min_dbfs": -40, "max_dbfs": -25, "step_db": 5}


def measure(venue, link, present):
    """What one stop says: gain in dB, jitter in ms, and why there is none of them."""
    level = venue.measure(link, "level", present=present, **LEVELS)
    latency = venue.measure(link, "latency", present=present)
    reason = next((one.reason.id for one in (level, latency) if one.reason), "")
    gain_db = None if reason else level.figure("gain").value
    return gain_db, None if reason else latency.figure("jitter").value, reason


def row(metres, gain_db, jitter_ms, reason):
    """One line of the table."""
    if reason:
        return f"{metres:8g} {'-':>10} {'-':>12}  lost: {reason}"
    return f"{metres:8g} {gain_db:10.2f} {jitter_ms:12.4f}  held"


def said(stops):
    """How far it held: the farthest stop before the first that was lost, nearest first."""
    held = 0.0
    for metres, *_, reason in sorted(stops, key=lambda stop: stop[0]):
        if reason:
            return f"It held to at least {held:g} m, and was lost at {metres:g} m." if held else "It held nowhere."
        held = metres
    return f"It held to at least {held:g} m, and was lost nowhere." if stops else "No stop was measured."


def walk(link, present):
    stops = []
    with goodwire.connect() as venue:
        if venue.status().simulated:
            print("simulated: this tells nothing about a real link")
        print(f"{'metres':>8} {'gain (dB)':>10} {'jitter (ms)':>12}  outcome", flush=True)
        print("metres: ", end="", file=sys.stderr, flush=True)
        for line in map(str.strip, sys.stdin):
            if not line:
                break
            try:
                metres = float(line.replace(",", "."))
            except ValueError:
                print(f"`{line}` is no distance: type metres, such as 12.5", file=sys.stderr)
                continue
            stops.append((metres, *measure(venue, link, present)))
            print(row(*stops[-1]), flush=True)
            print("metres: ", end="", file=sys.stderr, flush=True)
    print(said(stops))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="how far a link holds, stop by stop")
    parser.add_argument("link")
    parser.add_argument("--present", action="store_true", help="you are in the room, and sound may be played now")
    asked = parser.parse_args()
    try:
        walk(asked.link, asked.present)
    except goodwire.GoodwireError as error:
        sys.exit(f"walk.py: {error}")
