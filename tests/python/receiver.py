"""A receiver of messages on loopback, over HTTP or SMTP, for the end-to-end tests.

It knows nothing of goodwire: signatures are checked by the specification of Standard Webhooks with
Python's own hmac, mails are read by Python's own email package. Prints a line of JSON with its
port, then one for each message.

    receiver.py http|smtp CODES FOLDER [tls]
"""

import base64
import email
import email.policy
import hashlib
import hmac
import json
import os
import socket
import ssl
import subprocess
import sys
import time

kind, codes, folder = sys.argv[1], sys.argv[2].split(","), sys.argv[3]
has_tls = sys.argv[4:] == ["tls"]


def certified():
    """A TLS context with a certificate for localhost that is its own authority."""
    certificate, key = f"{folder}/certificate.pem", f"{folder}/key.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
        + ["-keyout", key, "-out", certificate, "-days", "2", "-subj", "/CN=receiver of a test"]
        + ["-addext", "subjectAltName=DNS:localhost", "-addext", "basicConstraints=critical,CA:FALSE"],
        check=True,
        stderr=subprocess.DEVNULL,
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    return context


def tell(**what):
    print(json.dumps(what), flush=True)


def is_signed(headers, body):
    """The signature of Standard Webhooks, and a timestamp that is not older than five minutes."""
    key = base64.b64decode(os.environ["SECRET"].removeprefix("whsec_"))
    signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    want = "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    is_fresh = abs(time.time() - int(headers["webhook-timestamp"])) < 300
    return is_fresh and hmac.compare_digest(want, headers["webhook-signature"])


def http(stream, code):
    lines = stream.makefile("rwb")
    if not lines.readline():
        return False
    headers = {}
    while line := lines.readline().decode().strip():
        name, value = line.split(":", 1)
        headers[name.lower()] = value.strip()
    body = lines.read(int(headers["content-length"]))
    lines.write(f"HTTP/1.1 {code} X\r\nContent-Length: 0\r\nConnection: close\r\n\r\n".encode())
    lines.flush()
    tell(id=headers["webhook-id"], signed=is_signed(headers, body), body=json.loads(body))
    return True


def smtp(stream, code, context):
    """As much of RFC 5321, 3207 and 4954 as it takes to get one mail."""
    said = {"to": [], "tls": False, "login": ""}
    lines = stream.makefile("rwb")

    def say(text):
        lines.write(f"{text}\r\n".encode())
        lines.flush()

    say("220 cellar")
    while line := lines.readline().decode().strip():
        word = line.split()[0].upper()
        if word == "EHLO":
            say("250-cellar\r\n250 " + ("AUTH PLAIN" if said["tls"] else "STARTTLS"))
        elif word == "STARTTLS":
            say("220 go on")
            stream = context.wrap_socket(stream, server_side=True)
            lines, said["tls"] = stream.makefile("rwb"), True
        elif word == "AUTH":
            said["login"] = base64.b64decode(line.split()[2]).decode()[1:].replace("\0", ":")
            say("235 welcome")
        elif word == "RCPT":
            said["to"].append(line.split("<")[1].split(">")[0])
            say("250 well")
        elif word == "DATA":
            say("354 go on")
            data = b""
            while (part := lines.readline()) not in (b".\r\n", b""):
                data += part.removeprefix(b".")
            mail = email.message_from_bytes(data, policy=email.policy.default)
            say(f"{code} it is")
            tell(subject=mail["subject"], id=mail["message-id"], text=mail.get_content(), **said)
        elif word == "QUIT":
            say("221 bye")
            return True
        else:
            say("250 well")
    return True


listener = socket.create_server(("127.0.0.1", 0))
context = certified() if has_tls else None
tell(port=listener.getsockname()[1])
while True:
    stream, _ = listener.accept()
    try:
        if kind == "smtp":
            is_done = smtp(stream, codes[0], context)
        else:
            stream = context.wrap_socket(stream, server_side=True) if context else stream
            is_done = http(stream, codes[0])
    except OSError:
        # A client that does not trust the certificate goes away.
        is_done = False
    if is_done and len(codes) > 1:
        codes.pop(0)
    stream.close()
