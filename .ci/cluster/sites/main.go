// Command sites writes a table of generated sites on a template, each with a log of its own: sites FOLDER COUNT [DAYS].
// Each has 31 days, or so many, of levels every 15 minutes over a V-notch; of every third the empty distance was 20 mm
// off.
package main

import (
	"fmt"
	"log"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

const template = `id = "template"
[log]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = "Distance (m)"
[settings]
maximum_head = "0.5 m"
[settings.device]
kind = "v-notch"
angle = "90 deg"
`

func main() {
	if len(os.Args) < 3 {
		log.Fatal("usage: sites FOLDER COUNT [DAYS]")
	}
	numbers := []int{0, 31}
	for i, text := range os.Args[2:] {
		n, err := strconv.Atoi(text)
		if err != nil || i >= len(numbers) {
			log.Fatal("usage: sites FOLDER COUNT [DAYS]")
		}
		numbers[i] = n
	}
	if err := write(os.Args[1], numbers[0], numbers[1]); err != nil {
		log.Fatal(err)
	}
}

func write(dir string, count, days int) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	random := rand.New(rand.NewPCG(17, 4))
	var rows strings.Builder
	rows.WriteString("id,log.files,settings.empty_distance (m),correction.1.reason,correction.1.empty_distance (m)\n")
	for i := range count {
		id, empty := fmt.Sprintf("weir-%05d", i), 1.2+float64(i%50)/1000
		name := filepath.Join(dir, id+".csv")
		if err := os.WriteFile(name, levels(days, empty, 0.08+0.1*random.Float64()), 0o644); err != nil {
			return err
		}
		correction := ","
		if i%3 == 0 {
			correction = fmt.Sprintf("survey,%.3f", empty-0.02)
		}
		fmt.Fprintf(&rows, "%s,%s.csv,%.3f,%s\n", id, id, empty, correction)
	}
	if err := os.WriteFile(filepath.Join(dir, "template.toml"), []byte(template), 0o644); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, "sites.csv"), []byte(rows.String()), 0o644)
}

// levels is a log every 15 minutes: a base with a daily course, and a storm every ten days.
func levels(days int, empty, base float64) []byte {
	var b strings.Builder
	b.WriteString("Time,Distance (m)\n")
	start := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for k := range days * 96 {
		head := base*(1+0.15*math.Sin(2*math.Pi*float64(k)/96)) + 0.06*math.Exp(-float64((k+200)%990)/60)
		fmt.Fprintf(&b, "%s,%.3f\n", start.Add(time.Duration(k)*15*time.Minute).Format("2006-01-02 15:04"), empty-head)
	}
	return []byte(b.String())
}
