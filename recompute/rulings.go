package recompute

import (
	"context"
	"math"
	"slices"
	"time"
)

// rule finds out what each ruling did, by runs without them: of rulings far enough apart that none reaches into the
// days of another, one run tells all.
func (r *runner) rule(ctx context.Context, result *Result) error {
	for _, group := range result.groups() {
		without, err := r.without(ctx, group)
		if err != nil {
			return err
		}
		if result.share(without, group) {
			continue
		}
		for _, i := range group { // they reach further than their days
			if without, err = r.without(ctx, []int{i}); err != nil {
				return err
			}
			result.Rulings[i].Effect = result.Total.After.M3() - without.Total.After.M3()
		}
	}
	return nil
}

// without runs the site without some rulings.
func (r *runner) without(ctx context.Context, rulings []int) (*Result, error) {
	other := r.bare(false)
	other.passOver = rulings
	without, _, err := other.passes(ctx)
	return without, err
}

// reach are the instants between which a ruling can change flows: a bridge, or a gap, may lie before and after it.
func (r *Result) reach(ruling int) (from, until int64) {
	further := (r.Facts.LongestGap() + r.Limits.BridgeLimit).Nanoseconds()
	x := r.Rulings[ruling].Ruling
	return x.From.UTC - further, x.Until.UTC + further
}

// groups puts rulings together of which no two reach into the same day or the next.
func (r *Result) groups() (groups [][]int) {
	const days = 2 * 24 * time.Hour
	apart := func(a, b int) bool {
		from, until := r.reach(a)
		otherFrom, otherUntil := r.reach(b)
		return from-otherUntil > days.Nanoseconds() || otherFrom-until > days.Nanoseconds()
	}
	fits := func(group []int, i int) bool {
		for _, k := range group {
			if !apart(k, i) {
				return false
			}
		}
		return true
	}
next:
	for i := range r.Rulings {
		for g := range groups {
			if fits(groups[g], i) {
				groups[g] = append(groups[g], i)
				continue next
			}
		}
		groups = append(groups, []int{i})
	}
	return groups
}

// share gives each ruling of a group what changed in the days that it reaches into, and reports whether nothing else
// did. One alone did all that changed.
func (r *Result) share(without *Result, group []int) bool {
	if len(group) == 1 {
		r.Rulings[group[0]].Effect = r.Total.After.M3() - without.Total.After.M3()
		return true
	}
	if len(r.Days) != len(without.Days) {
		return false
	}
	rest := r.Total.After.M3() - without.Total.After.M3()
	for _, i := range group {
		from, until := r.reach(i)
		effect := 0.0
		for k := range r.Days {
			if d := &r.Days[k]; d.From < until && from < d.Until {
				effect += d.After.M3() - without.Days[k].After.M3()
			}
		}
		r.Rulings[i].Effect = effect
		rest -= effect
	}
	return math.Abs(rest) <= 1e-6*math.Max(1, math.Abs(r.Total.After.M3())*1e-3)
}

// RulingIn reports whether a ruling is about the time from an instant to another.
func (r *Result) RulingIn(from, until int64) bool {
	return slices.ContainsFunc(r.Rulings, func(x RulingResult) bool {
		return x.Ruling.From.UTC <= until && x.Ruling.Until.UTC > from
	})
}
