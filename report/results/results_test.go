package results

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/report"
	"retotal/report/page"
	"retotal/report/waterml"
)

// correct runs one of the demo's site files and returns the run and the folder of its results.
func correct(t *testing.T, file string) (*report.Run, string) {
	t.Helper()
	return correctWith(t, file, Options{WaterML: true})
}

func correctWith(t *testing.T, file string, o Options) (*report.Run, string) {
	t.Helper()
	s, err := site.Load(filepath.Join("..", "..", "testdata", "quarry-lane", file))
	if err != nil {
		t.Fatal(err)
	}
	log, err := ingest.Open(s)
	if err != nil {
		t.Fatal(err)
	}
	log.Hashed = true
	folder, bad := report.NewFolder(t.TempDir(), log)
	if bad != nil {
		t.Fatal(bad)
	}
	w, err := New(folder, log, o)
	if err != nil {
		t.Fatal(err)
	}
	result, err := recompute.Run(context.Background(), log, log.Site, recompute.Options{
		Budget: true, Cells: Cells,
		Rows: func() (func(*recompute.Rows) error, error) { return w.Rows, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	run := &report.Run{
		Result: result, Log: log, Findings: audit.Findings(result, nil), Over: audit.DailyLimit(result),
		Limits: audit.Limits(result), Version: "test",
	}
	if err := errors.Join(w.Write(run), folder.Commit("")); err != nil {
		t.Fatal(err)
	}
	return run, folder.Path()
}

// TestWaterML: a general XML reader finds a point a day, each with the mean flow of the result to nine digits, and a
// hostile name comes back as it was, but for what XML cannot hold.
func TestWaterML(t *testing.T) {
	run, _ := correct(t, "site.toml")
	run.Result.Site.Name = "=x\"<&]]></wml2:Collection>\u202e\x01"
	text, err := waterml.Daily(run)
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Name   string `xml:"samplingFeatureMember>MonitoringPoint>name"`
		Points []struct {
			Time    time.Time `xml:"MeasurementTVP>time"`
			Value   string    `xml:"MeasurementTVP>value"`
			Quality struct {
				Is string `xml:"href,attr"`
			} `xml:"MeasurementTVP>metadata>TVPMeasurementMetadata>quality"`
		} `xml:"observationMember>OM_Observation>result>MeasurementTimeseries>point"`
	}
	if err := xml.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	if want := strings.Replace(run.Result.Site.Name, "\x01", "\ufffd", 1); doc.Name != want {
		t.Errorf("the name is %q, want %q", doc.Name, want)
	}
	if len(doc.Points) != len(run.Result.Days) {
		t.Fatalf("%d points of %d days", len(doc.Points), len(run.Result.Days))
	}
	estimates := 0
	for i, p := range doc.Points {
		d := &run.Result.Days[i]
		v, err := strconv.ParseFloat(p.Value, 64)
		want := d.After.M3() / (float64(d.After.Covered) / 1e9)
		if err != nil || math.Abs(v-want) > 1e-8*want || p.Time.UnixNano() != d.From {
			t.Errorf("%s: %v at %v, want %v (%v)", d.Label, v, p.Time, want, err)
		}
		if strings.HasSuffix(p.Quality.Is, "/estimate") {
			estimates++
		}
	}
	if estimates == 0 {
		t.Error("no day is an estimate, and some have bridged or bounded flow")
	}
}

func TestPage(t *testing.T) {
	_, dir := correct(t, "site.toml")
	text, err := os.ReadFile(filepath.Join(dir, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	checkPage(t, string(text))
}

// TestHostileNames: names and reasons of a site file are text in the page, whatever they hold, and break neither its
// style nor its markup.
func TestHostileNames(t *testing.T) {
	run, _ := correct(t, "site.toml")
	for _, hostile := range []string{
		"</title><script>alert(1)</script>", `"; } body { display: none } /*`, "<img src=x onerror=alert(1)>",
		"]]>--><x>",
	} {
		s := run.Result.Site
		s.Name, s.Corrections[0].Reason, s.Approval.Author = hostile, hostile, hostile
		s.Approval.Evidence = []string{hostile}
		text, err := page.HTML(run, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, raw := range []string{"<script>alert", "<img src=x", "--><x>"} {
			if bytes.Contains(text, []byte(raw)) {
				t.Errorf("%q stands in the page as %q", hostile, raw)
			}
		}
		style, _, ended := strings.Cut(string(text), "</style>")
		if _, style, _ = strings.Cut(style, "<style>"); !ended || strings.Contains(style, "body { display: none }") {
			t.Errorf("%q is no text in the page's style", hostile)
		}
	}
}

// checkPage: one file, nothing fetched from elsewhere, the cautions and all pictures in it.
func checkPage(t *testing.T, page string) {
	t.Helper()
	if n := strings.Count(page, "<svg"); n < 7 {
		t.Errorf("%d pictures in the page", n)
	}
	said := regexp.MustCompile(`(?s)<script.*?</script>`).ReplaceAllString(page, "") // NaN is a word of scripts
	for _, never := range []string{"src=\"http", "href=\"http", "@import", "ZgotmplZ", "NaN", "<no value>"} {
		if strings.Contains(said, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	for _, always := range []string{"competent person", "confined spaces", "Tape survey of 2 April"} {
		if !strings.Contains(page, always) {
			t.Errorf("the page lacks %q", always)
		}
	}
}
