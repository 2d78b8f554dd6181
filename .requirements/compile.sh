#!/bin/sh
# Pin every dependency with its hashes for all supported Pythons and platforms, and without the address of any index.
set -eu
cd "$(dirname "$0")/.."
common="--universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-emit-find-links --no-header --no-annotate --quiet"
# shellcheck disable=SC2086  # the options are meant to be split
uv pip compile $common pyproject.toml -o .requirements/run.txt "$@"
# shellcheck disable=SC2086
uv pip compile $common pyproject.toml --extra test -c .requirements/run.txt -o .requirements/test.txt "$@"
