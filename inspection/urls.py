"""Make: the pages at the press. Nobody signed on means badge and PIN, not the desk's sign-in."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.urls import URLPattern, path
from django.views.decorators.cache import never_cache

from inspection.pages import concluding, looking, running, samples, set_up, station, values

app_name = "make"


def floor(route: str, view: Callable[..., HttpResponse], name: str) -> URLPattern:
    """A floor page. It is never cached: stepping back must not bring up a form whose key was used."""
    return path(route, login_required(never_cache(view), login_url="make:sign-on"), name=name)


BATCH = "batch/<str:number>/"
SAMPLE = f"{BATCH}sample/<int:sample>/"

urlpatterns = [
    path("sign-on/", station.sign_on, name="sign-on"),
    path("sign-off/", station.sign_off, name="sign-off"),
    floor("", station.station, "station"),
    floor("find/", station.find, "find"),
    floor("start/<int:pk>/", station.start, "start"),
    floor(BATCH, station.batch, "batch"),
    floor(f"{BATCH}set-up/", set_up.set_up, "set-up"),
    floor(f"{BATCH}change/", set_up.change, "change"),
    floor(f"{BATCH}first-piece/", samples.begin_sample, "first-piece"),
    floor(f"{BATCH}sample/new/<str:kind>/", samples.begin_sample, "new-sample"),
    floor(SAMPLE, samples.sample_step, "sample"),
    floor(f"{SAMPLE}reading/<slug:characteristic>/<int:piece>/", values.reading, "reading"),
    floor(f"{SAMPLE}pull/<int:piece>/", values.pull, "pull"),
    floor(f"{SAMPLE}look/", looking.visual, "visual"),
    floor(f"{SAMPLE}cross-section/", looking.cross_section, "cross-section"),
    floor(f"{SAMPLE}correct/<str:what>/<int:pk>/", looking.correct, "correct"),
    floor(f"{SAMPLE}overview/", concluding.overview, "overview"),
    floor(f"{SAMPLE}inspector/", concluding.inspector, "inspector"),
    floor(f"{SAMPLE}turn-down/", concluding.turn_down, "turn-down"),
    floor(f"{BATCH}run/", running.run, "run"),
    floor(f"{BATCH}readings/", running.readings, "readings"),
    floor(f"{BATCH}stop/", running.stop, "stop"),
    floor(f"{BATCH}hold/", running.hold, "hold"),
    floor(f"{BATCH}decide/", running.decide, "decide"),
    floor(f"{BATCH}close/", running.close, "close"),
    floor(f"{BATCH}closed/", running.closed, "closed"),
]
