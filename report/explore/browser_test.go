//go:build browser

package explore

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"retotal/ingest/site"
	"retotal/recompute"
)

// tab is a page in a browser, with what went wrong in it.
type tab struct {
	context.Context
	t        *testing.T
	said     []string // on the console, and exceptions
	requests []string
}

// open opens the explorer of a site in a window of a size, in a light or dark scheme, and waits until it is drawn.
func open(t *testing.T, file string, width, height int64, dark bool) *tab {
	t.Helper()
	return openPage(t, writePage(t, file), width, height, dark)
}

func openPage(t *testing.T, page string, width, height int64, dark bool) *tab {
	t.Helper()
	options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.NoSandbox, chromedp.DisableGPU)
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	browser, end := chromedp.NewContext(allocator)
	timed, cancel := context.WithTimeout(browser, 2*time.Minute)
	t.Cleanup(func() { cancel(); end(); stop() })
	p := &tab{Context: timed, t: t}
	chromedp.ListenTarget(timed, func(event any) {
		switch e := event.(type) {
		case *runtime.EventConsoleAPICalled:
			for _, a := range e.Args {
				p.said = append(p.said, string(a.Value)+a.Description)
			}
		case *runtime.EventExceptionThrown:
			p.said = append(p.said, e.ExceptionDetails.Error())
		case *network.EventRequestWillBeSent:
			p.requests = append(p.requests, e.Request.URL)
		}
	})
	scheme := map[bool]string{true: "dark", false: "light"}[dark]
	prefers := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}
	p.do(network.Enable(), chromedp.EmulateViewport(width, height), emulation.SetEmulatedMedia().WithFeatures(prefers),
		chromedp.Navigate("file://"+filepath.ToSlash(page)),
		chromedp.WaitReady("#explorer[data-ready]", chromedp.ByQuery))
	t.Cleanup(p.checkQuiet)
	return p
}

// do runs actions in the page.
func (p *tab) do(actions ...chromedp.Action) {
	p.t.Helper()
	if err := chromedp.Run(p.Context, actions...); err != nil {
		p.t.Fatal(err, p.said)
	}
}

// eval is the value of an expression in the page.
func eval[T any](p *tab, expression string) (out T) {
	p.t.Helper()
	p.do(chromedp.Evaluate(expression, &out))
	return out
}

// settle waits until what was asked for is drawn.
func (p *tab) settle() {
	p.t.Helper()
	const drawn = `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))`
	p.do(chromedp.Evaluate(drawn, nil,
		func(e *runtime.EvaluateParams) *runtime.EvaluateParams { return e.WithAwaitPromise(true) }))
}

// span is the view's length, s.
func (p *tab) span() float64 {
	p.settle()
	return eval[float64](p, "retotalExplorer.state.b - retotalExplorer.state.a")
}

// checkQuiet: nothing was said on the console, and nothing but the file was asked for.
func (p *tab) checkQuiet() {
	for _, line := range p.said {
		p.t.Errorf("the console has: %s", line)
	}
	for _, url := range p.requests {
		if !strings.HasPrefix(url, "file:") && !strings.HasPrefix(url, "blob:") && !strings.HasPrefix(url, "data:") {
			p.t.Errorf("the page asked for %s", url)
		}
	}
	if len(p.requests) != 1 {
		p.t.Errorf("%d requests: %q", len(p.requests), p.requests)
	}
}

