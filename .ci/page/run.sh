#!/usr/bin/env bash
# The page of a report, and the explorer in it, in a browser: that it draws, zooms, selects and copies, says nothing on the console, asks for
# nothing but its own file, fits a phone, and that axe-core (npm) finds nothing serious in it. EXPLORER_PICTURES names a
# folder for pictures of it; AXE the script of axe-core, where there is one already.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "page: skipped: $1"; exit 0; }
browser=
for name in google-chrome chromium chromium-browser headless-shell; do
	if command -v "$name" >/dev/null; then browser=$name; break; fi
done
[ -n "$browser" ] || skip "there is no Chromium"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
if [ -z "${AXE:-}" ]; then
	if command -v npm >/dev/null && (cd "$work" && npm install --silent --no-audit --no-fund axe-core) >/dev/null 2>&1; then
		export AXE=$work/node_modules/axe-core/axe.min.js
	else
		echo "page: axe-core cannot be had, so access is not tried"
	fi
fi
go test -tags browser -run Browser ./report/explore ./report/results
echo "page: the explorer holds in $browser"
