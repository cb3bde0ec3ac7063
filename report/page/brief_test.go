package page

import (
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestChart lays three months out by hand. The most is 400 kWh, so the step is
// 100 and the top 400; between the axis at 150 and the top at 10 lie 140 units,
// so that 100 kWh are 35 high and 400 are 140.
func TestChart(t *testing.T) {
	nan := math.NaN()
	c := chartOf([]Month{{2025, 12, 100, 400, 200}, {2026, 1, nan, nan, 300}, {2026, 2, 0, 200, nan}})
	if c.Base != 150 || len(c.Ticks) != 5 || c.Ticks[4] != (tick{10, "400"}) {
		t.Errorf("axis %g, ticks %v", c.Base, c.Ticks)
	}
	if b := c.Bars[0]; !b.Made || b.Y != 115 || b.Height != 35 || b.ExpectedY != 80 || b.Letter != "D" || b.Year != "2025" {
		t.Errorf("first bar %+v", b)
	}
	if b := c.Bars[1]; b.Made || !b.Expected || b.ExpectedY != 45 || b.Year != "2026" {
		t.Errorf("a month without readings %+v", b)
	}
	if b := c.Bars[2]; !b.Made || b.Height != 0 || b.Expected || b.Year != "" {
		t.Errorf("a month of zero %+v", b)
	}
	// Each month is 440/3 wide from 40 on: middles at 113.3, 260 and 406.7. The
	// line breaks where nothing was metered.
	if c.Use != "M113.3 10M406.7 80" {
		t.Errorf("use %s", c.Use)
	}
	if len(chartOf(nil).Bars) != 0 || len(chartOf([]Month{{2026, 1, nan, nan, nan}}).Bars) != 0 {
		t.Error("a chart of nothing is not empty")
	}
	// Of thirty months from January 2024 on the last 24 begin with July.
	if c := chartOf(make30(1)); len(c.Bars) != 24 || c.Months[0].Year != 2024 || c.Months[0].Month != 7 {
		t.Errorf("%d months shown, from %+v", len(c.Bars), c.Months[0])
	}
}

func make30(v float64) []Month {
	ms := make([]Month, 30)
	for i := range ms {
		ms[i] = Month{2024 + i/12, i%12 + 1, v, v, v}
	}
	return ms
}

func TestNiceStep(t *testing.T) {
	for x, want := range map[float64]float64{100: 100, 101: 200, 210: 250, 260: 500, 501: 1000, 0.3: 0.5} {
		if got := niceStep(x); math.Abs(got-want) > 1e-9 {
			t.Errorf("%g: %g, want %g", x, got, want)
		}
	}
}

// TestBriefPrintsOnTwoSheets prints the longest brief with its sheet behind it,
// and the sheet alone, on both paper sizes with a browser, where the machine has
// one: each takes one sheet of paper.
func TestBriefPrintsOnTwoSheets(t *testing.T) {
	browser := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			browser = p
			break
		}
	}
	if browser == "" || testing.Short() {
		t.Skip("skipped: no browser on this machine, or a short test")
	}
	for _, size := range []string{"letter", "A4"} {
		for want, p := range map[int]interface{ Write(io.Writer) error }{2: sampleBrief(), 1: sampleSheet()} {
			dir := t.TempDir()
			in, out := filepath.Join(dir, "brief.html"), filepath.Join(dir, "brief.pdf")
			text := strings.Replace(render(t, p), "</head>", "<style>@page { size: "+size+" portrait; }</style></head>", 1)
			if err := os.WriteFile(in, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--user-data-dir="+dir, "--no-pdf-header-footer", "--print-to-pdf="+out, "file://"+in)
			if msg, err := cmd.CombinedOutput(); err != nil {
				t.Skipf("skipped: the browser would not print: %v %s", err, msg)
			}
			pdf, err := os.ReadFile(out)
			if err != nil {
				t.Fatal(err)
			}
			if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(pdf, -1)); n != want {
				t.Errorf("%s: %d pages, want %d", size, n, want)
			}
		}
	}
}

// TestNothingTwice: a sentence that several parts of a brief were given stands
// on the sheet once, and one that only one part has stands there.
func TestNothingTwice(t *testing.T) {
	b := &Brief{
		Reasons: []string{"A reason."}, Events: []string{"A reason.", "An event."},
		Ceilings: []Ceiling{{Name: "Roof", Says: "Room for 9. Tiles break."}, {Name: "Service", Says: "Room for 7."}},
		Doubts:   []string{"One.", "Two.", "Three.", "Four.", "Five.", "Six.", "Seven."},
	}
	page := render(t, b)
	for _, s := range []string{"A reason.", "An event.", "Room for 9.", "Room for 7.", "Five.", "And 2 more"} {
		if n := strings.Count(page, s); n != 1 {
			t.Errorf("%q stands %d times", s, n)
		}
	}
	if b.Ceilings[0].Says != "Room for 9. Tiles break." || len(b.Events) != 2 {
		t.Error("rendering changed what it was given")
	}
}
