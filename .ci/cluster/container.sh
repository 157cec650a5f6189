#!/usr/bin/env bash
# The container recipe, built by Debian's buildah without a network, and a batch run from it by the user that it names,
# compared byte for byte with the batch of the program outside. Needs root and buildah.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "container: skipped: $1"; exit 0; }
[ "$(id -u)" = 0 ] || skip "not root"
if ! command -v buildah >/dev/null; then
	(apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends buildah) \
		>/dev/null 2>&1 || skip "buildah cannot be had"
fi

work=$(mktemp -d)
chmod 755 "$work"
box() { buildah --storage-driver vfs --root "$work/store" --runroot "$work/run" "$@"; }
trap 'box rm --all >/dev/null 2>&1 || true; rm -rf "$work"' EXIT

CGO_ENABLED=0 go build -trimpath -o "$work/retotal" ./cmd/retotal
mkdir -p "$work/data/sites" "$work/cmd/retotal/cluster"
go run ./.ci/cluster/sites "$work/data/sites" 4
cp cmd/retotal/cluster/Containerfile "$work/cmd/retotal/cluster"
(cd "$work" && box bud --quiet --isolation chroot -t retotal:0.1.0 -f cmd/retotal/cluster/Containerfile .) >/dev/null
container=$(box from retotal:0.1.0)
inside() { box run --isolation chroot --volume "$work/data:/data" "$container" -- /retotal "$@"; }
inside --version
inputs="--template /data/sites/template.toml --table /data/sites/sites.csv"
if inside batch -q --out /data/results $inputs 2>/dev/null; then
	echo "container: it runs as root, which may write where its user may not"
	exit 1
fi
chown 65532:65532 "$work/data"
inside batch -q --out /data/results $inputs
"$work/retotal" batch -q --out "$work/data/whole" --template "$work/data/sites/template.toml" --table \
	"$work/data/sites/sites.csv"
diff -r "$work/data/results" "$work/data/whole"
echo "container: a batch from the image is byte for byte that of the program outside"
