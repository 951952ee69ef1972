"""A small mail server on this computer, after RFC 5321, that keeps what it is handed."""

import base64
import contextlib
import email
import email.policy
import socketserver
import ssl
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from email.message import EmailMessage


@dataclass
class PostOffice:
    """What came in, and how it answers."""

    port: int = 0
    mails: list[EmailMessage] = field(default_factory=list)
    recipients: list[list[str]] = field(default_factory=list)
    logins: list[tuple[str, str]] = field(default_factory=list)
    said: list[str] = field(default_factory=list)  # every line of a client
    answers: dict[str, str] = field(default_factory=dict)  # other answers, by a line's beginning
    offers: list[str] = field(default_factory=lambda: ["AUTH PLAIN", "8BITMIME"])
    context: ssl.SSLContext | None = None  # for STARTTLS, or for all if `encrypted`
    encrypted: bool = False


class _Client(socketserver.StreamRequestHandler):
    office: PostOffice

    def handle(self) -> None:
        with contextlib.suppress(OSError):  # it went away
            self._serve()

    def _say(self, *lines: str) -> None:
        for at, line in enumerate(lines):
            between = "-" if at < len(lines) - 1 else " "
            self.wfile.write(f"{line[:3]}{between}{line[4:]}\r\n".encode())

    def _serve(self) -> None:
        office, to = self.office, []
        if office.encrypted:
            self._encrypt()
        self._say("220 post office")
        while line := self.rfile.readline().decode().rstrip("\r\n"):
            office.said.append(line)
            word = line.split()[0].upper()
            other = [answer for begin, answer in office.answers.items() if line.startswith(begin)]
            if other:
                self._say(*other)
            elif word == "EHLO":
                self._say("250 here", *(f"250 {offer}" for offer in office.offers))
            elif word == "STARTTLS":
                self._say("220 go on")
                self._encrypt()
            elif word == "AUTH":
                _, user, password = base64.b64decode(line.split()[2]).decode().split("\0")
                office.logins.append((user, password))
                self._say("235 welcome")
            elif word == "RCPT":
                to.append(line.split("<", 1)[1].split(">", 1)[0])
                self._say("250 fine")
            elif word == "DATA":
                self._say("354 go on")
                body = b""
                while (read := self.rfile.readline()) not in (b".\r\n", b""):
                    body += read.removeprefix(b".")
                office.mails.append(email.message_from_bytes(body, policy=email.policy.default))
                office.recipients.append(to)
                to = []
                self._say("250 taken")
            elif word == "QUIT":
                self._say("221 bye")
                return
            else:
                self._say("250 fine")

    def _encrypt(self) -> None:
        assert self.office.context is not None
        self.connection = self.office.context.wrap_socket(self.connection, server_side=True)
        self.rfile = self.connection.makefile("rb")
        self.wfile = self.connection.makefile("wb", buffering=0)

    def finish(self) -> None:
        for each in (self.wfile, self.rfile, self.connection):
            with contextlib.suppress(OSError):
                each.close()


@contextlib.contextmanager
def post_office(**how: object) -> Iterator[PostOffice]:
    """Open a post office until the block ends."""
    office = PostOffice(**how)  # type: ignore[arg-type]  # as the test writes them
    client = type("Client", (_Client,), {"office": office})
    with socketserver.TCPServer(("127.0.0.1", 0), client) as server:
        office.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield office
        finally:
            server.shutdown()
            thread.join()
