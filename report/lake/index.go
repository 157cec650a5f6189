package lake

import (
	"bytes"
	_ "embed" // the page
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
)

//go:embed index.html
var indexText string

var indexPage = template.Must(template.New("index").Parse(indexText))

// indexData is what the page shows.
type indexData struct {
	Title, Answer string
	Rows          []indexRow
}

// indexRow is one site on the page.
type indexRow struct {
	Failed                bool
	ID, Name, Device, Why string
	Link                  string
	Numbers               []cell
	Before, After         string // of the picture
	Visit                 cell
	Needs                 int64
}

// cell is a number for people, and as it sorts: "" for none.
type cell struct{ Value, Text string }

// index makes the page.
func index(pieces []*Piece, sites []Site) ([]byte, error) {
	courses := map[string]*Course{}
	for _, p := range pieces {
		courses[p.Site.ID] = p.Course
	}
	data := indexData{
		Title:  fmt.Sprintf("Corrected totals of %d sites", len(sites)),
		Answer: strings.ReplaceAll(Answer(sites), "m3", "m³"),
	}
	for i := range sites {
		s := &sites[i]
		row := indexRow{Failed: s.State == Failed, ID: s.ID, Name: s.Name, Device: s.Device, Needs: s.Needs,
			Why: s.First, Visit: number(s.SinceDays, 0)}
		if row.Failed {
			row.Why = s.Reason
		} else {
			row.Link = "sites/" + s.ID + "/report.html"
		}
		var percent, coverage *float64
		if s.Difference != nil && s.Before != nil && *s.Before != 0 {
			v := 100 * *s.Difference / *s.Before
			percent = &v
		}
		if s.Coverage != nil {
			v := 100 * *s.Coverage
			coverage = &v
		}
		stake := &s.AtStake
		if row.Failed {
			stake = nil
		}
		row.Numbers = []cell{number(stake, 0), number(s.Before, 0), number(s.After, 0), withSign(s.Difference),
			number(percent, 1), number(coverage, 1)}
		if c := courses[s.ID]; c != nil {
			row.Before, row.After = c.paths()
		}
		data.Rows = append(data.Rows, row)
	}
	var b bytes.Buffer
	err := indexPage.Execute(&b, data)
	return b.Bytes(), err
}

// Answer is what a batch came to, in a sentence or two.
func Answer(sites []Site) string {
	failed, needs, changed, stake := 0, 0, 0.0, 0.0
	for i := range sites {
		s := &sites[i]
		if s.State == Failed {
			failed++
		}
		if s.Needs > 0 {
			needs++
		}
		if s.Difference != nil {
			changed += *s.Difference
		}
		stake += s.AtStake
	}
	text := fmt.Sprintf("%s of %s sites are done", grouped(float64(len(sites)-failed), 0),
		grouped(float64(len(sites)), 0))
	if failed > 0 {
		text += fmt.Sprintf(", %s could not be done", grouped(float64(failed), 0))
	}
	return text + fmt.Sprintf("; at %s a person has to look. The corrections change %s m3 in all; %s m3 are at stake.",
		grouped(float64(needs), 0), signed(changed), grouped(stake, 0))
}

// signed writes a volume with its sign; nothing has none.
func signed(v float64) string { return withSign(&v).Text }

// withSign is number with a sign.
func withSign(v *float64) cell {
	c := number(v, 0)
	if v != nil && *v > 0 && strings.Trim(c.Text, "0.") != "" {
		c.Text = "+" + c.Text
	}
	return c
}

// number is a number with so many decimals; of numbers below ten none of volumes is lost.
func number(v *float64, decimals int) cell {
	if v == nil {
		return cell{}
	}
	if a := math.Abs(*v); decimals == 0 && a > 0 && a < 10 {
		decimals = 2
	}
	return cell{strconv.FormatFloat(*v, 'f', -1, 64), grouped(*v, decimals)}
}

// grouped writes a number with commas between thousands.
func grouped(v float64, decimals int) string {
	text := strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
	whole, fraction, _ := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if fraction != "" {
		whole += "." + fraction
	}
	if v < 0 && strings.Trim(text, "0.") != "" {
		return "-" + whole
	}
	return whole
}

// Room of the picture of a site, as its view box has it.
const (
	courseWidth  = 60
	courseHeight = 20
)

// paths draws both lanes from zero to their greatest value.
func (c *Course) paths() (before, after string) {
	most := 0.0
	for _, lane := range [][]*float64{c.Before, c.After} {
		for _, v := range lane {
			if v != nil {
				most = max(most, *v)
			}
		}
	}
	if most == 0 {
		most = 1
	}
	draw := func(lane []*float64) string {
		var b strings.Builder
		pen := "M"
		for i, v := range lane {
			if v == nil {
				pen = "M"
				continue
			}
			x := courseWidth * (float64(i) + 0.5) / float64(len(lane))
			fmt.Fprintf(&b, "%s%.1f %.1f", pen, x, courseHeight-1-(courseHeight-2)*max(*v, 0)/most)
			if pen == "M" {
				fmt.Fprint(&b, "h.1") // a part alone is seen, too
			}
			pen = "L"
		}
		return b.String()
	}
	return draw(c.Before), draw(c.After)
}
