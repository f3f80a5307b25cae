"""Whether the program answers: for scripts and for the page that waits for its return."""

from __future__ import annotations

from importlib.metadata import version

from fastapi import APIRouter
from starlette.responses import JSONResponse

router = APIRouter()


@router.get("/health", response_class=JSONResponse)
def health() -> dict[str, str]:
    """Return that it is up, and its version."""
    return {"status": "up", "version": version("nozzlewright")}
