package problem

import "testing"

// TestOrdinal: the ordinals of English, 11th to 13th being the exceptions of the teens in every hundred.
func TestOrdinal(t *testing.T) {
	for i, want := range map[int]string{
		0: "first", 1: "second", 9: "tenth", 10: "11th", 11: "12th", 12: "13th", 20: "21st", 21: "22nd", 22: "23rd",
		23: "24th", 110: "111th", 120: "121st",
	} {
		if got := Ordinal(i); got != want {
			t.Errorf("Ordinal(%d) = %q, want %q", i, got, want)
		}
	}
	if got := Entry("ruling", 2, 0) + ", " + Entry("correction", 0,
		31); got != "the third ruling, the first correction (line 31)" {
		t.Error(got)
	}
}