// shoot takes a picture of the page into the folder that EXPLORER_PICTURES names, if it names one.
func (p *tab) shoot(name string) {
	p.t.Helper()
	folder := os.Getenv("EXPLORER_PICTURES")
	if folder == "" {
		return
	}
	p.settle()
	var picture []byte
	p.do(chromedp.FullScreenshot(&picture, 100))
	if err := os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// box is where an element stands in the window.
type box struct{ X, Y, Width, Height float64 }

func (p *tab) box(selector string) box {
	return eval[box](p, fmt.Sprintf(`(() => { const r = document.querySelector(%q).getBoundingClientRect();
		return { X: r.x, Y: r.y, Width: r.width, Height: r.height } })()`, selector))
}

// drag drags the pointer over the charts, from one part of their width to another.
func (p *tab) drag(from, to float64) {
	p.t.Helper()
	b := p.box(".x-stack")
	y := b.Y + 120
	at := func(part float64) float64 { return b.X + 54 + part*(b.Width-54-14) }
	p.do(input.DispatchMouseEvent(input.MousePressed, at(from), y).WithButton(input.Left).WithClickCount(1))
	for k := range 5 {
		p.do(input.DispatchMouseEvent(input.MouseMoved, at(from+(to-from)*float64(k+1)/5), y).WithButton(input.Left))
	}
	p.do(input.DispatchMouseEvent(input.MouseReleased, at(to), y).WithButton(input.Left).WithClickCount(1))
	p.settle()
}

// TestBrowserZoom: wheel and keys zoom, arrows move, 0 and the buttons go to spans of their names, a click on the bars
// goes to a day.
func TestBrowserZoom(t *testing.T) {
	p := open(t, demo("site.toml"), 1280, 1000, false)
	whole := p.span()
	if math.Abs(whole-92*86400) > 3*3600 {
		t.Errorf("%v s in view, not 92 days", whole)
	}
	b := p.box(".x-stack")
	p.do(input.DispatchMouseEvent(input.MouseWheel, b.X+400, b.Y+200).WithDeltaX(0).WithDeltaY(-300))
	zoomed := p.span()
	if zoomed >= whole*0.9 {
		t.Errorf("the wheel leaves %v of %v s", zoomed, whole)
	}
	p.do(chromedp.Focus(".x-charts", chromedp.ByQuery), chromedp.KeyEvent("+"))
	if got := p.span(); math.Abs(got/zoomed-0.5) > 0.01 {
		t.Errorf("+ makes %v of %v s", got, zoomed)
	}
	p.do(chromedp.KeyEvent("-"))
	if got := p.span(); math.Abs(got/zoomed-1) > 0.01 {
		t.Errorf("- makes %v of %v s", got, zoomed)
	}
	from := eval[float64](p, "retotalExplorer.state.a")
	p.do(chromedp.KeyEvent(kb.ArrowRight))
	if got := eval[float64](p, "retotalExplorer.state.a"); got <= from {
		t.Errorf("the arrow goes from %v to %v", from, got)
	}
	p.do(chromedp.KeyEvent("0"))
	if got := p.span(); got != whole {
		t.Errorf("0 shows %v s", got)
	}
	press := func(name string) float64 {
		p.do(chromedp.Click(fmt.Sprintf(`//*[@aria-label="Span in view"]/button[.=%q]`, name), chromedp.BySearch))
		return p.span()
	}
	for name, want := range map[string]float64{"day": 86400, "week": 7 * 86400, "month": 30 * 86400, "all": whole} {
		if got := press(name); got != want {
			t.Errorf("%s shows %v s, want %v", name, got, want)
		}
	}
	o := p.box(".x-overview")
	p.do(chromedp.MouseClickXY(o.X+54+(o.Width-68)*10.5/92, o.Y+40))
	if got := p.span(); got != 86400 {
		t.Errorf("a click on the bars shows %v s", got)
	}
	if day := eval[string](p, "retotalExplorer.spanText(retotalExplorer.state.a, retotalExplorer.state.b)"); day !=
		"11 Mar 00:00 – 12 Mar 00:00" {
		t.Errorf("a click on the eleventh bar shows %s", day)
	}
}

// TestBrowserSelect: a dragged span has the volumes of its cells, and days, months and all those of the result, to
// 0.001 m³.
func TestBrowserSelect(t *testing.T) {
	p := open(t, demo("site.toml"), 1280, 1000, false)
	_, run := gathered(t, demo("site.toml"), MostCells)
	check := func(x *recompute.Period) {
		got := eval[struct{ Before, After, Counted float64 }](p,
			fmt.Sprintf("retotalExplorer.totals(%d, %d)", x.From/1e9, x.Until/1e9))
		if math.Abs(got.Before-x.Before.M3()) > 0.001 || math.Abs(got.After-x.After.M3()) > 0.001 ||
			math.Abs(got.Counted-x.Counted.M3()) > 0.001 {
			t.Errorf("%s: %+v, want %v, %v, %v", x.Label, got, x.Before.M3(), x.After.M3(), x.Counted.M3())
		}
	}
	for _, list := range [][]recompute.Period{run.Result.Days, run.Result.Months, {run.Result.Total}} {
		for i := range list {
			check(&list[i])
		}
	}
	p.do(chromedp.Focus(".x-charts", chromedp.ByQuery), chromedp.KeyEvent("+++"))
	p.settle()
	p.drag(0.3, 0.5)
	title := eval[string](p, `document.querySelector('.x-panel h3').textContent`)
	rows := eval[float64](p, "retotalExplorer.state.selected.rows")
	if !strings.HasPrefix(title, "Selected: ") || rows < 1000 {
		t.Errorf("%q, %v readings", title, rows)
	}
	p.shoot("selected-1280")
}

// fill fills every blank of the block that is shown, and copies it.
func (p *tab) fill(values map[string]string) string {
	p.t.Helper()
	for id, value := range values {
		selector := fmt.Sprintf(`[data-blank=%q]`, id)
		p.do(chromedp.Evaluate(fmt.Sprintf("document.querySelector(%q).value = ''", selector), nil),
			chromedp.SendKeys(selector, value, chromedp.ByQuery))
	}
	label := eval[string](p, `document.querySelector('.x-copy').textContent`)
	if !strings.HasPrefix(label, "Copy ") {
		p.t.Errorf("all is filled, and the button says %q", label)
	}
	p.do(chromedp.Click(".x-copy", chromedp.ByQuery))
	p.settle()
	return eval[string](p, `document.getElementById('explorer').dataset.copied || ''`)
}

// TestBrowserBlocks: blocks of all kinds say what is to be filled, are copied only when it is, hold what was typed
// whatever it is, and are taken by the reader of site files.
func TestBrowserBlocks(t *testing.T) {
	p := open(t, demo("site.toml"), 1280, 1000, false)
	p.do(chromedp.Focus(".x-charts", chromedp.ByQuery), chromedp.KeyEvent("+"), chromedp.KeyEvent("+"))
	p.settle()
	p.drag(0.4, 0.6)
	if label := eval[string](p, `document.querySelector('.x-copy').textContent`); label != "1 blank to fill" {
		t.Errorf("the button says %q", label) // the author of the record stands in by
	}
	p.do(chromedp.Click(".x-copy", chromedp.ByQuery))
	if got := eval[string](p, `document.getElementById('explorer').dataset.copied || ''`); got != "" {
		t.Errorf("a block with blanks was copied: %s", got)
	}
	const hostile = `said "no" \ ' # </script> ü`
	blocks := []string{p.fill(map[string]string{"reason": hostile})}
	for _, action := range []string{"bound", "value", "keep", "bridge"} {
		p.do(chromedp.Evaluate(fmt.Sprintf(`{ const s = document.querySelector('.x-block select');
			s.value = %q; s.dispatchEvent(new Event('change')) }`, action), nil))
		values := map[string]string{"reason": hostile}
		switch action {
		case "bound":
			values["most"] = "300 L/s"
		case "value":
			values["flow"] = "12 L/s"
		}
		blocks = append(blocks, p.fill(values))
	}
	p.do(chromedp.Click(`[data-kind=correction]`, chromedp.ByQuery))
	blocks = append(blocks, p.fill(map[string]string{"value": "1.225 m", "reason": hostile}))
	p.do(chromedp.Click(`[data-kind=comment]`, chromedp.ByQuery))
	blocks = append(blocks, p.fill(map[string]string{"text": hostile}))
	for _, block := range blocks {
		checkBlock(t, block, hostile)
	}
}

// checkBlock pastes a block at the end of a site file and reads that.
func checkBlock(t *testing.T, block, words string) {
	t.Helper()
	text, err := os.ReadFile(demo("site.toml"))
	if err != nil {
		t.Fatal(err)
	}
	kept := string(text)
	if strings.Contains(block, "[[correction]]") { // two corrections of one setting at one time are refused
		low, high := strings.Index(kept, "[[correction]]"), strings.Index(kept, "# What was read beside")
		kept = kept[:low] + kept[high:]
	}
	folder := t.TempDir()
	file := filepath.Join(folder, "site.toml")
	if err := os.WriteFile(file, []byte(kept+"\n"+block), 0o644); err != nil {
		t.Fatal(err)
	}
	s, err := site.Load(file)
	if err != nil {
		t.Errorf("%v\n%s", err, block)
		return
	}
	if _, err := recompute.Check(s, nil); err != nil {
		t.Errorf("%v\n%s", err, block)
	}
	found := ""
	switch {
	case strings.Contains(block, "[[ruling]]"):
		found = s.Rulings[len(s.Rulings)-1].Reason
	case strings.Contains(block, "[[correction]]"):
		found = s.Corrections[len(s.Corrections)-1].Reason
	default:
		found = s.Report.Comments[len(s.Report.Comments)-1].Text
	}
	if found != words {
		t.Errorf("%q was typed, and %q is read", words, found)
	}
}

// TestBrowserFilterAndUnits: a chip takes its row away; a unit changes figures by its factor; the list jumps.
func TestBrowserFilterAndUnits(t *testing.T) {
	p := open(t, demo("site.toml"), 1280, 1000, false)
	label := func() string { return eval[string](p, `document.querySelector('.x-flags').getAttribute('aria-label')`) }
	if !strings.Contains(label(), "spike") {
		t.Errorf("flags: %q", label())
	}
	p.do(chromedp.Click(`//button[contains(., "spike")]`, chromedp.BySearch))
	p.settle()
	if strings.Contains(label(), "spike") {
		t.Errorf("flags without spikes: %q", label())
	}
	p.do(chromedp.Click(`//*[@aria-label="Unit of flow"]/button[2]`, chromedp.BySearch))
	p.settle()
	head := eval[string](p, `document.querySelectorAll('.x-head')[2].textContent`)
	if !strings.Contains(head, "m³/h") || strings.Contains(head, "m3") {
		t.Errorf("the flow is in %q", head)
	}
	p.do(chromedp.Click(`.x-worth li:nth-child(3) button`, chromedp.ByQuery))
	if got := p.span(); got > 3*3600 {
		t.Errorf("the list jumps to a view of %v s", got)
	}
	if worth := eval[string](p, `document.querySelector('.x-panel').textContent`); !strings.Contains(worth, "spike") {
		t.Errorf("the panel says %q", worth)
	}
	block := eval[string](p, `document.querySelector('.x-block').textContent`)
	if !strings.Contains(block, `["spike"]`) {
		t.Errorf("the ruling offered is %q", block)
	}
	p.shoot("jump-1280")
}

// TestBrowserEverySpike: at every zoom and in windows of all widths the view holds the least and the greatest of the
// readings in it, which are counted here.
func TestBrowserEverySpike(t *testing.T) {
	for round := range 3 {
		file, truth := spiky(t, round)
		p := open(t, file, 1280, 900, false)
		for _, width := range []int{250, 700, 1400} {
			for n := 1; n <= 4096; n *= 4 {
				checkSpikes(t, p, truth, width, n, round)
			}
		}
	}
}

// checkSpikes looks at three of n equal parts of a record.
func checkSpikes(t *testing.T, p *tab, truth []sample, width, n, round int) {
	t.Helper()
	first, last := truth[0].at, truth[len(truth)-1].at
	for k := range 3 {
		part := (last - first) / float64(n)
		a := first + part*float64(k*(n-1)/2)
		b := a + max(part, 3600)
		got := eval[struct {
			From, Until, Low, High float64
			N                      int
		}](p, fmt.Sprintf(`(() => { const v = retotalExplorer.buckets(%f, %f, %d).list;
			return { From: v[0].from, Until: v[v.length - 1].until, N: v.length,
				Low: Math.min(...v.map((x) => x.beforeLow)),
				High: Math.max(...v.map((x) => x.beforeHigh)) } })()`, a, b, width))
		low, high := math.Inf(1), math.Inf(-1)
		for _, s := range truth {
			if s.at >= got.From && s.at < got.Until {
				low, high = min(low, s.flow), max(high, s.flow)
			}
		}
		near := func(x, y float64) bool { return math.Abs(x-y) <= 2e-5*high }
		if got.From > a || got.Until < min(b, last) || !near(got.Low, low) || !near(got.High, high) || got.N > 2*width {
			t.Errorf("round %d, part %d of %d: %+v, want %v to %v", round, k, n, got, low, high)
		}
	}
}

// over is by how much the page goes over the side, px.
func (p *tab) over() float64 {
	return eval[float64](p, "document.documentElement.scrollWidth - document.documentElement.clientWidth")
}

// TestBrowserPhone: at 390 px nothing goes over the side, targets are 44 px high, and a finger selects.
func TestBrowserPhone(t *testing.T) {
	p := open(t, demo("site.toml"), 390, 844, false)
	if over := p.over(); over > 0 {
		t.Errorf("%v px go over the side", over)
	}
	small := eval[[]string](p, `[...document.querySelectorAll('.explore button')].filter((b) => b.offsetHeight < 44)
		.map((b) => b.textContent)`)
	if len(small) > 0 {
		t.Errorf("less than 44 px: %q", small)
	}
	b := p.box(".x-stack")
	y := b.Y + 90
	touch := func(kind input.TouchType, x float64) {
		points := []*input.TouchPoint{{X: x, Y: y}}
		if kind == input.TouchEnd {
			points = []*input.TouchPoint{}
		}
		p.do(input.DispatchTouchEvent(kind, points))
	}
	p.do(emulation.SetTouchEmulationEnabled(true))
	touch(input.TouchStart, b.X+100)
	for x := 110.0; x <= 250; x += 20 {
		touch(input.TouchMove, b.X+x)
	}
	touch(input.TouchEnd, 0)
	p.settle()
	title := eval[string](p, `document.querySelector('.x-panel h3').textContent`)
	if !strings.HasPrefix(title, "Selected") {
		t.Errorf("a finger selects nothing: %q", title)
	}
	if over := p.over(); over > 0 {
		t.Errorf("with a selection %v px go over the side", over)
	}
	pinch := func(kind input.TouchType, a, b float64) {
		points := []*input.TouchPoint{{X: a, Y: y, ID: 1}, {X: b, Y: y, ID: 2}}
		if kind == input.TouchEnd {
			points = []*input.TouchPoint{}
		}
		p.do(input.DispatchTouchEvent(kind, points))
	}
	whole := p.span()
	pinch(input.TouchStart, 180, 220)
	for k := 1.0; k <= 8; k++ {
		pinch(input.TouchMove, 180-10*k, 220+10*k)
	}
	pinch(input.TouchEnd, 0, 0)
	if got := p.span(); got > whole/3 || got < whole/8 {
		t.Errorf("two fingers that go to five times their distance make %v of %v s", got, whole)
	}
	p.shoot("phone-390")
}

// TestBrowserLooks takes pictures in both schemes and of records of all lengths.
func TestBrowserLooks(t *testing.T) {
	for _, dark := range []bool{false, true} {
		p := open(t, demo("site.toml"), 1280, 1000, dark)
		name := map[bool]string{true: "dark", false: "light"}[dark]
		p.shoot("quarter-" + name)
		p.do(chromedp.Click(`//*[@aria-label="Span in view"]/button[.="week"]`, chromedp.BySearch))
		p.shoot("week-" + name)
		p.do(chromedp.Click(`.x-worth li:nth-child(3) button`, chromedp.ByQuery))
		p.shoot("spike-" + name)
		paper := func() string {
			return eval[string](p, `getComputedStyle(document.getElementById('explorer')).backgroundColor`)
		}
		was := paper()
		p.do(chromedp.Click(`.x-theme`, chromedp.ByQuery))
		if paper() == was {
			t.Errorf("%s: the button changes nothing: %s", name, was)
		}
	}
}

// TestBrowserAccess asks axe-core, whose script AXE names, for what is serious or critical.
func TestBrowserAccess(t *testing.T) {
	script, err := os.ReadFile(os.Getenv("AXE"))
	if err != nil {
		t.Skip("AXE names no script of axe-core")
	}
	for _, dark := range []bool{false, true} {
		p := open(t, demo("site.toml"), 1280, 1000, dark)
		p.do(chromedp.Focus(".x-charts", chromedp.ByQuery), chromedp.KeyEvent(kb.Enter),
			chromedp.Evaluate(string(script), nil))
		p.settle()
		var found json.RawMessage
		p.do(chromedp.Evaluate(`axe.run('#explorer').then((r) => r.violations
			.filter((v) => /serious|critical/.test(v.impact))
			.map((v) => v.id + ': ' + v.nodes.map((n) => n.html + ' ' + n.failureSummary).join(' | ')))`, &found,
			func(e *runtime.EvaluateParams) *runtime.EvaluateParams { return e.WithAwaitPromise(true) }))
		var list []string
		if err := json.Unmarshal(found, &list); err != nil || len(list) > 0 {
			t.Errorf("dark %v: %v %s", dark, err, strings.Join(list, "\n"))
		}
	}
}

// TestBrowserClock: times are those of the report's zone, whatever the browser's is, and a time that the clock shows
// twice goes into a block with its offset: in Dublin 01:30 of 26 October 2031 is 00:30 and 01:30 UTC.
func TestBrowserClock(t *testing.T) {
	p := open(t, demo("site.toml"), 1280, 900, false)
	shown := func() string {
		return eval[string](p, "retotalExplorer.spanText(retotalExplorer.facts.from, retotalExplorer.facts.until)")
	}
	want := shown()
	p.do(emulation.SetTimezoneOverride("Asia/Tokyo"))
	if got := shown(); got != want || !strings.HasPrefix(got, "1 Mar 00:00") {
		t.Errorf("in Tokyo %q, elsewhere %q", got, want)
	}
	first := time.Date(2031, 10, 26, 0, 30, 0, 0, time.UTC).Unix()
	for k, want := range []string{"2031-10-26T01:30:00+01:00", "2031-10-26T01:30:00+00:00", "2031-10-26T02:30:00"} {
		at := first + int64(k)*3600
		got := eval[string](p, fmt.Sprintf("retotalExplorer.tomlTime(%d, retotalExplorer.facts.zone)", at))
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// TestBrowserFewReadings: a log of one reading, and one of three, are drawn and say nothing on the console.
func TestBrowserFewReadings(t *testing.T) {
	for _, rows := range []string{
		"2031-03-01 00:00:00,1.3\n",
		"2031-03-01 00:00:00,1.3\n2031-03-01 06:00:00,1.2\n2031-03-09 00:00:00,1.3\n",
	} {
		p := open(t, writeSite(t, "few", "", "Time,Distance (m)\n"+rows), 1280, 900, false)
		p.do(chromedp.Focus(".x-charts", chromedp.ByQuery), chromedp.KeyEvent("+"), chromedp.KeyEvent(kb.Enter))
		p.settle()
		if n := eval[int](p, "retotalExplorer.totals(-1e12, 1e12).rows"); n != strings.Count(rows, "\n") {
			t.Errorf("%d readings of %q", n, rows)
		}
	}
}

// TestBrowserHostileName: what people typed stays text.
func TestBrowserHostileName(t *testing.T) {
	p := open(t, hostileSite(t), 1280, 900, false)
	p.do(chromedp.Focus(".x-charts", chromedp.ByQuery), chromedp.KeyEvent(kb.Enter))
	p.settle()
	if n := eval[int](p, "document.images.length"); n != 0 || eval[bool](p, "!!window.broken") {
		t.Errorf("a name became an element")
	}
	if name := eval[string](p, "retotalExplorer.facts.site"); name != hostileName {
		t.Errorf("the name is %q", name)
	}
}

// TestBrowserWithoutScript: the page says where to look instead.
func TestBrowserWithoutScript(t *testing.T) {
	page := writePage(t, demo("one-day.toml"))
	options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.NoSandbox, chromedp.DisableGPU)
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	defer stop()
	browser, end := chromedp.NewContext(allocator)
	defer end()
	var text string
	err := chromedp.Run(browser, emulation.SetScriptExecutionDisabled(true), chromedp.Navigate("file://"+page),
		chromedp.InnerHTML("noscript", &text, chromedp.ByQuery))
	if err != nil || !strings.Contains(text, "hold all that is") {
		t.Errorf("%v %q", err, text)
	}
}
