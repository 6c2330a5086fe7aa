"""Checks one link now and ends with the code of the monitoring-plugin convention.

    check.py lectern latency      0: within its limits, 1: it drifted, 2: it fails, 3: nobody knows

Nobody says that somebody is in the room: real hardware plays only where its daemon may do so unattended.
"""

import sys

import goodwire

UNKNOWN = goodwire.Outcome.UNMEASURED.exit_code


def check(link, analysis):
    """Measures, prints one line that says what is wrong first, and gives the exit code."""
    with goodwire.connect() as venue:
        measurement = venue.measure(link, analysis, timeout_s=120)
    bad = [one for one in verdict_of(measurement) if one.outcome is measurement.outcome]
    said = measurement.reason.text if measurement.reason else "; ".join(one.text for one in bad)
    simulated = ", simulated" if measurement.simulated else ""
    print(f"{link} {analysis}: {measurement.outcome}{simulated} - {said or 'it has no limit'}")
    return measurement.exit_code


def verdict_of(measurement):
    """What each limit says; nothing where there is none."""
    return measurement.verdict.judgements if measurement.verdict else ()


if __name__ == "__main__":
    if len(sys.argv) != 3:
        print("usage: check.py LINK ANALYSIS", file=sys.stderr)
        sys.exit(UNKNOWN)
    try:
        sys.exit(check(*sys.argv[1:]))
    except goodwire.GoodwireError as error:
        print(f"{' '.join(sys.argv[1:])}: UNMEASURED - {error}")
        sys.exit(UNKNOWN)
