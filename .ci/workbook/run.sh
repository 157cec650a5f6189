#!/usr/bin/env bash
# The workbook in LibreOffice: it opens, and its formulas, worked out there from nothing, come to the numbers that are
# stored beside them and to those of totals.csv.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "workbook: skipped: $1"; exit 0; }
for program in soffice unzip zip; do
	command -v "$program" >/dev/null || skip "there is no $program"
done
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
go run ./cmd/retotal correct --quiet --readings-sheet --out "$work/out" testdata/quarry-lane/site.toml
results=$work/out/quarry-lane
sheets() { # FILE FOLDER: every sheet as CSV with numbers in full
	soffice -env:UserInstallation="file://$work/profile" --headless --convert-to \
		'csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1' --outdir "$2" "$1" >/dev/null 2>&1
}
# Without the numbers beside the formulas, the program has to work them out.
mkdir "$work/bare"
(cd "$work/bare" && unzip -q "$results/report.xlsx" && sed -i -E 's#(</f>)<v>[^<]*</v>#\1#g' xl/worksheets/*.xml &&
	zip -q -r "$work/bare.xlsx" .)
sheets "$results/report.xlsx" "$work/stored"
sheets "$work/bare.xlsx" "$work/reckoned"
for sheet in Months Days; do
	stored=$work/stored/report-$sheet.csv reckoned=$work/reckoned/bare-$sheet.csv
	if ! paste -d '\n' "$stored" "$reckoned" | awk -F, '
		NR % 2 { split($0, was); n = NF; next }
		NF != n { bad = 1 }
		{ for (i = 1; i <= NF; i++) if (was[i] != $i && (was[i] - $i > 1e-6 || $i - was[i] > 1e-6)) {
			print "line " NR / 2 ", column " i ": " was[i] ", " $i; bad = 1 } else if ($i != "") cells++ }
		END { exit bad || cells < 30 }'; then
		echo "workbook: the formulas of $sheet come to something else than is stored"
		exit 1
	fi
done
# The total after: the last row of Months, in the column of that name, and the row of totals.csv.
want=$(awk -F, '$1 == "total" { print $6 }' "$results/totals.csv")
got=$(tail -n 1 "$work/reckoned/bare-Months.csv" | cut -d, -f5)
if ! awk -v a="$want" -v b="$got" 'BEGIN { exit !(a > 0 && a - b < 0.01 && b - a < 0.01) }'; then
	echo "workbook: Months add up to $got, totals.csv has $want"
	exit 1
fi
# The demo's readings are of full minutes; none may be shown a second early, and none be lost.
if ! awk -F, 'NR > 1 && $1 !~ /^....-..-.. ..:..:00$/ { bad = 1 } END { exit bad || NR != 132366 + 1 }' \
	"$work/stored/report-Readings.csv"; then
	echo "workbook: Readings are $(wc -l < "$work/stored/report-Readings.csv") lines, or not of full minutes"
	exit 1
fi
echo "workbook: LibreOffice comes to the same numbers, $got in all"
