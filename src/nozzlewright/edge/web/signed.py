"""Short texts that go out with a page and come back: signed, so that only our own are believed."""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import os
import secrets
from pathlib import Path

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
    """Return the secret kept in a file; made there, readable by its owner alone, if missing."""
    try:
        made = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_bytes()
    secret = secrets.token_bytes(KEY_BYTES)
    with os.fdopen(made, "wb") as file:
        file.write(secret)
    return secret
