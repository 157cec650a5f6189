package ingest

import (
	"fmt"
	"maps"
	"slices"

	"retotal/ingest/reading"
)

// Account places every row of a log in exactly one class.
type Account struct {
	Read        int
	Used        int
	Repeated    int // rows equal in all columns to one before them
	Conflicting int // rows with the time of one before them and other values
	OutOfPeriod int
	Rejected    map[string]int // by reason
	// Examples are the first rejected rows of each reason.
	Examples []Example
	// Missing and Illegible count absent and unreadable values of the columns beside the level.
	Missing   map[string]int
	Illegible map[string]int
	// Unended counts files whose last line has no end of line.
	Unended int
}

// Example is one rejected row.
type Example struct {
	File   string
	Line   int
	Reason string
	Text   string
}

// examplesPerReason is how many rejected rows of one reason are kept.
const examplesPerReason = 3

// RejectedRows is the number of rejected rows of all reasons.
func (a *Account) RejectedRows() int {
	n := 0
	for _, count := range a.Rejected {
		n += count
	}
	return n
}

// reasons lists the reasons of rejection, the most frequent first.
func (a *Account) reasons() []string {
	reasons := slices.Sorted(maps.Keys(a.Rejected))
	slices.SortStableFunc(reasons, func(x, y string) int { return a.Rejected[y] - a.Rejected[x] })
	return reasons
}

// Oddities says in words what was not plain about the rows, with a count of each; empty for a clean log.
func (a *Account) Oddities() (list []string) {
	for _, reason := range a.reasons() {
		list = append(list, fmt.Sprintf("%d rejected: %s", a.Rejected[reason], reason))
	}
	for _, q := range slices.Sorted(maps.Keys(a.Missing)) {
		list = append(list, fmt.Sprintf("%d without a value of %s", a.Missing[q], q))
	}
	for _, q := range slices.Sorted(maps.Keys(a.Illegible)) {
		list = append(
			list,
			fmt.Sprintf("%d with a value of %s that cannot be read or that none can have", a.Illegible[q], q),
		)
	}
	if a.Unended > 0 {
		list = append(list, fmt.Sprintf(
			"files whose last line has no end, so that it may have been cut off; it was read as it stands: %d",
			a.Unended,
		))
	}
	return list
}

// conflict notes a row that has the time of another and other values.
func (a *Account) conflict(e Example) {
	if a.Conflicting++; a.Conflicting <= examplesPerReason {
		a.Examples = append(a.Examples, e)
	}
}

// reject counts rejections of one file.
func (a *Account) reject(file string, list []reading.Rejection) {
	for _, r := range list {
		if a.Rejected == nil {
			a.Rejected = map[string]int{}
		}
		a.Rejected[r.Reason]++
		if a.Rejected[r.Reason] <= examplesPerReason {
			a.Examples = append(a.Examples, Example{file, int(r.Line), r.Reason, r.Text})
		}
	}
}

// balance fails when the classes do not add up to the rows read: a fault of the program, never of the input.
func (a *Account) balance() error {
	if sum := a.Used + a.Repeated + a.Conflicting + a.OutOfPeriod + a.RejectedRows(); sum != a.Read {
		return fmt.Errorf("internal fault: %d rows were read but %d are accounted for", a.Read, sum)
	}
	return nil
}
