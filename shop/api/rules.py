"""The words of what only the API can refuse: a request that cannot be read, an address, a method, a token."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

RULES: dict[str, RuleText] = {
    "api.body": RuleText(
        title=_("Body of the request"),
        misfit=_("The body cannot be read: {reason}."),
        expected=_("JSON in UTF-8: one object, each name once, every number finite; or the format the schema names."),
        next_step=_("Correct the body and send it again."),
    ),
    "api.field": RuleText(
        title=_("Unknown field"),
        misfit=_("{name} is not a field of this request."),
        expected=_("Fields: {fields}."),
        next_step=_("Correct or remove the field; nothing is silently ignored."),
    ),
    "api.signed_in": RuleText(
        title=_("Signed in"),
        misfit=_("Nobody is signed in, or the token is not valid any more."),
        expected=_("A token, or the session of a signed-in person."),
        next_step=_("Get a token with user name or badge and password or PIN, and send it in the header as “Authorization: Token …”."),
    ),
    "api.forbidden": RuleText(
        title=_("Not permitted"),
        misfit=_("The request is not permitted: {reason}"),
        next_step=_("With a session, send the CSRF token in the header X-CSRFToken; programs use a token instead."),
    ),
    "api.not_found": RuleText(
        title=_("Not found"),
        misfit=_("There is nothing at this address."),
        expected=_("The addresses are listed in the schema; each ends with a slash."),
        next_step=_("Check the address and the number in it."),
    ),
    "api.method": RuleText(
        title=_("Method"),
        misfit=_("{method} does not belong to this address."),
        expected=_("One of: {allowed}."),
        next_step=_("Look the operation up in the schema."),
    ),
    "api.accept": RuleText(
        title=_("Format of the answer"),
        misfit=_("The answer cannot be given in a format that the request accepts."),
        expected=_("One of: {offered}."),
        next_step=_("Correct the header Accept, or leave it out."),
    ),
    "api.media_type": RuleText(
        title=_("Format of the body"),
        misfit=_("A body of type {media_type} is not read here."),
        expected=_("One of: {read}."),
        next_step=_("Correct the header Content-Type."),
    ),
    "api.too_large": RuleText(
        title=_("Size of the body"),
        misfit=_("The body is too large."),
        expected=_("At most {limit} MB."),
        next_step=_("Send it in parts."),
    ),
    "api.request": RuleText(
        title=_("Request"),
        misfit=_("The request cannot be read: {reason}"),
        next_step=_("Correct it and send it again."),
    ),
    "api.busy": RuleText(
        title=_("Database busy"),
        misfit=_("The database does not answer at the moment."),
        next_step=_("Send the same request again in {seconds} seconds, with the same key."),
    ),
    "api.unexpected": RuleText(
        title=_("Unforeseen"),
        misfit=_("Something went wrong that nobody foresaw. It is noted in the server's log."),
        next_step=_("Look whether the act was done before sending it again, and tell the administrator the time."),
    ),
}
