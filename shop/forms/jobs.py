"""Forms of customers and jobs."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.forms.fields import CountField, DayField, KeyField
from shop.forms.item import ItemForm
from shop.jobs import Customer, Job


class CustomerForm(ItemForm):
    class Meta:
        model = Customer
        fields = ["code", "name"]


class JobForm(ItemForm):
    customer = KeyField(Customer, "code", label=_("Customer"), help_text=_("The customer's code."))
    quantity = CountField(label=_("Harnesses ordered"))
    due_on = DayField(label=_("Due"), required=False)

    groups = (
        (_("Job"), ("number", "customer", "purchase_order", "quantity", "due_on")),
        (_("Harness"), ("part_number", "part_name", "drawing", "drawing_revision")),
    )

    class Meta:
        model = Job
        fields = [
            "number",
            "customer",
            "purchase_order",
            "part_number",
            "part_name",
            "drawing",
            "drawing_revision",
            "quantity",
            "due_on",
        ]
