"""Headers that every answer on the network carries."""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path

from dashboard.frame import FILES, WHERE_SERVED

_OUR_SCRIPT = Path(__file__).parent.parent / "navigate.js"
_FRAME = FILES / "index.html"
_INLINE = re.compile(r"<script>(.*?)</script>", re.DOTALL)


def security_headers(authority: str) -> dict[str, str]:
    """What browsers are told to keep to on pages reached at a host and port."""
    return {
        "content-security-policy": content_policy(authority),
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
        "referrer-policy": "same-origin",
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
    }


def content_policy(authority: str) -> str:
    """Everything from this server alone, and of scripts in pages only those that we know.

    Styles in pages stay allowed, since Streamlit sets them; charts are drawn from expressions
    that are compiled, which needs ``unsafe-eval``.
    """
    inline = [_OUR_SCRIPT.read_text(encoding="utf-8"), WHERE_SERVED]
    inline += _INLINE.findall(_FRAME.read_text(encoding="utf-8"))
    known = " ".join(f"'sha256-{_sha256(script)}'" for script in inline)
    parts = {
        "default-src": "'self'",
        "script-src": f"'self' 'unsafe-eval' {known}",
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "media-src": "'self' data: blob:",
        "connect-src": f"'self' wss://{authority}",
        "worker-src": "'self' blob:",
        "object-src": "'none'",
        "base-uri": "'self'",
        "form-action": "'self'",
        "frame-src": "'none'",
        "frame-ancestors": "'none'",
    }
    return "; ".join(f"{name} {value}" for name, value in parts.items())


def _sha256(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
