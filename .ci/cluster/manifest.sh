#!/usr/bin/env bash
# The manifest of an indexed job, held to the schema that Kubernetes publishes of its kind, with every key that this does
# not know refused. The schema comes with the module of kubectl-validate, whose program is not built; ajv holds the
# manifest to it.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "manifest: skipped: $1"; exit 0; }
command -v node >/dev/null || skip "there is no node"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
(cd "$work" && npm install --silent --no-audit --no-fund ajv@8 yaml@2) >/dev/null 2>&1 || skip "ajv and yaml cannot be had"
module=$(cd "$work" && go mod download -json sigs.k8s.io/kubectl-validate@v0.0.4 2>/dev/null) ||
	skip "the schemas cannot be had"
folder=$(printf '%s\n' "$module" | sed -n 's/^.*"Dir": "\(.*\)".*$/\1/p')
schemas=$(find "$folder" -path '*/1.30/apis/batch/v1.json')
[ -n "$schemas" ] || { echo "manifest: the module holds no schema of batch/v1"; exit 1; }

job=cmd/retotal/cluster/job.yaml
cp .ci/cluster/manifest.mjs "$work"
held() { node "$work/manifest.mjs" "$schemas" "$1"; }
held "$job"

# What the schema does not know is refused, and so is a value of another kind: a misspelt key at the top, one deep
# within, a number as text, and a list in place of a text.
# refused WHAT SED
refused() {
	sed "$2" "$job" > "$work/wrong.yaml"
	if cmp -s "$job" "$work/wrong.yaml"; then echo "manifest: $1: the manifest is as it was"; exit 1; fi
	if held "$work/wrong.yaml" > "$work/said" 2>&1; then echo "manifest: $1 passes"; exit 1; fi
	sed "s|$work/||; s|^|refused, $1: |" "$work/said"
}
refused "a misspelt key" 's/completionMode:/completionsMode:/'
refused "a misspelt key deep within" 's/readOnlyRootFilesystem:/readonlyRootFilesystem:/'
refused "a number as text" 's/completions: 8$/completions: "8"/'
refused "a number in place of a text" 's/value: "8"/value: 8/'
echo "manifest: $job fits the schema of its kind in Kubernetes 1.30"
