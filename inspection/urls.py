"""Make: the pages at the press. Nobody signed on means badge and PIN, not the desk's sign-in."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.urls import URLPattern, path
from django.views.decorators.cache import never_cache

from inspection.pages import concluding, enrolling, looking, offline, reacting, running, samples, set_up, station, values
from inspection.pages.enrolling import at_tablet

app_name = "make"


def floor(route: str, view: Callable[..., HttpResponse], name: str, *, takes_locked: bool = False) -> URLPattern:
    """A floor page. It is never cached: stepping back must not bring up a form whose key was used."""
    return path(route, at_tablet(login_required(never_cache(view), login_url="make:sign-on"), takes_locked=takes_locked), name=name)


BATCH = "batch/<str:number>/"
SAMPLE = f"{BATCH}sample/<int:sample>/"

urlpatterns = [
    path("enrol/", enrolling.enrol, name="enrol"),
    path("enrol/not/", enrolling.go_on_without, name="enrol-not"),
    path("sign-on/", at_tablet(station.sign_on, takes_locked=True), name="sign-on"),
    path("lock/", station.lock, name="lock"),
    path("unlock/", station.unlock, name="unlock"),
    path("sign-off/", station.sign_off, name="sign-off"),
    floor("", station.station, "station"),
    floor("find/", station.find, "find"),
    path("offline/", offline.offline, name="offline"),
    floor("pack/", offline.pack, "pack", takes_locked=True),
    floor("acts/", offline.acts, "acts", takes_locked=True),
    floor("undecided/", offline.undecided, "undecided"),
    floor("undecided/<int:pk>/", offline.decide_act, "undecided-act"),
    floor("confirm/", offline.confirm, "confirm"),
    floor("confirm/<int:pk>/", offline.confirm_one, "confirm-one"),
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
    floor(f"{BATCH}reaction/", reacting.reaction, "reaction"),
    floor(f"{BATCH}stop/", running.stop, "stop"),
    floor(f"{BATCH}hold/", running.hold, "hold"),
    floor(f"{BATCH}decide/", running.decide, "decide"),
    floor(f"{BATCH}close/", running.close, "close"),
    floor(f"{BATCH}closed/", running.closed, "closed"),
]
