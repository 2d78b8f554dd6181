"""The floor pages of an enrolled tablet: the station's own queue, what is due, the lock, steps, photographs, and how much is suspect."""

from __future__ import annotations

import io
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from inspection.guide import SECONDS, Step, guide, reading_pace
from inspection.models import Batch, PullTest, Sample, VisualFinding
from inspection.photos import LONGEST_SIDE, bare_picture
from inspection.queries import sample_due
from records.acts.attachments import attachment_bytes
from records.gather.batch import batch_record
from records.keeping_models import Attachment
from records.models import LedgerEntry
from shop.finding import Refused
from shop.models import Station
from shop.models import Tablet as EnrolledTablet
from tests import factories
from tests.inspection.test_floor_pages import Tablet


@pytest.fixture
def tablet(client, cast):
    client.force_login(cast.operator)
    return Tablet(client)


@pytest.fixture
def station(catalogue):
    return Station.objects.get(code="S-01")


@pytest.fixture
def enrolled(tablet, cast, station):
    factories.make_tablet("T-01", station, cast.administrator, tablet.client)
    return tablet


@pytest.fixture
def measuring(running):
    return Sample.objects.filter(batch=running).get()


def leads(page):
    return [t.name for queue in page.context["page"]["station"].queues for t in queue.terminations]


# --- The queue of a station ------------------------------------------------------------------------------------------------------


def test_station_shows_what_is_made_there_and_all_stations_on_request(enrolled, cast, catalogue):
    other = factories.make_tool("AP-050")
    factories.make_row(other, catalogue.terminal, ("0.5", "1.5"), ("1.4", "2.6"))
    for lead, tool in (("X1", catalogue.tool), ("X2", other)):
        factories.released(cast, catalogue, lead=lead, tool=tool)
    assert leads(enrolled.open("station")) == ["X1/A"]
    assert sorted(leads(enrolled.open("station", all="1"))) == ["X1/A", "X2/A"]
    sheet = catalogue.customer.jobs.order_by("pk").last().sheets.get()
    assert leads(enrolled.open("station", sheet=sheet.number)) == ["X2/A"]


def test_tool_kind_and_press_bring_work_to_a_station(enrolled, cast, catalogue, station):
    factories.released(cast, catalogue, lead="X1")
    station.own_tools.clear()
    station.tool_kinds = "hand tool"
    station.save()
    assert leads(enrolled.open("station")) == []
    assert "Nothing is left to start at this station" in enrolled.text
    station.tool_kinds = "hand tool, applicator"
    station.save()
    assert leads(enrolled.open("station")) == ["X1/A"]
    station.tool_kinds, station.press = "", factories.make_press("PR-77")
    station.save()
    assert leads(enrolled.open("station")) == []
    station.press = None
    station.save()  # nothing said of what is worked there: everything is
    assert leads(enrolled.open("station")) == ["X1/A"]


def test_queue_keeps_one_set_up_together(tablet, cast, catalogue):
    for lead, setting in (("X1", catalogue.wire), ("X2", catalogue.wire_thick), ("X3", catalogue.wire)):
        if setting is catalogue.wire_thick:
            continue
        factories.released(cast, catalogue, lead=lead, wires=[setting])
    (queue,) = tablet.open("station").context["page"]["station"].queues
    (made,) = queue.set_ups
    assert [t.name for t in made.terminations] == ["X1/A", "X3/A"]
    assert made.pieces == sum(t.pieces_open for t in made.terminations)
    assert "one set-up for 2 lead ends" in tablet.text


def test_holds_stand_apart_with_their_reason_and_suspect_pieces(tablet, running):
    tablet.open("stop", running.number)
    tablet.send(reason="burr", at_count="42")
    page = tablet.open("station").context["page"]["station"]
    assert ([b.number for b in page.held], page.current) == ([running.number], [])
    assert "burr" in tablet.text
    assert "37 suspect pieces" in tablet.text


# --- Due -------------------------------------------------------------------------------------------------------------------------


def test_every_page_of_a_running_batch_says_when_a_sample_is_due(tablet, running):
    tablet.open("stop", running.number)
    assert "Next sample at 55 pieces" in tablet.text
    running.last_count = 56
    running.save(update_fields=["last_count"])
    page = tablet.open("stop", running.number).content.decode()
    assert 'class="due-bar is-due"' in page
    assert "1 piece over" in tablet.text
    running.last_count = 75
    running.save(update_fields=["last_count"])
    assert 'class="due-bar is-due is-overdue"' in tablet.open("stop", running.number).content.decode()


