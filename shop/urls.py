"""Every address of the system. The apps above are included by name: the shop never imports them."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, URLResolver, include, path
from django.views.i18n import set_language

from shop.pages import saved, signing_on, web_app

urlpatterns: list[URLPattern | URLResolver] = [
    path("", signing_on.home, name="home"),
    path("sign-in/", signing_on.sign_in, name="sign-in"),
    path("sign-out/", signing_on.sign_out, name="sign-out"),
    path("account/", signing_on.account, name="account"),
    path("account/secrets/", signing_on.choose_own_secrets, name="account-secrets"),
    path("account/display/", signing_on.choose_own_display, name="account-display"),
    path("language/", login_not_required(set_language), name="set_language"),
    path("saved/", saved.saved, name="saved"),
    path("saved/save/", saved.save, name="saved-save"),
    path("saved/<int:pk>/", saved.change, name="saved-change"),
    path("saved/<int:pk>/delete/", saved.delete, name="saved-delete"),
    path("healthz", signing_on.healthz, name="healthz"),
    path("sw.js", web_app.worker, name="worker"),
    path("manifest.webmanifest", web_app.manifest, name="manifest"),
    path("plan/", include("shop.pages.plan_urls")),
    path("shop/", include("shop.pages.catalogue_urls")),
    path("make/", include("inspection.urls")),
    path("studies/", include("inspection.study_urls")),
    path("", include("records.urls")),  # prove/ and help/
    path("api/v1/", include("shop.api.urls")),
]
