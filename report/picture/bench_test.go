package picture

import (
	"os"
	"testing"
)

// BenchmarkPictures draws every picture of a site named by SITE, as files and for a page.
func BenchmarkPictures(b *testing.B) {
	name := os.Getenv("SITE")
	if name == "" {
		b.Skip("SITE names no site file")
	}
	g, run := passed(b, name)
	b.Run("all files", func(b *testing.B) {
		for b.Loop() {
			if _, err := g.Draw(run, func(string, []byte) error { return nil }); err != nil {
				b.Fatal(err)
			}
		}
	})
	for _, n := range append(Names(), "phone") {
		b.Run(n, func(b *testing.B) {
			for b.Loop() {
				list := Phone(run)
				if n != "phone" {
					list, _ = g.Pages(run, n, Options{})
				}
				for _, p := range list {
					p.SVG()
					p.Inline()
					if n != "phone" {
						if _, err := p.PNG(); err != nil {
							b.Fatal(err)
						}
					}
				}
			}
		})
	}
}
