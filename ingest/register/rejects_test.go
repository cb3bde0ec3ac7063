package register

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"

	"github.com/google/go-cmp/cmp"
)

// TestRejects runs the text cases of testdata/rejects.txt, whose first lines
// say how they are written.
func TestRejects(t *testing.T) {
	text, err := os.ReadFile("testdata/rejects.txt")
	if err != nil {
		t.Fatal(err)
	}
	cases := strings.Split(string(text), "\n== ")[1:]
	for _, c := range cases {
		name, rest, _ := strings.Cut(c, "\n")
		t.Run(name, func(t *testing.T) {
			input, wanted, _ := strings.Cut(rest, "\n-- want\n")
			file, csv, _ := strings.Cut(input, "\n")
			f, err := Read(folder(t, map[string]string{file: csv + "\n"}), smallOptions)
			if err != nil {
				t.Fatal(err)
			}
			want := strings.Split(strings.TrimSpace(wanted), "\n")
			got := said(f)
			// Rows of the other files, whose sites are gone, are one case's matter.
			if file == "sites.csv" && !strings.Contains(wanted, "bills.csv") {
				got = slices.DeleteFunc(got, func(l string) bool { return strings.Contains(l, `must be in sites.csv`) })
			}
			slices.Sort(want)
			slices.Sort(got)
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
			conserved(t, f)
		})
	}
}

// said gives what a fleet says of what was set aside, in the cases' form.
func said(f *ingest.Fleet) []string {
	var lines []string
	for _, r := range f.Rejects {
		kept := ""
		if r.Kept {
			kept = "kept "
		}
		lines = append(lines, strings.TrimSpace(fmt.Sprintf("%s%s:%d: column %q: %s [%s] %s", kept, r.File, r.Line, r.Column, r.Reason, r.Value, r.SiteID)))
	}
	for _, n := range f.Notes {
		lines = append(lines, "note: "+n)
	}
	if len(f.SitesSetAside) > 0 {
		lines = append(lines, "lost "+strings.Join(f.SitesSetAside, " "))
	}
	return lines
}

// conserved wants every row that was read to be kept or set aside, and each
// reject of a known site among the site's problems.
func conserved(t *testing.T, f *ingest.Fleet) {
	t.Helper()
	kept := f.Len() + len(f.Outcomes)
	problems := 0
	for _, s := range f.All() {
		kept += len(s.Arrays) + len(s.Planes) + len(s.Bills)
		if s.Service != nil {
			kept++
		}
		if s.Gateway != nil {
			kept++
		}
		problems += len(s.Problems)
	}
	aside := map[string]bool{}
	ofKnown := 0
	for _, r := range f.Rejects {
		if !r.Kept {
			aside[fmt.Sprint(r.File, r.Line)] = true
		}
		if f.Site(r.SiteID) != nil {
			ofKnown++
		}
	}
	if kept+len(aside) != f.RowsRead {
		t.Errorf("%d rows kept and %d set aside are not the %d read", kept, len(aside), f.RowsRead)
	}
	if problems != ofKnown {
		t.Errorf("%d problems at the sites, %d rejects of known sites", problems, ofKnown)
	}
}
