"""Every address of the system. The apps above are included by name: the shop never imports them."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from shop.pages import signing_on

urlpatterns: list[URLPattern | URLResolver] = [
    path("", signing_on.home, name="home"),
    path("sign-in/", signing_on.sign_in, name="sign-in"),
    path("sign-out/", signing_on.sign_out, name="sign-out"),
    path("account/", signing_on.account, name="account"),
    path("account/secrets/", signing_on.choose_own_secrets, name="account-secrets"),
    path("account/display/", signing_on.choose_own_display, name="account-display"),
    path("healthz", signing_on.healthz, name="healthz"),
    path("plan/", include("shop.pages.plan_urls")),
    path("shop/", include("shop.pages.catalogue_urls")),
    path("make/", include("inspection.urls")),
    path("", include("records.urls")),  # prove/ and help/
    path("api/v1/", include("shop.api.urls")),
]
