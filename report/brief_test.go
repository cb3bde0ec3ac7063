package report

import "testing"

// TestBriefFileOnEverySystem: Windows takes these names for devices, whatever
// follows the first dot ("Naming Files, Paths, and Namespaces", Windows App
// Development), and others only look like them.
func TestBriefFileOnEverySystem(t *testing.T) {
	for id, want := range map[string]string{
		"CON": "briefs/_CON.html", "nul.7": "briefs/_nul.7.html", "com1": "briefs/_com1.html", "LPT9.a": "briefs/_LPT9.a.html",
		"CONRAD-1": "briefs/CONRAD-1.html", "COM10": "briefs/COM10.html", "H-1001": "briefs/H-1001.html",
	} {
		if got := briefFile(id); got != want {
			t.Errorf("%s: %s, want %s", id, got, want)
		}
	}
}
