"""The run rules in words: what each looks for, for pages and documents. Lengths are those a chart was frozen with."""

from __future__ import annotations

from django.utils.translation import gettext as _

from inspection.process.run_rules import Pattern, Rule


def rule_words(rule: Rule) -> str:
    """ "nine in a row on one side of the centre line"."""
    count, of, sigmas = rule.count, rule.of, f"{rule.sigmas:g}"
    match rule.pattern:
        case Pattern.LIMIT:
            return _("a point beyond a control limit")
        case Pattern.SIDE:
            return _("{count} in a row on one side of the centre line").format(count=count)
        case Pattern.TREND:
            return _("{count} in a row steadily rising or falling").format(count=count)
        case Pattern.ALTERNATING:
            return _("{count} in a row alternating up and down").format(count=count)
        case Pattern.BEYOND:
            return _("{count} of {of} beyond {sigmas} sigma on the same side").format(count=count, of=of, sigmas=sigmas)
        case Pattern.INSIDE:
            return _("{count} in a row within {sigmas} sigma").format(count=count, sigmas=sigmas)
        case Pattern.OUTSIDE:
            return _("{count} in a row beyond {sigmas} sigma, on either side").format(count=count, sigmas=sigmas)


def rule_name(code: str) -> str:
    """ "Nelson 2", "Western Electric 4"."""
    family, _dot, number = code.partition(".")
    return f"{'Nelson' if family == 'nelson' else 'Western Electric'} {number}"
