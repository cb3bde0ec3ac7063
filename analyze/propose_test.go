package analyze

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rowen/analyze/headroom"
	"rowen/ingest"
)

// Whatever a site's limits are, the reason of a job never says that a limit
// covers less than the offer where it covers the offer, and never names a number
// of a limit that nobody knows.
func TestReasonsAgreeWithTheLimits(t *testing.T) {
	jobs := []string{headroom.NewPermission, headroom.PanelboardUpgrade, headroom.Subpanel, headroom.SupplySideConnection, headroom.GatewaySwap, headroom.SoftwareUpdate}
	rapid.Check(t, func(t *rapid.T) {
		limit := func(name string) headroom.Ceiling {
			switch rapid.IntRange(0, 2).Draw(t, name) {
			case 0:
				return headroom.Ceiling{Unlimited: true, Low: headroom.Many, High: headroom.Many}
			case 1:
				return headroom.Ceiling{Low: 0, High: headroom.Many, Says: "The " + name + " is not in the register.", Ask: name}
			}
			n := rapid.IntRange(0, 30).Draw(t, name+" modules")
			return headroom.Ceiling{Modules: ingest.Some(n), Low: n, High: n, Says: "ok"}
		}
		f := &Finding{Site: &ingest.Site{Gateway: &ingest.Gateway{SoftwareVersion: "5.0.1"}}}
		f.Room = headroom.Result{Roof: limit("roof"), Service: limit("service"), Branch: limit("branch"), Gateway: limit("gateway"), Permission: limit("permission")}
		n := rapid.IntRange(2, 20).Draw(t, "offer")
		job := rapid.SampledFrom(jobs).Draw(t, "job")
		says := whyFirst(f, job, n)
		if says == "" {
			t.Fatal("no reason")
		}
		if strings.Contains(says, "the offer is") {
			short := false
			for _, l := range f.Room.Limits() {
				short = short || l.Modules.Known && l.Modules.V < n
			}
			if !short {
				t.Fatalf("%s: %q, and no limit is short of %d: %+v", job, says, n, f.Room)
			}
		}
		if p := f.Room.Permission; job == headroom.NewPermission && strings.Contains(says, "the permission to operate covers") && !(p.Modules.Known && p.Modules.V < n) {
			t.Fatalf("%q, and the permission takes %+v", says, p)
		}
	})
	f := &Finding{Site: &ingest.Site{}}
	f.Room.Permission = headroom.Ceiling{Says: "The limit in the permission to operate is not in the register."}
	if says := whyFirst(f, headroom.NewPermission, 8); says != "a new permission is needed because of what is not known: The limit in the permission to operate is not in the register" {
		t.Error(says)
	}
	f.Room.Permission = headroom.Ceiling{Modules: ingest.Some(0)}
	if says := whyFirst(f, headroom.NewPermission, 8); says != "the permission to operate covers no more modules, the offer is 8" {
		t.Error(says)
	}
}
