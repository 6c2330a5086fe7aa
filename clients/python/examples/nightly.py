"""Runs a round, and tells somebody where it did not pass. For cron, or a timer:

    nightly.py nightly --command 'write sound'                  the message is the command's input
    nightly.py nightly --mail crew@example.org --server localhost:25

Unattended, sound is played only as far as the daemon's configuration and permit allow.
"""

import argparse
import shlex
import smtplib
import subprocess
import sys
from email.message import EmailMessage

import goodwire


def run(name):
    """Runs the round; gives the exit code and what there is to say."""
    try:
        with goodwire.connect() as venue:
            run = venue.run_round(name)
    except goodwire.GoodwireError as error:
        return goodwire.Outcome.UNMEASURED.exit_code, f"round {name} did not run: {error}"
    lines = [f"round {name}: {run.outcome}" + (", simulated" if run.simulated else "")]
    if run.reason:
        lines.append(run.reason.text)
    for check in run.checks:
        if check.outcome.exit_code:
            why = check.reason.text if check.reason else check.text
            lines.append(f"{check.link}, {check.analysis}: {check.outcome} - {why}")
    for link, findings in run.findings.items():
        lines += [f"{link}, likely: {finding.text}" for finding in findings]
    return run.exit_code, "\n".join(lines)


def send_mail(text, address, server):
    """Sends the text over a server of one's own; its first line is the subject."""
    mail = EmailMessage()
    mail["Subject"], mail["From"], mail["To"] = text.partition("\n")[0], address, address
    mail.set_content(text)
    host, _, port = server.partition(":")
    with smtplib.SMTP(host, int(port or 25), timeout=30) as connection:
        connection.send_message(mail)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="runs a round and tells somebody where it did not pass")
    parser.add_argument("round")
    parser.add_argument("--command", help="gets the message as its input")
    parser.add_argument("--mail", metavar="ADDRESS")
    parser.add_argument("--server", default="localhost:25", metavar="HOST:PORT", help="for mail (%(default)s)")
    asked = parser.parse_args()
    code, text = run(asked.round)
    print(text)
    if code and asked.command:
        subprocess.run(shlex.split(asked.command), input=text, text=True, check=True)
    if code and asked.mail:
        send_mail(text, asked.mail, asked.server)
    sys.exit(code)
