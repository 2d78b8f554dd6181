#!/usr/bin/env python
"""The command line of the quality record system."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    from django.core.management import execute_from_command_line  # noqa: PLC0415  # after the settings module is named

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
