package moves

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"retotal/testdata/records"
)

var intervals = []time.Duration{1, 5, 15, 60}
var resolutions = []float64{0.0001, 0.0005, 0.001, 0.002, 0.01}

func look(r *records.Record) *Record {
	m := New(r.Resolution)
	for i, x := range r.Level {
		m.Add(r.At[i], x)
	}
	return m
}

// daily is the variation within a day, by readings.
func daily(r *records.Record) float64 {
	per := int(24 * time.Hour / r.Interval)
	var days []float64
	for i := 0; i+per <= len(r.Sound); i += per {
		day := slices.Clone(r.Sound[i : i+per])
		m := median(day)
		for k := range day {
			day[k] = math.Abs(day[k] - m)
		}
		days = append(days, 1.4826*median(day))
	}
	return max(r.Resolution, median(days))
}

func TestProbe2(t *testing.T) {
	seed, _ := strconv.Atoi(os.Getenv("SEED"))
	sites, _ := strconv.Atoi(os.Getenv("SITES"))
	random := rand.New(rand.NewPCG(uint64(seed), 7))
	tf, ta, bad, ns := [4]int{}, [4]int{}, [4]int{}, [4]int{}
	for _, kind := range records.Kinds() {
		for g, minutes := range intervals {
			var counts []int
			found, all, more := [2]int{}, [2]int{}, 0
			why := map[string]int{}
			for range sites {
				res := resolutions[random.IntN(len(resolutions))]
				r := records.Make(random, kind, minutes*time.Minute, res, 365*24*time.Hour)
				N := daily(r)
				m := look(r)
				c := len(m.Find())
				counts = append(counts, c)
				ns[g]++
				if c > 0 {
					bad[g]++
				}
				for _, x := range m.last {
					fmt.Printf("   %v %v res %v n %.4g: %+.4g sharp %.1f fine %v near %.2f goesOn %.2f told %d others %d\n", kind, minutes*time.Minute, res, m.noise, x.change, x.sharp, x.fine, x.near, x.goesOn, x.told, others(m.all, &x))
				}
				for k := range map[bool]int{true: 0, false: 8}[os.Getenv("CLEAN") != ""] {
					one := *r
					one.Level, one.Injected = slices.Clone(r.Sound), nil
					size := 10 * N * (1 + random.Float64())
					if k%2 == 1 {
						size = -size
					}
					one.Move(random, size)
					m := look(&one)
					f := one.Injected[0].From
					all[k%2]++
					ta[g]++
					hit := false
					for _, l := range m.Find() {
						if l.After == one.At[f] {
							hit = true
						} else {
							more++
						}
					}
					if hit {
						found[k%2]++
						tf[g]++
						continue
					}
					j := -1
					large := m.large()
					for i := range large {
						if large[i].after == one.At[f] {
							j = i
						}
					}
					if j < 0 {
						why["large"]++
						continue
					}
					l, ok := m.leapOf(large[j : j+1])
					switch {
					case l.size == 0:
						why["edge"]++
					case !ok:
						why["near"]++
					case !m.isMove(&l):
						if math.Abs(l.goesOn) > 0.3 {
							why[fmt.Sprintf("goesOn%v", l.fine)]++
						} else {
							why["shift"]++
						}
					default:
						why["others"]++
					}
				}
			}
			fmt.Printf("%v %d min: clean %v found up %d/%d down %d/%d, others %d %v\n", kind, minutes, counts, found[0], all[0], found[1], all[1], more, why)
		}
	}
	fmt.Println("found", tf, ta, "clean sites with any", bad, ns)
}
