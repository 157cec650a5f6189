package csvlog

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"testing"
)

// TestFastNumberEqualsStrconv compares with strconv bit by bit on numbers of all shapes.
func TestFastNumberEqualsStrconv(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	read := 0
	for range 500000 {
		text := fmt.Sprintf("%.*f", random.IntN(8), random.Float64()*float64(uint64(1)<<random.IntN(45)))
		switch random.IntN(6) {
		case 0:
			text = "-" + text
		case 1:
			text = "+" + text
		case 2:
			text = strconv.Itoa(random.IntN(1000)) + "."
		}
		for _, end := range []string{",2031-03-01 00:00:00,1\n", "\n2031-03-01 00:00:00,1\n"} {
			v, next, ok := fastNumber([]byte(text+end), 0, '.')
			if !ok {
				continue
			}
			read++
			want, err := strconv.ParseFloat(text, 64)
			if err != nil || v != want || next != len(text) {
				t.Fatalf("%q: %v up to byte %d, strconv %v, %v", text+end, v, next, want, err)
			}
		}
	}
	if read < 500000 {
		t.Errorf("only %d numbers went the fast way", read)
	}
}

func TestNumberGrammar(t *testing.T) {
	for _, c := range []struct {
		text string
		want float64
		ok   bool
	}{
		{"1.25", 1.25, true}, {"-0.5", -0.5, true}, {"+3", 3, true}, {".5", 0.5, true}, {"5.", 5, true}, {"1e3", 1000, true}, {"1.5E-3", 0.0015, true},
		{"123456789012345678901234567890", 123456789012345678901234567890, true},
		{"", 0, false}, {".", 0, false}, {"-", 0, false}, {"NaN", 0, false}, {"nan", 0, false}, {"Inf", 0, false}, {"-inf", 0, false}, {"0x1p3", 0, false},
		{"1_0", 0, false}, {"1e999", 0, false}, {"1.2.3", 0, false}, {"1,5", 0, false}, {"12 5", 0, false}, {"--", 0, false}, {"e5", 0, false},
	} {
		if v, ok := slowNumber([]byte(c.text), '.'); ok != c.ok || v != c.want {
			t.Errorf("%q: %v, %v", c.text, v, ok)
		}
	}
	// NUM-DEC of the reference (PapaParse issue 290): decimal comma with dots between thousands; and other marks.
	for _, c := range []struct {
		text    string
		decimal byte
		want    float64
		ok      bool
	}{
		{"-21.419,06", ',', -21419.06, true},
		{"37.996,97", ',', 37996.97, true},
		{"-53,9", ',', -53.9, true},
		{"1,234.5", '.', 1234.5, true},
		{"1,234,567", '.', 1234567, true},
		{"1 234,5", ',', 1234.5, true},
		{"1'234.5", '.', 1234.5, true},
		{"-1 234", '.', -1234, true},
		{"1 23", '.', 0, false},
		{"1,234 567.5", '.', 0, false},
		{"1,234", '.', 0, false},
		{"1.234", ',', 0, false},
		{"12,34.5", '.', 0, false},
		{"1,2345.6", '.', 0, false},
	} {
		if v, ok := slowNumber([]byte(c.text), c.decimal); ok != c.ok || v != c.want {
			t.Errorf("%q with decimal %q: %v, %v", c.text, c.decimal, v, ok)
		}
	}
	if n := decimals([]byte("-21.419,06"), ','); n != 2 {
		t.Errorf("-21.419,06 has %d decimals", n)
	}
	if v, ok := slowNumber([]byte("1,25"), ','); !ok || v != 1.25 {
		t.Errorf("1,25 with a decimal comma: %v, %v", v, ok)
	}
}
