//go:build browser

package results

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// TestBrowserPage: the whole page of the demo, in light and dark, on a screen and on a phone: nothing on the
// console, no request but for the file, nothing wider than the screen, nothing serious found by axe-core (AXE names
// its script). A link to a part opens it. In print nothing stays folded, page one ends with the signatures, and
// every page carries its number and the count of all.
func TestBrowserPage(t *testing.T) {
	_, dir := correct(t, "site.toml")
	file := "file://" + filepath.ToSlash(filepath.Join(dir, "report.html"))
	options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.NoSandbox, chromedp.DisableGPU)
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	defer stop()
	browser, end := chromedp.NewContext(allocator)
	defer end()
	tab, cancel := context.WithTimeout(browser, 3*time.Minute)
	defer cancel()
	chromedp.ListenTarget(tab, func(event any) {
		switch e := event.(type) {
		case *runtime.EventConsoleAPICalled:
			t.Errorf("the console has %v", e.Args)
		case *runtime.EventExceptionThrown:
			t.Error(e.ExceptionDetails)
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; !strings.HasPrefix(u, "file:") && !strings.HasPrefix(u, "blob:") {
				t.Errorf("the page asked for %.80s", u)
			}
		}
	})
	do := func(actions ...chromedp.Action) {
		t.Helper()
		if err := chromedp.Run(tab, actions...); err != nil {
			t.Fatal(err)
		}
	}
	do(network.Enable())
	for _, width := range []int64{1280, 390} {
		for _, scheme := range []string{"light", "dark"} {
			prefers := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}
			wide, open := 0.0, false
			do(chromedp.EmulateViewport(width, 900), emulation.SetEmulatedMedia().WithFeatures(prefers),
				chromedp.Navigate(file), chromedp.WaitReady("#explorer[data-ready]", chromedp.ByQuery),
				chromedp.Evaluate(`document.querySelectorAll("details").forEach(d => d.open = true),
					document.documentElement.scrollWidth - innerWidth`, &wide),
				chromedp.Evaluate(`document.querySelectorAll("details").forEach(d => d.open = false),
					document.querySelector('.open a[href="#limits"]').click(),
					document.querySelector("#limits details").open`, &open))
			if wide > 0 || !open {
				t.Errorf("at %d px, %s: %v px wider than the screen; a link opens its part: %v", width, scheme, wide,
					open)
			}
			if script, err := os.ReadFile(os.Getenv("AXE")); err == nil {
				do(chromedp.Evaluate(string(script), nil))
				var found []string
				do(chromedp.Evaluate(`document.querySelectorAll("details").forEach(d => d.open = true),
					axe.run().then(r => r.violations.filter(v => ["serious", "critical"].includes(v.impact))
						.map(v => v.id + ": " + v.nodes.map(n => n.target).join(" ")))`, &found,
					func(e *runtime.EvaluateParams) *runtime.EvaluateParams { return e.WithAwaitPromise(true) }))
				if len(found) > 0 {
					t.Errorf("at %d px, %s: axe-core finds %v", width, scheme, found)
				}
			}
		}
	}
	var printed []byte
	do(chromedp.Navigate(file), chromedp.WaitReady("#explorer[data-ready]", chromedp.ByQuery),
		chromedp.ActionFunc(func(c context.Context) (err error) {
			printed, _, err = page.PrintToPDF().WithPreferCSSPageSize(true).WithPrintBackground(true).Do(c)
			return err
		}))
	checkPrint(t, printed)
}

// checkPrint reads the printed page by pdftotext (Poppler), where it is there.
func checkPrint(t *testing.T, printed []byte) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "printed.pdf")
	if err := os.WriteFile(file, printed, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Log("there is no pdftotext: pages are not read")
		return
	}
	out, err := exec.Command("pdftotext", "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	pages := strings.Split(strings.TrimRight(string(out), "\f"), "\f")
	for i, text := range pages {
		if want := fmt.Sprintf("page %d of %d", i+1, len(pages)); !strings.Contains(text, want) {
			t.Errorf("page %d does not say %q", i+1, want)
		}
	}
	if n := len(pages); n < 6 || n > 14 {
		t.Errorf("%d pages", n)
	}
	if !strings.Contains(pages[0], "Checked by") {
		t.Error("page one does not end with the signatures")
	}
	for _, word := range []string{"SHA-256", "Corrected volume of each day", "Flagged nothing", "licensed practice"} {
		if !regexp.MustCompile(word).Match(out) {
			t.Errorf("%q is not in print", word)
		}
	}
}
