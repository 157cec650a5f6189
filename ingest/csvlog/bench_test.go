package csvlog

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// demoLog is the part of a site that the demo's log needs.
func demoLog() *site.Log {
	log := &site.Log{Time: site.Column{Name: "Time"}, Primary: reading.Distance}
	log.Columns[reading.Distance].Name = "Distance"
	log.Columns[reading.Flow].Name = "Flow"
	log.Columns[reading.Counter].Name = "Total"
	log.Columns[reading.Temperature].Name = "Air temperature"
	return log
}

// minuteLog writes rows of one-minute readings with five columns.
func minuteLog(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("Time,Distance (m),Air temperature (degC),Flow (L/s),Total (m3)\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range rows {
		fmt.Fprintf(&b, "%s,%.3f,%.1f,%.2f,%.1f\n", at.Add(time.Duration(i)*time.Minute).Format("2006-01-02 15:04:05"),
			1.05+float64(i%97)/1000, 8+float64(i%70)/10, 9+float64(i%400)/100, 1000+float64(i)*0.6)
	}
	return b.Bytes()
}

// BenchmarkParse is the byte parser alone, one core.
func BenchmarkParse(b *testing.B) {
	text := minuteLog(20000)
	layout, _, bad := detect("log.csv", text, demoLog())
	if bad != nil {
		b.Fatal(bad)
	}
	p := newParser(layout, demoLog())
	var batch reading.Batch
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		p.parse(text[layout.headerEnd:], &batch)
	}
	b.ReportMetric(float64(batch.Len())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
	if batch.Len() != 20000 || len(batch.Rejected) > 0 {
		b.Fatalf("%d readings, %d rejected", batch.Len(), len(batch.Rejected))
	}
}
