"""What the screens of a job share: the job, its injector, who acts, photos that were sent."""

from __future__ import annotations

from fastapi import Request
from starlette.exceptions import HTTPException

from nozzlewright.edge.web import page
from nozzlewright.edge.web.texts import _
from nozzlewright.edge.wiring.photos import read_photo
from nozzlewright.errors import Fault, InputFault
from nozzlewright.records import EntryKind, InjectorStory, JobStory
from nozzlewright.workflow import Workshop


def shop_of(request: Request) -> Workshop:
    """Return the workshop."""
    shop: Workshop = request.app.state.workshop
    return shop


def story_of(request: Request, job: str) -> JobStory:
    """Return a job as it stands.

    Raises
    ------
    HTTPException
        404 where there is no such job.
    """
    try:
        return shop_of(request).story(job)
    except KeyError:
        raise HTTPException(404) from None


def injector_of(story: JobStory, injector: str) -> InjectorStory:
    """Return an injector that belongs to the engine of a job.

    Raises
    ------
    HTTPException
        404 where it does not.
    """
    one = story.injectors.get(injector)
    if one is None:
        raise HTTPException(404)
    return one


def who(request: Request) -> str:
    """Return who acts.

    Raises
    ------
    InputFault
        If nobody has said so.
    """
    name = page.here(request).who
    if not name:
        raise InputFault(
            Fault(
                _("nobody has said who is at this screen"),
                "",
                _("Say it in Settings (top right), then send this once more"),
            )
        )
    return name


def kept_photos(request: Request, form: page.Form, name: str = "photo") -> list[str]:
    """Keep the photos that came with a form; return their digests.

    Raises
    ------
    UploadFault
        If one cannot be opened: none is kept then.
    """
    photos = [read_photo(file.file.read(), name) for file in form.files.get(name, ())]
    keep = shop_of(request).evidence.keep
    return [keep(photo, "jpg") for photo in photos]


def photos_of(story: JobStory) -> list[str]:
    """Return the digests of all photos of a job that belong to no injector, the first one first."""
    booked = [one for one in story.standing.values() if one.kind is EntryKind.BOOKED_IN]
    digests = [digest for one in (*booked, *story.photos) for digest in one.evidence]
    return [digest for digest in dict.fromkeys(digests) if digest != booked[0].body.get("sheet")]
