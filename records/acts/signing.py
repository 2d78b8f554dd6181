"""Signing an issued document itself: behind the shop's seal, with a certificate for this one signature."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cryptography.hazmat.primitives.hashes import SHA256
from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.template.loader import render_to_string

from records.acts.documents import storage_name, stored_pdf
from records.document_signatures import DocumentSignature
from records.documents_html import asset_root
from records.events import DocumentSigned
from records.models import IssuedDocument
from records.one_use_key import one_use_key
from records.pdf import draw_paper
from records.seal import NoTimeStamp, NotSealable, sign_pdf
from records.shop_key import load_people_key
from records.signing_places import HEIGHT_MM, WIDTH_MM, SignPlace, place_in, places_of
from records.stamping import stamping
from shop.canonical import sha256_hex
from shop.events import Signing, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.people import Person
from shop.sign_on import signing_findings
from shop.templatetags.shop import moment


def meaning_of(place: SignPlace) -> str:
    """What the signature says, for `shop.sign_on.sign`."""
    return f"document {place.meaning}"


@dataclass(frozen=True, slots=True)
class SignedState:
    """A document with who has signed it. sha256: of the file as it is now. next_place: the first that is free behind the last signature."""

    document: IssuedDocument
    signatures: tuple[DocumentSignature, ...]

    @property
    def sha256(self) -> str:
        return self.signatures[-1].sha256 if self.signatures else self.document.sha256

    def open_places(self) -> list[tuple[int, SignPlace]]:
        """What can still be signed: the places behind the last one used, with their numbers on paper."""
        numbered = list(enumerate(places_of(self.document.kind), 1))
        used = {one.meaning for one in self.signatures}
        last = max((number for number, place in numbered if place.meaning in used), default=0)
        return [(number, place) for number, place in numbered if number > last]

    def place_for(self, person: Person) -> tuple[int, SignPlace] | None:
        """What this person may sign next, None for nothing: the first open place of a role of theirs, if they have not signed before."""
        if not person.is_active or any(one.person_id == person.pk for one in self.signatures):
            return None
        return next(((n, place) for n, place in self.open_places() if not place.roles.isdisjoint(person.roles)), None)


def signed_state(document: IssuedDocument) -> SignedState:
    rows = DocumentSignature.objects.filter(document=document).select_related("person").order_by("number")
    return SignedState(document, tuple(rows))


def current_bytes(document: IssuedDocument) -> bytes:
    """The file with every signature on it so far. Raises Refused for one that is missing, disposed of, or lost its hash."""
    return _bytes(document, signed_state(document).sha256)


def _bytes(document: IssuedDocument, sha256: str) -> bytes:
    return stored_pdf(document, sha256)


def _findings(state: SignedState, place: SignPlace, by: Person) -> list[Finding]:
    document, found = state.document, []
    if not by.is_active or place.roles.isdisjoint(by.roles):
        deed = f"sign “{place.meaning}” on documents"
        found.append(misfit("person.role", deed=deed, person=by.name, roles=", ".join(sorted(place.roles))))
    if place.meaning in {one.meaning for one in state.signatures}:
        found.append(misfit("document.signed", number=str(document), meaning=place.meaning))
    elif place.meaning not in {one.meaning for _number, one in state.open_places()}:
        found.append(misfit("document.order", number=str(document), meaning=place.meaning))
    if any(one.person_id == by.pk for one in state.signatures):
        found.append(misfit("document.second", number=str(document), person=by.name))
    if (later := IssuedDocument.objects.filter(number=document.number, issue__gt=document.issue).order_by("-issue").first()) is not None:
        found.append(misfit("document.superseded", number=str(document), later=str(later)))
    return found


def sign_document(
    *, document: IssuedDocument, meaning: str, by: Person, at: datetime, signing: Signing, seen_sha256: str
) -> DocumentSignature:
    """Put a person's signature on a document. meaning: of one of its places. seen_sha256: of the file as it was shown.

    The file is made before the transaction: making the key takes a moment, and the shop floor does not wait for it.
    """
    number, place = next(((n, one) for n, one in enumerate(places_of(document.kind), 1) if one.meaning == meaning), (0, None))
    if place is None:
        raise Refused([misfit("document.meaning", "meaning", number=str(document), meaning=meaning or "–")])
    refuse_if(signing_findings(signing, by, meaning_of(place)))
    state = signed_state(document)
    refuse_if(_findings(state, place, by))
    before = state.sha256
    if before != seen_sha256:
        raise Refused([misfit("sign.stale")])
    pdf = _bytes(document, before)
    where = place_in(pdf, number)
    if where is None:
        raise Refused([misfit("document.no_place", number=str(document))])
    key = one_use_key(
        load_people_key(settings.SHOP_KEY_DIR, settings.SHOP_KEY_PASSPHRASE or None),
        name=by.name,
        username=by.username,
        shop=settings.SHOP_NAME,
        at=at,
    )
    try:
        signed = sign_pdf(
            pdf,
            person=key,
            at=at,
            reason=place.meaning,
            name=by.name,
            place=where,
            appearance=_look(place, by, at, signing),
            stamping=stamping(),
        )
    except (NotSealable, NoTimeStamp) as error:
        raise Refused([misfit("document.key", reason=str(error))]) from error
    sha256 = sha256_hex(signed)
    name = storage_name(sha256)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(signed))
    with transaction.atomic():
        IssuedDocument.objects.select_for_update().get(pk=document.pk)
        now_there = signed_state(document)
        if now_there.sha256 != before:
            raise Refused([misfit("sign.stale")])
        row = DocumentSignature.objects.create(
            document=document,
            number=len(now_there.signatures) + 1,
            meaning=place.meaning,
            person=by,
            printed_name=by.name,
            signed_at=at,
            sha256=sha256,
            size=len(signed),
            certificate_sha256=key.certificate.fingerprint(SHA256()).hex(),
        )
        content = {
            "number": document.number,
            "issue": document.issue,
            "meaning": place.meaning,
            "file_sha256": before,
            "signed_sha256": sha256,
            "certificate_sha256": row.certificate_sha256,
        }
        publish(DocumentSigned(by=by, at=at, subject=("document", document.pk, str(document)), content=content, signing=signing))
    return row


def _look(place: SignPlace, by: Person, at: datetime, signing: Signing) -> bytes:
    context = {
        "name": by.name,
        "word": place.word,
        "at": moment(at),
        "how": signing.how,
        "shop": settings.SHOP_NAME,
        "width": f"{WIDTH_MM:g}",
        "height": f"{HEIGHT_MM:g}",
        "language": settings.LANGUAGE_CODE,
    }
    return draw_paper(render_to_string("documents/signature_look.html", context), asset_root=asset_root())
