package paper

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"

	"retotal/report"
)

// hostile are texts that somebody may write: markup, control characters, letters that the fonts lack, long words.
var hostile = []string{
	"", "=1+1", "</script><b>", "a\x00b\tc\nd", "水位 ☃ 🌊 \u202eabc", strings.Repeat("W", 5000), "(\\)",
	strings.Repeat("w ", 3000), "\xff\xfe",
}

// TestHostileLetter: whatever a site file says, the document is made, twice with the same bytes.
func TestHostileLetter(t *testing.T) {
	for _, text := range hostile {
		letter := &report.Letter{
			Title: text, Period: text, Status: "DRAFT", Unit: "m³", Reported: true, BeforeIs: text, Note: text,
			Strip:    []report.Entry{{Key: "Device", Text: text}, {Key: "Hash", Text: text, Mono: true}},
			Sentence: []report.Phrase{{Text: text, Strong: true}, {Text: text}}, OnFile: text,
			Answer: []report.Phrase{{Text: text}}, Prepared: text, Checked: text, Foot: [2]string{text, "site 1"},
			Points: []report.Point{{Clause: text, Text: text, Part: report.PartWhy}},
			Rests:  []report.Rest{{Mark: "✓", Word: text, Text: text}},
			Months: []report.Month{{Name: text, Before: text, After: text, State: report.AtLeast}},
		}
		table := &report.PageTable{Caption: text, Head: []report.PageCell{{Text: text}, {Text: text, Right: true}}}
		for range 80 {
			table.Rows = append(table.Rows, []report.PageCell{{Text: text}, {Text: text, Right: true}})
		}
		if len(text) > 1000 {
			table.Rows = table.Rows[:2]
		}
		var made [2]bytes.Buffer
		for i := range made {
			p := newPaper(letter, nil)
			p.page(false)
			p.pageOne()
			p.table(table)
			p.code(text)
			p.paragraph(text, "")
			if err := p.pdf.Output(&made[i]); err != nil {
				t.Fatalf("%.20q: %v", text, err)
			}
		}
		if !bytes.HasPrefix(made[0].Bytes(), []byte("%PDF-")) || !bytes.Equal(made[0].Bytes(), made[1].Bytes()) {
			t.Errorf("%.20q: %d and %d bytes, not the same", text, made[0].Len(), made[1].Len())
		}
	}
}

// TestShared: columns fill the page, and figures are not broken as long as there is room for them.
func TestShared(t *testing.T) {
	for _, c := range []struct {
		least, natural []float64
		fits           bool
	}{
		{[]float64{10, 10}, []float64{20, 30}, true},
		{[]float64{10, 60}, []float64{200, 60}, true},
		{[]float64{80, 90}, []float64{90, 90}, false},
	} {
		got, fits := shared(c.least, c.natural, 100)
		sum := 0.0
		for i, w := range got {
			sum += w
			if fits && w < c.least[i] {
				t.Errorf("%v: column %d is %v wide", c, i, w)
			}
		}
		if math.Abs(sum-100) > 1e-9 || fits != c.fits {
			t.Errorf("%v: %v, %v", c, got, fits)
		}
	}
}

// TestCanvas: a picture's origin is at the bottom left, in points, turned and scaled by the matrices that its
// transforms make.
func TestCanvas(t *testing.T) {
	c := newCanvas(nil, 10, 200, 0.5)
	c.Push()
	c.Translate(vg.Point{X: 100, Y: 20})
	c.Rotate(math.Pi / 2)
	c.Scale(2, 2)
	if x, y := c.at(vg.Point{X: 10, Y: 0}); math.Abs(x-60) > 1e-9 || math.Abs(y-180) > 1e-9 {
		t.Errorf("%v, %v: want 10 + 100/2 and 200 - (20 + 20)/2", x, y)
	}
	c.Pop()
	if x, y := c.at(vg.Point{X: 4, Y: 4}); x != 12 || y != 198 {
		t.Errorf("%v, %v after Pop", x, y)
	}
}
