"""What the queue's worker does for inspection."""

from __future__ import annotations

from datetime import datetime

from django_tasks import task

from inspection.wearing import keep_forecast
from shop.tools import Tool


@task()
def forecast_tool_wear(tool: int, at: str) -> None:
    """After a batch: how long the tool's crimp height stays within its limits."""
    keep_forecast(Tool.objects.get(pk=tool), datetime.fromisoformat(at))
