package recompute

import (
	"iter"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/effect"
	"retotal/recompute/evidence"
	"retotal/recompute/fill"
	"retotal/recompute/stage"
	"retotal/recompute/uncertainty"
)

// adder is a stage: it takes in the rows of a block that are decided, and changes at most the columns that it is for.
type adder interface{ Add(b *block.Block) }

// blockRows is how many rows a stage is given at a time: they and what is known of them stay in the processor's memory.
const blockRows = 8192

// pass is one reading of a log through all lanes. It keeps no more rows than the checks look ahead.
type pass struct {
	runner   *runner
	screener qa.Screener
	block    *block.Block // nil before the first reading
	done     int          // rows before it are decided
	readings int          // of the whole log so far
	stages   [][]adder    // those of a group know nothing of each other
	figures
	looks
	rows    *rows
	sources uncertainty.Components
}

// figures are the stages that make the figures of days.
type figures struct {
	recorded   *stage.Recorded
	logged     *stage.Logged
	drowned    *stage.Drowned
	accept     *stage.Accept
	lanes      *stage.Lanes
	bounds     *stage.Bounds
	difference *stage.Difference
	edges      *stage.Edges
	events     *effect.Events
	peaks      *stage.Peaks
	tallies    *uncertainty.Tallies
	sample     *uncertainty.Sample
	hours      *fill.HourlyMeans
}

// looks are the stages that look for evidence and change no figure.
type looks struct {
	flow    *evidence.FlowCheck
	trials  *evidence.Trials
	visits  *evidence.Visits
	courses *evidence.Courses
	stays   *evidence.Stays
	levels  *evidence.Levels
	odd     *evidence.Odd
	pairs   *evidence.Pairs
	habits  *habits
	moves   *evidence.Moves
	byHour  *evidence.Hours
	stamps  *evidence.Stamps

	witnesses witnesses
}

// rate is the stage that computes the flows of all lanes.
type rate struct{}

// Add computes the flows of a block.
func (rate) Add(b *block.Block) { b.Rate() }

// begin sets the stages up when the first reading is known. A batch enters a block in the steps of block.Enter, is
// screened, and goes through these stages in turn.
func (p *pass) begin(first int64) {
	r := p.runner
	b := block.New(r.log.Known(), r.site, r.plan.blocks(), r.told, first)
	b.Rulings.PassOver = r.passOver
	if r.options.Cells > 0 {
		b.Cells = b.Divide(r.options.Cells, r.last)
	}
	filler := fill.New(r.site, r.estimate)
	p.block, p.sources = b, r.plan.sources.Clone()
	r.tellLimits(b)
	p.screener.Limits, p.screener.Timeline = b.Limits, b.Limited
	p.figures = figures{
		recorded:   stage.NewRecorded(b),
		logged:     stage.NewLogged(b),
		drowned:    &stage.Drowned{},
		accept:     stage.NewAccept(b, filler),
		lanes:      stage.NewLanes(b, filler),
		bounds:     stage.NewBounds(b),
		difference: stage.NewDifference(b, filler),
		edges:      &stage.Edges{},
		peaks:      stage.NewPeaks(b),
		tallies:    uncertainty.NewTallies(&p.sources),
		sample:     &uncertainty.Sample{},
		hours:      &fill.HourlyMeans{},
	}
	p.looks = looks{
		flow: evidence.NewFlowCheck(b), trials: evidence.NewTrials(r.site), visits: evidence.NewVisits(r.site),
		courses: &evidence.Courses{}, stays: evidence.NewStays(b), levels: &evidence.Levels{},
		odd: evidence.NewOdd(b), pairs: &evidence.Pairs{Most: p.runner.options.Pairs},
		byHour: &evidence.Hours{}, stamps: &evidence.Stamps{},
	}
	p.events = effect.New(b, p.accept.Joins)
	if p.rows != nil {
		p.rows.sources = &p.sources
	}
	if r.asks {
		p.habits, p.moves, p.witnesses = newHabits(b), evidence.NewMoves(b), newWitnesses(b)
		p.screener.Only = noHabit | evidence.NoPlace | qa.Attenuated
	}
	p.stages = p.list()
}

// list is the stages in the order of their groups. Those of one group look at the same columns, of which none of them
// changes any, so that they work side by side.
func (p *pass) list() [][]adder {
	if p.runner.asks {
		return [][]adder{p.asking()}
	}
	shown := []adder{p.recorded, p.logged, p.flow, p.trials} // it knows neither flags nor drowned flow
	looks := []adder{p.visits, p.courses, p.stays, p.levels, p.odd}
	if p.runner.options.Pairs > 0 {
		looks = append(looks, p.pairs)
	}
	if p.runner.options.Hours {
		looks = append(looks, p.byHour, p.stamps)
	}
	return [][]adder{
		{rate{}}, shown, {p.drowned}, looks,
		{p.accept}, // lays out the steps that all below go by
		{p.lanes},
		p.after(),
	}
}

// asking are the stages of a pass that asks the record.
func (p *pass) asking() []adder {
	list := []adder{p.moves}
	if !p.block.Means {
		list = append(list, p.habits)
		for _, w := range p.witnesses {
			list = append(list, w)
		}
	}
	return list
}

// after are the stages that go by the steps of the corrected total.
func (p *pass) after() []adder {
	list := []adder{p.bounds, p.difference, p.events}
	if p.block.Means {
		list = append(list, p.edges)
	}
	if len(p.sources.List) > 0 {
		list = append(list, p.peaks, p.tallies)
	}
	if p.runner.options.Draws > 0 {
		list = append(list, p.sample)
	}
	if p.runner.wantsHours {
		list = append(list, p.hours)
	}
	if p.rows != nil {
		list = append(list, p.rows)
	}
	return list
}

// addAll takes in all batches of a reading.
func (p *pass) addAll(batches iter.Seq2[*reading.Batch, error]) error {
	for b, err := range batches {
		if err != nil {
			return err
		}
		if err := p.add(b); err != nil {
			return err
		}
	}
	return nil
}

// add takes in one batch.
func (p *pass) add(from *reading.Batch) error {
	if from.Len() == 0 {
		return nil
	}
	if p.block == nil {
		p.begin(min(from.Time[0], p.runner.site.Log.Shown(from.Time[0])))
	}
	p.block.Enter(from)
	p.readings += from.Len()
	return p.advance(false)
}

// advance screens the rows at hand, hands those that can be decided to the stages, and drops those that nothing needs
// any more. final says that no more rows will come.
func (p *pass) advance(final bool) error {
	b := p.block
	b.Settings()
	ready := p.screener.Flag(&b.Window, p.done, final)
	for p.done < ready {
		b.Low, b.High = p.done, min(p.done+blockRows, ready)
		for _, group := range p.stages {
			problem.Beside(len(group), func(i int) { group[i].Add(b) })
		}
		if p.rows != nil && p.rows.err != nil {
			return p.rows.err
		}
		p.done = b.High
	}
	forget := p.screener.Forget(&b.Window, ready)
	b.Forget(forget)
	p.done -= forget
	return nil
}

// drain decides the rows still held back.
func (p *pass) drain() error {
	if p.block == nil {
		p.begin(p.runner.log.Known().From)
	}
	return p.advance(true)
}

// finish decides the rows still held back and returns the result.
func (p *pass) finish() (*Result, error) {
	if err := p.drain(); err != nil {
		return nil, err
	}
	p.difference.Finish()
	p.events.Finish(p.accept.Tail)
	p.flow.Finish()
	if p.drowned.Computed > 0 {
		p.sources.Drowned(p.drowned.Spread)
	}
	return p.result(), nil
}
