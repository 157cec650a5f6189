package device

import (
	"flag"
	"fmt"
	"math"
	"strings"
	"testing"

	"retotal/ingest/quantity"
)

// update renews the table of agreement, never a published value.
var update = flag.Bool("update", false, "renew golden files")

// pair is a flow, or a ratio, of ours and the published one.
type pair struct {
	row       string
	got, want float64
}

// comparisons hold every device family to published rows that were read, or to an independent computation. Band is the
// relative deviation that is accepted: the printed rounding where the table follows the same equation, the band of the
// reference where it follows another.
var comparisons = []struct {
	device, source string
	band           float64
	pairs          func(*testing.T) []pair
}{
	{"V-notch 90 deg, Kindsvater-Shen", "Oregon State EC 550 (1952), another equation, h >= 0.27 ft", 0.01, func(t *testing.T) []pair { return vnotchPairs(t, nil, 0.27) }},
	{"V-notch 90 deg, Cone", "Oregon State EC 550 (1952), h >= 0.27 ft", 0.016, func(t *testing.T) []pair {
		return vnotchPairs(t, map[string]any{"angle": "90 deg", "equation": "cone"}, 0.27)
	}},
	{"V-notch 90 deg, partial contraction Ce", "chart of Kulin and Compton (1975), digitised in public code: the transcription", 1e-9, partialPairs},
	{"rectangular, Rehbock", "open library after Blevins (1984), offset 1.25 mm", 0.0006, rehbockPairs},
	{"rectangular, Francis contracted 2 ft", "Oregon State EC 550 (1952), another equation", 0.016, francisPairs},
	{"Parshall, free flow", "open teaching tables, metric K to four digits", 0.002, parshallPairs},
	{"Parshall, Parshall's deduction", "open script of the 2 ft flume, printed to six digits", 5e-6, deductionPairs},
	{"HL flume 4 ft", "Bos (1989) equation, read", 2e-6, hFlumePairs},
	{"cutthroat, free flow", "encyclopaedia table, C and n read", 5e-6, cutthroatPairs},
	{"broad-crested, Bos C(H/L)", "Brater and King in EPA SWMM Vol. II table 6-3, another source", 0.07, braterPairs},
	{"broad-crested, velocity of approach", "Bos (1989) Cv chart digitised, alpha = 1.04 in it", 0.012, approachPairs},
	{"critical flow, trapezoid", "shape coefficient Cs, computed independently", 1e-5, func(t *testing.T) []pair { return shapePairs(t, "shape-Cs-trapezoid.csv") }},
	{"critical flow, U", "shape coefficient Cu, computed independently", 1e-5, func(t *testing.T) []pair { return shapePairs(t, "shape-Cu-U.csv") }},
	{"Manning, circular", "EPA SWMM Vol. II table C-1, y/D >= 0.1", 0.0011, func(t *testing.T) []pair { return circlePairs(t, "Table C-1", 0.1) }},
	{"Manning, circular by area", "EPA SWMM Vol. II table C-2, without one inconsistent row", 0.0106, func(t *testing.T) []pair { return circlePairs(t, "Table C-2", 0.1) }},
	{"Manning, worked examples", "R package hydraulics 0.7.2, printed to two or three digits", 0.06, manningPairs},
	{"rating table, log", "USGS 01541303 expanded rating", 0.00014, usgsPairs},
}

// TestPublished holds all comparisons and writes the table of their worst deviations.
func TestPublished(t *testing.T) {
	var table strings.Builder
	fmt.Fprintf(&table, "%-38s %5s %11s %11s  %s\n", "device", "rows", "worst", "band", "source")
	for _, c := range comparisons {
		pairs := c.pairs(t)
		if len(pairs) == 0 {
			t.Errorf("%s: no row of %s", c.device, c.source)
		}
		worst := 0.0
		for _, p := range pairs {
			off := p.got/p.want - 1
			if math.Abs(off) > math.Abs(worst) {
				worst = off
			}
			if !(math.Abs(off) <= c.band) {
				t.Errorf("%s, %s: %.7g, published %.7g (%+.3f %%, band %.4g %%)",
					c.device, p.row, p.got, p.want, 100*off, 100*c.band)
			}
		}
		fmt.Fprintf(&table, "%-38s %5d %+10.4f%% %10.4g%%  %s\n", c.device, len(pairs), 100*worst, 100*c.band, c.source)
	}
	golden(t, "agreement.txt", table.String())
}

