"""Files as a form of the page sends them."""

from __future__ import annotations

from typing import Any

EDGE = "melodexedge"


def sent_file(
    running: Any,
    path: str,
    field: str,
    name: str,
    content: bytes,
    accept: str = "text/html",
    **more: str,
) -> Any:
    """Send a file as a form of ours does; the status, the headers and the answer."""
    parts = [
        f'--{EDGE}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n'.encode()
        + f"{value}\r\n".encode()
        for key, value in more.items()
    ]
    head = (
        f'--{EDGE}\r\nContent-Disposition: form-data; name="{field}"; filename="{name}"\r\n'
        "Content-Type: application/octet-stream\r\n\r\n"
    )
    body = b"".join(parts) + head.encode() + content + f"\r\n--{EDGE}--\r\n".encode()
    return running.ask(
        path,
        method="POST",
        body=body,
        Origin=running.base,
        Sec_Fetch_Site="same-origin",
        Content_Type=f"multipart/form-data; boundary={EDGE}",
        Accept=accept,
    )
