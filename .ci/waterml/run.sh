#!/usr/bin/env bash
# flow.xml, read by the mapping of the standard's schemas (npm: ogc-schemas). Where the schemas themselves are at hand,
# xmllint would say more: the mapping does not hold elements to their order.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "waterml: skipped: $1"; exit 0; }
command -v node >/dev/null || skip "there is no node"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
(cd "$work" && npm install --silent --no-audit --no-fund jsonix ogc-schemas w3c-schemas) >/dev/null 2>&1 ||
	skip "ogc-schemas cannot be had"
cp .ci/waterml/mapping.js "$work"
go run ./cmd/retotal correct --quiet --waterml --out "$work/out" testdata/quarry-lane/site.toml
node "$work/mapping.js" "$work/out/quarry-lane/flow.xml"
sed 's/wml2:qualifier>/wml2:qualifer>/g' "$work/out/quarry-lane/flow.xml" > "$work/misspelt.xml"
if node "$work/mapping.js" "$work/misspelt.xml" >/dev/null; then
	echo "waterml: a misspelt element was not found"
	exit 1
fi
echo "waterml: the standard's mapping knows every element"
