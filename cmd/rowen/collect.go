package main

import (
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
)

// collectAtPct is how much the memory may grow, in per cent of what is in use, before
// it is collected. Go's own 100 takes a fifth more memory at its peak and 1 to 4 % less
// processor time (240 homes, 30 months at 15 minutes); GOGC overrules it.
const collectAtPct = 60

// What waits to be collected should not grow with the fleet: beyond 107 MB in use it
// is mostReserve, and at least leastPct of what is in use, so that collecting does not
// take all the time where the fleet is a million homes (our choices).
const (
	mostReserve = 64 << 20
	leastPct    = 10
)

// percent is how much the memory may grow while so many bytes are in use.
func percent(live uint64) int {
	return int(max(leastPct, min(collectAtPct, 100*mostReserve/max(1, live))))
}

// collectSparingly sets the percentage, and again after every collection.
func collectSparingly() {
	if os.Getenv("GOGC") != "" {
		return
	}
	debug.SetGCPercent(collectAtPct)
	set, live := collectAtPct, []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	type mark struct{ _ *byte } // collected each time
	var collected func(*mark)
	collected = func(m *mark) {
		metrics.Read(live)
		if live[0].Value.Kind() == metrics.KindUint64 {
			if p := percent(live[0].Value.Uint64()); p != set {
				set = p
				debug.SetGCPercent(p)
			}
		}
		runtime.SetFinalizer(m, collected)
	}
	runtime.SetFinalizer(&mark{}, collected)
}
