package recompute

import (
	"context"
	"iter"
	"slices"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/block"
	"retotal/recompute/settings"
	"retotal/recompute/uncertainty"
)

// plan is all lanes of a run: those of the site, and those that sources of uncertainty move.
type plan struct {
	*settings.Lanes
	corrects bool // the site file corrects settings, or the clock
	sources  uncertainty.Components
}

// newPlan builds the lanes of a site. What is wrong with them is returned together; the plan has warnings even then.
func newPlan(s *site.Site, without []int, budget bool, found ...settings.Step) (*plan, error) {
	lanes, err := settings.NewLanes(s, without, found...)
	p := &plan{Lanes: lanes, corrects: len(s.Corrections)+len(s.Log.Checks) > 0}
	if budget && err == nil {
		p.sources, err = uncertainty.NewComponents(s, lanes.Recorded)
	}
	return p, err
}

// lanes are those that what the whole record shows is told to.
func (p *plan) lanes() []*settings.Lane {
	return slices.Concat([]*settings.Lane{p.Recorded, p.Corrected}, p.WhatIfs, p.sources.After)
}

// Log is a log that can be read again.
type Log interface {
	// Known is what arithmetic needs to know of the log. It may become better known while the log is read.
	Known() *reading.Facts
	// Batches is one reading of all rows in the order of time. An error is the last thing that comes; after
	// reading.ErrAgain the log must be read again, and what came before must be forgotten.
	Batches(ctx context.Context) iter.Seq2[*reading.Batch, error]
}

// Donor is a site from which missing time is filled.
type Donor struct {
	Log   Log
	Site  *site.Site
	Files func() []site.Beside // that were read, once they were
}

// blocks are the lanes of a plan, without rows.
func (p *plan) blocks() block.Lanes {
	l := block.NewLanes(p.Lanes, p.corrects)
	for i, after := range p.sources.After {
		l.Moved = append(l.Moved, block.Moved{After: block.NewLane(after), Before: block.NewLane(p.sources.Before[i])})
	}
	return l
}