func vnotchPairs(t *testing.T, values map[string]any, leastFeet float64) (out []pair) {
	if values == nil {
		values = map[string]any{"angle": "90 deg"}
	}
	r := build(t, "v-notch", values)
	for _, row := range published(t, "vnotch90_osu_ec550.csv") {
		if h := number(t, row["head_m_from_0.01ft_series"]); h >= leastFeet*0.3048 {
			out = append(out, pair{fmt.Sprintf("h = %.5f m", h), r.Flow(h), number(t, row["flow_m3s_exact_gpm"])})
		}
	}
	return out
}

func partialPairs(t *testing.T) (out []pair) {
	for _, row := range published(t, "vnotch90_partial_contraction_ce.csv") {
		if strings.HasPrefix(row["h_over_p"], "curve") {
			continue
		}
		for _, column := range partialColumns {
			name := fmt.Sprintf("Ce_at_p_over_B_%.1f", column)
			if h := number(t, row["h_over_p"]); row[name] != "" && h <= partialEnd(math.Min(column, 0.999)) {
				out = append(out, pair{
					fmt.Sprintf("h/p %g, p/B %g", h, column), partialCe(h, column), number(t, row[name]),
				})
			}
		}
	}
	return out
}

func rehbockPairs(t *testing.T) (out []pair) {
	for _, row := range published(t, "rectangular_fullwidth_fluids_library.csv") {
		if !strings.HasPrefix(row["equation"], "Rehbock") {
			continue
		}
		r := build(t, "rectangular", map[string]any{
			"equation":      "rehbock",
			"width":         row["b_m"] + " m",
			"channel_width": row["B_m"] + " m",
			"crest_height":  row["p_m"] + " m",
		})
		out = append(out, pair{row["equation"], r.Flow(number(t, row["head"])), number(t, row["flow"])})
	}
	return out
}

func francisPairs(t *testing.T) (out []pair) {
	r := build(t, "rectangular", map[string]any{
		"equation": "francis", "width": "2 ft", "channel_width": "10 ft", "crest_height": "3 ft",
	})
	for _, row := range published(t, "rectangular_contracted_osu_ec550.csv") {
		if h := number(t, row["head_m_from_0.01ft_series"]); row["b"] == "2" && h >= 0.2*0.3048 {
			out = append(out, pair{fmt.Sprintf("h = %.5f m", h), r.Flow(h), number(t, row["flow_m3s_exact_gpm"])})
		}
	}
	return out
}

func flow(t *testing.T, row map[string]string) (h, q float64) {
	t.Helper()
	head, err := quantity.Parse(row["head"]+" "+row["head_unit"], quantity.LengthDimension)
	if err != nil {
		t.Fatal(err)
	}
	v, err := quantity.Parse(row["flow"]+" "+row["flow_unit"], quantity.FlowDimension)
	if err != nil {
		t.Fatal(err)
	}
	return head.SI, v.SI
}

func parshallPairs(t *testing.T) (out []pair) {
	for _, row := range published(t, "parshall-free-flow.csv") {
		r := build(t, "parshall", map[string]any{"throat": row["throat_width"] + " " + row["throat_unit"]})
		h, q := flow(t, row)
		out = append(out, pair{row["throat_width"] + " " + row["throat_unit"] + ", h " + row["head"], r.Flow(h), q})
	}
	return out
}

func deductionPairs(t *testing.T) (out []pair) {
	for _, row := range published(t, "parshall-submerged.csv") {
		w, s, ha := number(t, row["throat_width"]), number(t, row["submergence_Hb_over_Ha"]), number(t, row["head"])
		free := 4 * w * math.Pow(ha, 1.522*math.Pow(w, 0.026))
		out = append(out, pair{
			fmt.Sprintf("S = %g, ha = %g ft", s, ha), free - parshallDeduction(w, ha, s), number(t, row["flow"]),
		})
	}
	return out
}

func hFlumePairs(t *testing.T) (out []pair) {
	r := build(t, "h-flume", map[string]any{"type": "HL", "depth": "4 ft"})
	for _, row := range published(t, "h-flumes.csv") {
		h, q := flow(t, row)
		out = append(out, pair{"h " + row["head"], r.Flow(h), q})
	}
	return out
}

func cutthroatPairs(t *testing.T) (out []pair) {
	for _, row := range published(t, "cutthroat.csv") {
		r := build(t, "cutthroat", map[string]any{
			"length": row["length_in"] + " in", "throat": row["throat_in"] + " in",
		})
		h, q := flow(t, row)
		out = append(out, pair{row["length_in"] + " x " + row["throat_in"] + ", h " + row["head"], r.Flow(h), q})
	}
	return out
}

