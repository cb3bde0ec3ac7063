package ingest_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rowen/ingest"
	"rowen/ingest/demo"
)

// Kept sites are those that went in, by place, by id and one after the other, and
// what is changed in one stays changed in it alone.
func TestKeptSitesAreTheSites(t *testing.T) {
	o := demo.Default()
	o.Sites = 37 // two blocks and a part of one
	plain := demo.Make(o).Fleet()
	for i := range plain.Sites {
		s := &plain.Sites[i]
		if i%5 == 0 {
			s.Problems = []ingest.Reject{{File: "planes.csv", Line: i, Kept: true}}
			s.Bills = []ingest.Bill{{From: time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC), ImportKWh: 3}}
		}
	}
	kept := &ingest.Fleet{}
	for i := range plain.Sites {
		kept.Keep(&plain.Sites[i])
	}
	same := cmp.Options{cmpopts.EquateNaNs(), cmp.Comparer(func(a, b *time.Location) bool { return a == b || a != nil && b != nil && a.String() == b.String() })}
	check := func() {
		t.Helper()
		if kept.Len() != len(plain.Sites) || kept.Len() != plain.Len() {
			t.Fatalf("%d sites, want %d", kept.Len(), len(plain.Sites))
		}
		next := 0
		for i, s := range kept.All() {
			want := &plain.Sites[next]
			next++
			at, there := kept.Find(want.ID)
			if d := cmp.Diff(want, s, same) + cmp.Diff(want, kept.At(i), same) + cmp.Diff(want, kept.Site(want.ID), same); d != "" || !there || at != i {
				t.Fatalf("%s: at %d, %v: %s", want.ID, at, there, d)
			}
		}
		if next != kept.Len() {
			t.Fatalf("%d sites one after the other", next)
		}
	}
	check()
	for _, f := range []*ingest.Fleet{plain, kept} {
		f.Change(func(s *ingest.Site) bool {
			if s.ID != plain.Sites[20].ID {
				return false
			}
			s.Customer, s.Arrays = "somebody else", nil
			return true
		})
	}
	check()
	for i, s := range kept.All() {
		if i == 17 {
			break
		}
		s.Customer = "forgotten"
	}
	check()
	for _, f := range []*ingest.Fleet{plain, kept, {}} {
		for _, id := range []string{"", "A", "ZZ", plain.Sites[3].ID + "x", fmt.Sprint(plain.Sites[16].ID, "0")} {
			if at, there := f.Find(id); there || f.Site(id) != nil {
				t.Errorf("%q is there, at %d", id, at)
			}
		}
	}
}
