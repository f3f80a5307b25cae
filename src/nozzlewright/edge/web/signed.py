"""Short texts that go out with a page and come back: signed, so that only our own are believed."""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import os
import secrets
from contextlib import suppress
from pathlib import Path

from nozzlewright.edge.store.files import new_file
from nozzlewright.errors import Fault, InputFault
from nozzlewright.said import say

KEY_BYTES = 32


class Signer:
    """Signs texts with the store's secret (HMAC-SHA-256, RFC 2104), each for one purpose."""

    def __init__(self, secret: bytes) -> None:
        if len(secret) < KEY_BYTES:
            raise ValueError(f"a secret needs {KEY_BYTES} bytes, not {len(secret)}")
        self._secret = secret

    def mark(self, purpose: str, text: str) -> str:
        """Return the signature of a text for a purpose."""
        message = f"{purpose}\0{text}".encode()
        return _plain(hmac.digest(self._secret, message, hashlib.sha256))

    def is_mark(self, purpose: str, text: str, mark: str) -> bool:
        """Tell whether a signature is that of the text, in a time that betrays nothing."""
        return hmac.compare_digest(self.mark(purpose, text).encode(), mark.encode())

    def seal(self, purpose: str, text: str) -> str:
        """Return a text with its signature, in letters that a cookie can hold."""
        return f"{_plain(text.encode())}.{self.mark(purpose, text)}"

    def unseal(self, purpose: str, sealed: str) -> str | None:
        """Return the text of what was sealed for this purpose; None where it is not ours."""
        body, _, mark = sealed.partition(".")
        try:
            padding = "=" * (-len(body) % 4)
            text = base64.urlsafe_b64decode(body.encode("ascii") + padding.encode()).decode()
        except (binascii.Error, ValueError):
            return None
        return text if self.is_mark(purpose, text, mark) else None


def _plain(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode("ascii")


def secret_of(path: Path) -> bytes:
    """Return the secret kept in a file; made there, readable by its owner alone, if missing.

    A file that was cut off as it was made is made anew: what was signed by it is asked for again.

    Raises
    ------
    InputFault
        If the file cannot be read or made.
    """
    try:
        for _again in range(2):
            with suppress(FileNotFoundError):
                if len(secret := path.read_bytes()) >= KEY_BYTES:
                    return secret
                path.unlink()
            draft = path.with_name(f".{path.name}-{secrets.token_hex(8)}")
            try:
                with new_file(draft) as file:
                    file.write(secrets.token_bytes(KEY_BYTES))
                _put_in_place(draft, path)
            finally:
                draft.unlink(missing_ok=True)
        return path.read_bytes()
    except OSError as fault:
        raise InputFault(
            Fault(
                say("it cannot be read or made ({why})", why=fault.strerror or str(fault)),
                str(path),
                say("See that the folder and its files are yours to read and write"),
            )
        ) from fault


def _put_in_place(draft: Path, path: Path) -> None:
    """Give a file its name where nobody else was quicker."""
    try:
        os.link(draft, path)
    except FileExistsError:
        pass
    except OSError:  # a file system without second names
        draft.rename(path)