func braterPairs(t *testing.T) (out []pair) {
	for _, row := range published(t, "broad-crested-brater-king.csv") {
		length, h := number(t, row["crest_breadth"]), number(t, row["head"])
		if h/length < 0.08 || h/length > 1.5 {
			continue
		}
		r := build(t, "broad-crested", map[string]any{
			"width": "1 ft", "crest_length": fmt.Sprintf("%g ft", length), "crest_height": "10 ft",
		})
		out = append(out, pair{
			fmt.Sprintf("L = %g ft, H = %g ft", length, h), r.Flow(h*0.3048) / cubicFoot, number(t, row["flow"]),
		})
	}
	return out
}

// approachPairs compares Cv = (H/h)^1.5 of the velocity of approach with the chart at C* A*/A = Cd b h/A1, below 0.78.
func approachPairs(t *testing.T) (out []pair) {
	for _, row := range published(t, "bos-C-and-Cv-digitised.csv") {
		if row["quantity"] != "Cv" {
			continue
		}
		x := number(t, row["head"])
		if x > 0.78 {
			continue
		}
		unit := func(energy float64) float64 { return criticalUnit * power(energy, 1.5) } // b = 1, Cd = 1
		const h = 0.5
		out = append(out, pair{
			fmt.Sprintf("C*A*/A = %.3f", x), unit(wide(h, x).energy(h, unit)) / unit(h), number(t, row["flow"]),
		})
	}
	return out
}

// wide is a rectangular channel of area h/x at head h.
func wide(h, x float64) channel { return channel{section: trapezoidSection(1/x, 0), known: true} }

func shapePairs(t *testing.T, name string) (out []pair) {
	for _, row := range published(t, name) {
		s, ratio, want := trapezoidSection(1, 1), row["mH_over_b"], row["Cs"]
		if strings.Contains(name, "-U") {
			s, ratio, want = uSection(1), row["H_over_D"], row["Cu"]
		}
		if energy := number(t, ratio); energy > 0 {
			out = append(out, pair{
				"H = " + ratio, s.criticalFlow(energy) / (criticalUnit * power(energy, 1.5)), number(t, want),
			})
		}
	}
	return out
}

func circlePairs(t *testing.T, table string, least float64) (out []pair) {
	r := build(t, "manning", map[string]any{
		"section": "circular", "diameter": "1 m", "roughness": 0.01, "slope": 0.001,
	})
	for _, row := range published(t, "manning-circular.csv") {
		depth := number(t, row["depth_ratio"])
		if row["parameter"] != table || depth < least || row["A_over_Afull"] == "0.96" && table == "Table C-2" {
			continue
		}
		out = append(out, pair{"y/D = " + row["depth_ratio"], r.Flow(depth) / r.Flow(1), number(t, row["flow"])})
	}
	return out
}

// manningPairs are the worked examples whose section and numbers the table gives in full.
func manningPairs(t *testing.T) []pair {
	pipe := build(t, "manning", map[string]any{
		"section": "circular", "diameter": "7 ft", "roughness": 0.015, "slope": 0.0002,
	})
	small := build(t, "manning", map[string]any{
		"section": "circular", "diameter": "0.2 m", "roughness": 0.013, "slope": 0.001,
	})
	trapezoid := build(t, "manning", map[string]any{
		"section": "trapezoidal", "width": "3 m", "side_slope": 2.0, "roughness": 0.013, "slope": 0.0005,
	})
	triangle := build(t, "manning", map[string]any{
		"section": "trapezoidal", "width": "0 m", "side_slope": 1.0, "roughness": 0.011, "slope": 0.0065,
	})
	critical := circleSection(0.2)
	depth, _ := Head(triangle, 1)
	return []pair{
		{"pipe 7 ft, 6.3 ft deep", pipe.Flow(6.3*0.3048) / cubicFoot, 83.5},
		{"pipe 0.2 m, 0.158 m deep", small.Flow(0.158), 0.01},
		{"trapezoid 3 m, 1.83 m deep", trapezoid.Flow(1.83), 22.2},
		{"triangle, depth of 1 m3/s printed as 0.6 m", depth, 0.6},
		{"pipe 0.2 m, critical at 0.085 m", math.Sqrt(Gravity * math.Pow(critical.area(0.085), 3) / critical.width(0.085)), 0.01},
	}
}

func usgsPairs(t *testing.T) (out []pair) {
	r := build(t, "table", map[string]any{
		"interpolation": "log",
		"offset":        "2.00 ft",
		"points":        []any{[]any{"2.50 ft", "27.9 ft3/s"}, []any{"2.58 ft", "39.8 ft3/s"}},
	})
	for _, row := range published(t, "rating-table-usgs.csv") {
		if strings.HasPrefix(row["parameters"], "USGS 01541303") {
			out = append(out, pair{
				row["head"] + " ft", r.Flow(number(t, row["head"])*0.3048) / cubicFoot, number(t, row["flow"]),
			})
		}
	}
	return out
}
