#!/usr/bin/env bash
# The tables of a batch, read by programs that know nothing of it: sites whose logs hold other quantities, in one glob
# without options, by DuckDB and Polars (npm). Debian's pandas reads no Parquet; where python3 has pandas and pyarrow, it
# reads them too.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "lake: skipped: $1"; exit 0; }
command -v node >/dev/null || skip "there is no node"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
if [ -d "${LAKE_MODULES:-}" ]; then
	ln -s "$LAKE_MODULES" "$work/node_modules"
else
	(cd "$work" && npm install --silent --no-audit --no-fund @duckdb/node-api) >/dev/null 2>&1 ||
		skip "DuckDB cannot be had"
	(cd "$work" && npm install --silent --no-audit --no-fund nodejs-polars) >/dev/null 2>&1 || true
fi

mkdir "$work/sites"
# site ID COLUMN HEADER < rows
site() {
	{ echo "Time,$3"; cat; } > "$work/sites/$1.csv"
	cat > "$work/sites/$1.toml" <<-TOML
		id = "$1"
		[log]
		files = ["$1.csv"]
		time_zone = "+00:00"
		[log.columns]
		time = "Time"
		$2
		[settings]
		empty_distance = "1.2 m"
		[settings.device]
		kind = "v-notch"
		angle = "90 deg"
	TOML
}
rows() { # FIRST STEP: two days around the turn of a year
	for d in 2030-12-31 2031-01-01; do
		for h in $(seq -w 0 23); do echo "$d $h:00:00,$1"; done
	done | awk -F, -v step="$2" '{ printf "%s,%.3f\n", $1, $2 + step * NR }'
}
rows 1.000 0.001 | site distances 'distance = "Distance (m)"' 'Distance (m)'
rows 0.200 -0.001 | site levels 'level = "Level (m)"' 'Level (m)'
rows 0.200 0.001 | site heads 'head = "Head (m)"' 'Head (m)'
rows 25.000 0.1 | site flows 'flow = "Flow (L/s)"' 'Flow (L/s)'
rows 100.000 0.1 | site volumes 'interval_volume = "Volume (m3)"' 'Volume (m3)'
rows 1000.000 90 | site counters 'counter = "Counter (m3)"' 'Counter (m3)'
rows 0.200 0.001 | awk -F, '{ print $0 ",12.5" }' | site warm \
	'head = "Head (m)"'$'\n''temperature = "Air (degC)"' 'Head (m),Air (degC)'

printf '[screening]\nair_temperature = true\n' >> "$work/sites/warm.toml" # temperatures are read where they are asked for

go run ./cmd/retotal batch -q --out "$work/out" "$work/sites"
cp .ci/lake/lake.mjs "$work"
(cd "$work" && node lake.mjs out)
if python3 -c 'import pandas, pyarrow' 2>/dev/null; then
	python3 - "$work/out" <<-PY
		import sys, pandas
		readings = pandas.read_parquet(sys.argv[1] + "/readings")
		assert readings.groupby("site").size().tolist() == [48] * 7, readings.groupby("site").size()
		print("lake: pandas reads", len(readings), "rows")
	PY
else
	echo "lake: python3 has no pandas with pyarrow, so pandas was not tried"
fi
