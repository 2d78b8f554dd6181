"""An auditor walks through everything and is offered nothing that would be refused."""

from __future__ import annotations

import html
import re
from urllib.parse import urljoin, urlsplit

from django.db import connection
from django.test.utils import CaptureQueriesContext

from records.models import LedgerEntry
from shop.saved_searches import SavedSearch

FORM = re.compile(r'<form\b[^>]*method="post"[^>]*>', re.IGNORECASE)
ACTION = re.compile(r'action="([^"]*)"')
LINK = re.compile(r'href="([^"#]+)"')
MAY_POST = re.compile(
    r"^/(sign-out/|language/|make/sign-off/|make/unlock/|make/enrol/.*|account/.*|saved/.*"  # their session, tablet, account and questions
    r"|prove/issue/.*|prove/trail/.*/issue/|prove/calibration/issue/|prove/evidence/.*"  # documents and evidence, which they may
    r"|prove/documents/[^/]+/\d+/|shop/people/\d+/stand-ins/.*)$"  # holding a file against a document writes nothing; their own deputy
)
MOST = 400


def addresses(text, page):
    found = (html.unescape(link) for link in LINK.findall(text))
    return {urlsplit(urljoin(page, link)).path for link in found if not link.startswith(("http", "mailto:", "data:"))}


def test_auditor_is_offered_no_button_that_is_refused(signed_in, cast, shipment, shop_key):
    client = signed_in(cast.auditor)
    SavedSearch.objects.create(
        owner=cast.auditor, name="All", address="/prove/?number=j", path="/prove/", saved_at=shipment.shipped_at, position=1
    )
    entries, waiting, seen, kinds = LedgerEntry.objects.count(), ["/", "/prove/", "/saved/"], set(), {}
    offered = []

    while waiting and len(seen) < MOST:
        page = waiting.pop(0)
        if page in seen:
            continue
        seen.add(page)
        # Two of a kind stand for all of them.
        kind = re.sub(r"\d+|[A-Z]+-[\w-]+", "*", page)
        kinds[kind] = kinds.get(kind, 0) + 1
        if kinds[kind] > 2 or page.startswith(("/static/", "/help/", "/api/")):
            continue
        answer = client.get(page, follow=True)
        assert answer.status_code in (200, 403, 404, 405), page
        if answer.status_code == 403:
            offered.append((page, "a link to a page that is refused"))
        if answer.status_code != 200 or not answer.headers["Content-Type"].startswith("text/html"):
            continue
        text = answer.content.decode()
        for form in FORM.findall(text):
            action = ACTION.search(form)
            target = urlsplit(urljoin(page, html.unescape(action[1]) if action else page)).path
            if not MAY_POST.match(target):
                offered.append((page, target))
        waiting += sorted(addresses(text, page) - seen)

    assert offered == []
    assert len(seen) > 60
    assert LedgerEntry.objects.count() == entries


def test_reading_writes_looks_only(signed_in, cast, shipment):
    client = signed_in(cast.auditor)
    client.get("/prove/")

    with CaptureQueriesContext(connection) as queries:
        client.get("/prove/shipment/SH-1/")

    written = [one["sql"] for one in queries if one["sql"].lstrip().partition(" ")[0] in ("INSERT", "UPDATE", "DELETE")]
    # The session's age counts from the last touch.
    assert [sql for sql in written if "django_session" not in sql and "shop_look" not in sql] == []