def test_sample_due_by_minutes_is_overdue_a_while_later(running):
    running.termination.sample_every_minutes = 60
    taken = Sample.objects.get().taken_at
    at = [sample_due(running, taken + timedelta(minutes=m)) for m in (59, 60, 74, 75)]
    assert [(due.now, due.is_overdue) for due in at] == [(False, False), (True, False), (True, False), (True, True)]


# --- Sign-on and lock ------------------------------------------------------------------------------------------------------------


def test_sign_on_says_what_the_person_is_qualified_for(client, cast):
    cast.operator.qualifications.filter(process="crimp").update(expires_on=factories.days(9))
    tablet = Tablet(client)
    tablet.open("station")
    tablet.page = client.post(reverse("make:sign-on"), {"identifier": cast.operator.badge, "secret": factories.PIN}, follow=True)
    assert "Crimp: 9 days left" in tablet.text.replace("crimp: 9", "Crimp: 9")
    assert "is qualified: " in tablet.text


def test_locked_tablet_answers_nothing_until_the_same_pin_comes(tablet, running, cast):
    client, stop = tablet.client, reverse("make:stop", args=[running.number])
    assert client.post(reverse("make:lock")).status_code == 204
    away = client.get(stop)
    assert away.headers["Location"].startswith(reverse("make:sign-on"))
    assert cast.operator.name in client.get(away.headers["Location"]).content.decode()
    entries = LedgerEntry.objects.count()
    sent = client.post(stop, {"reason": "burr", "at_count": "42", "act_key": "33333333-3333-4333-8333-333333333333"})
    assert sent.status_code == 302
    assert LedgerEntry.objects.count() == entries
    wrong = client.post(reverse("make:unlock"), {"secret": "111111"}, headers={"X-Unlock": "1"})
    assert wrong.status_code == 422
    assert "4 more tries" in wrong.content.decode()
    assert client.get(stop).status_code == 302
    assert client.post(reverse("make:unlock"), {"secret": factories.PIN}, headers={"X-Unlock": "1"}).status_code == 204
    assert client.get(stop).status_code == 200


def test_another_person_takes_over_a_locked_tablet(tablet, cast):
    client = tablet.client
    client.post(reverse("make:lock"))
    client.post(reverse("make:sign-on"), {"identifier": cast.quality.badge, "secret": factories.PIN})
    page = client.get(reverse("make:station"))
    assert page.status_code == 200
    assert page.context["person"] == cast.quality


def test_station_says_after_how_many_minutes_its_tablets_lock(enrolled, station, settings):
    settings.FLOOR_LOCK_MINUTES = 7
    assert 'data-after="420"' in enrolled.open("station").content.decode()
    station.idle_minutes = 2
    station.save()
    assert 'data-after="120"' in enrolled.open("station").content.decode()


# --- Steps -----------------------------------------------------------------------------------------------------------------------


def test_guide_marks_the_first_step_that_is_open_and_estimates_the_rest():
    steps = [
        Step("reading", "crimp height", 3, 3),
        Step("reading", "crimp width", 1, 3),
        Step("pull", "pull", 0, 2),
        Step("sign", "", 0, 1),
    ]
    found = guide(steps)
    assert found.present == 1
    assert found.seconds == 2 * SECONDS["reading"] + 2 * SECONDS["pull"] + SECONDS["sign"]
    assert guide([Step("sign", "", 1, 1)]).present == 1
    assert reading_pace([8, 9, 700, 10]) == 9  # somebody was called away once
    assert reading_pace([8, 9]) == SECONDS["reading"]


def test_question_shows_which_step_of_how_many(tablet, proven, hand):
    tablet.open("first-piece", proven.number)
    tablet.send(at_count="5")
    tablet.open("sample", proven.number, 1)
    assert "Step 1 of 8" in tablet.text
    lines = tablet.page.context["guide"].lines
    assert [line.state for line in lines] == ["now"] + ["open"] * 7
    assert (lines[0].name, lines[-1].name) == ("crimp height", "inspector")


# --- Photographs -----------------------------------------------------------------------------------------------------------------


