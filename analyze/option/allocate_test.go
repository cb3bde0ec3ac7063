package option

import (
	"math/rand/v2"
	"slices"
	"testing"

	"rowen/ingest"
)

// TestSureRoomFirst: a doubtful row on the better plane does not bind the offer
// while another plane surely has room. Two planes that give alike; the first takes
// four and surely two, the second takes ten and surely all. Twelve are sure, so
// every size up to twelve is sold without a doubt and the best of them is offered;
// before, all beyond two rested on the doubtful row.
func TestSureRoomFirst(t *testing.T) {
	in := dayInput(t, priced("a", 0.50, 0.40), nil) // every module pays
	in.Possible = 14
	second := in.Planes[0]
	in.Planes[0].MaxModules, in.Planes[0].Sure, in.Planes[0].Facing = 4, ingest.Some(2), AsToday
	second.PlaneID, second.MaxModules, second.Sure = "second", 10, ingest.Some(10)
	in.Planes = append(in.Planes, second)
	in.SureNow, in.SureRoof = ingest.Some(12), ingest.Some(12)
	r := Evaluate(in)
	if got := r.Options[r.Best].Modules; got != 12 {
		t.Errorf("%d modules are proposed, want the 12 that the roof surely takes", got)
	}
	if want := []PlaneCount{{"south", 2}, {"second", 10}}; !slices.Equal(r.Options[11].ByPlane, want) {
		t.Errorf("twelve stand as %v, want %v", r.Options[11].ByPlane, want)
	}
	if want := []PlaneCount{{"south", 4}, {"second", 10}}; !slices.Equal(r.Options[13].ByPlane, want) {
		t.Errorf("fourteen stand as %v, want %v", r.Options[13].ByPlane, want)
	}
}

// TestAllocationHolds: whatever the planes, every size has its modules, no plane
// more than it takes, and, built surely first, none more than it surely takes
// while another has sure room left.
func TestAllocationHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		in := dayInput(t, priced("a", 0.50, 0.10), nil)
		unit := in.Planes[0].UnitWh
		in.Planes = in.Planes[:0]
		room, sure := 0, 0
		for p := range 1 + rng.IntN(4) {
			c := Candidate{PlaneID: string(rune('a' + p)), MaxModules: rng.IntN(8), ModuleWatts: 400, ACWatts: 380, Facing: Facing(rng.IntN(3))}
			for _, u := range unit {
				c.UnitWh = append(c.UnitWh, u*rng.Float64())
			}
			if rng.IntN(2) == 0 {
				c.Sure = ingest.Some(rng.IntN(c.MaxModules + 1))
			}
			room, sure = room+c.MaxModules, sure+c.sureRoom()
			in.Planes = append(in.Planes, c)
		}
		in.Possible = room
		by := building(rng.IntN(2))
		for i, o := range new(work).evaluate(&in, by).Options {
			sum := 0
			for _, p := range o.ByPlane {
				c := in.Planes[p.PlaneID[0]-'a']
				sum += p.Modules
				if p.Modules > c.MaxModules || by == sureFirst && i < sure && in.doubtsPlanes() && p.Modules > c.sureRoom() {
					t.Fatalf("size %d of %+v stands as %v", i+1, in.Planes, o.ByPlane)
				}
			}
			if sum != i+1 || sum > room {
				t.Fatalf("size %d stands as %v", i+1, o.ByPlane)
			}
		}
	}
}