def camera_picture(size=(3000, 2000), name="IMG_0042.jpg"):
    """As a camera makes it: turned on its side, with a place and a maker's note in it."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x013B] = 6, "camera maker", "somebody"
    exif.get_ifd(0x8825)[1] = "N"
    data = io.BytesIO()
    Image.new("RGB", size, (180, 90, 30)).save(data, "JPEG", exif=exif, comment=b"left bench")
    return SimpleUploadedFile(name, data.getvalue(), content_type="image/jpeg")


def test_photo_is_drawn_anew_without_what_the_camera_knew():
    kept = bare_picture(camera_picture().read(), 10**8)
    picture = Image.open(io.BytesIO(kept))
    assert max(picture.size) == LONGEST_SIDE
    assert picture.size[0] < picture.size[1]  # stood upright as it was seen
    assert dict(picture.getexif()) == {}
    assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for known in (b"camera maker", b"somebody", b"left bench", b"Exif"):
        assert known not in kept


@pytest.mark.parametrize("data", [b"", b"GIF89a,,,", b"%PDF-1.7 no picture", b"\xff\xd8\xff\xe0 broken", b"<svg xmlns='x'/>"])
def test_what_is_no_picture_is_refused(data):
    with pytest.raises(Refused) as refused:
        bare_picture(data, 10**6)
    assert [f.rule for f in refused.value.findings] == ["photo.unreadable"]


def test_picture_that_unpacks_to_too_much_is_refused():
    data = io.BytesIO()
    Image.new("1", (12_000, 9_000)).save(data, "PNG")
    with pytest.raises(Refused):
        bare_picture(data.getvalue(), 10**7)


@pytest.fixture
def first_piece(tablet, proven):
    tablet.open("first-piece", proven.number)
    tablet.send(at_count="5")
    return Sample.objects.get()


def test_photo_of_a_reject_stands_in_the_batch_and_its_record(tablet, first_piece):
    tablet.open("visual", first_piece.batch.number, 1)
    tablet.send(**{"visual.seam": "reject", "note-visual.seam": "open", "photo-visual.seam": camera_picture(), "all": "1"})
    photo = Attachment.objects.get()
    assert photo.file_name == f"{first_piece.batch.number}-sample-1-visual.seam.jpg"
    assert b"camera maker" not in attachment_bytes(photo)
    assert VisualFinding.objects.filter(accepted=False).count() == 1
    record = batch_record(Batch.objects.get())
    assert [(one["sha256"], one["title"]) for one in record["photos"]] == [(photo.sha256, photo.title)]
    page = tablet.client.get(reverse("prove:batch", args=[first_piece.batch.number])).content.decode()
    assert photo.file_name in page


def test_picture_that_is_none_refuses_the_whole_answer(tablet, first_piece):
    tablet.open("visual", first_piece.batch.number, 1)
    bad = SimpleUploadedFile("x.jpg", b"no picture", content_type="image/jpeg")
    page = tablet.send(**{"visual.seam": "reject", "note-visual.seam": "open", "photo-visual.seam": bad, "all": "1"})
    assert page.status_code == 422
    assert "no picture that can be read" in tablet.text
    assert not VisualFinding.objects.exists()
    assert "photos" not in batch_record(Batch.objects.get())


def test_photo_of_a_failed_pull_is_kept_with_its_force(tablet, first_piece):
    tablet.open("pull", first_piece.batch.number, 1, 1)
    tablet.send(text="40.0", unit="N", mode="pulled out", photo=camera_picture((400, 300)))
    assert PullTest.objects.get().mode == "pulled out"
    assert Attachment.objects.get().title == "Sample 1, pull test 1: 40.0 N, pulled out"


# --- Holds and signals -----------------------------------------------------------------------------------------------------------


def test_hold_shows_how_the_suspect_quantity_was_found(tablet, running):
    tablet.open("stop", running.number)
    tablet.send(reason="burr", at_count="42")
    assert "last good 5, stopped at 42: 42 − 5 = 37" in tablet.text
    tablet.open("decide", running.number)
    assert "42 − 5 = 37" in tablet.text


def test_help_of_each_step_stands_in_the_page_and_in_the_handbook(tablet, running):
    page = tablet.open("stop", running.number)
    assert "The pieces after the last good sample are suspect" in tablet.text
    assert 'href="/help/make/#step-stop"' in page.content.decode()
    handbook = tablet.client.get("/help/make/").content.decode()
    assert 'id="step-stop"' in handbook
    assert "The pieces after the last good sample are suspect" in handbook


def test_work_made_at_another_tablet_says_so(enrolled, running):
    enrolled.open("stop", running.number)
    enrolled.send(reason="burr", at_count="42")
    assert '"station":"S-01"' in LedgerEntry.objects.get(kind="hold.raised").text
    assert EnrolledTablet.objects.get().is_in_use
